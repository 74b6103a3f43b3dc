/** Where in the source an instruction comes from, as far as the image tells: function and line, else the address alone. */
import type { Image, LineRow } from '../avr/image/image.ts';

export type PlaceOf = (address: number) => string;

/** `set_pulse + 0x12 at 0x1a4 (cart-bug.c:57)`, or `0x01a4`. The tables are put in order once. */
export function placesIn(image: Image): PlaceOf {
  const functions = image.symbols
    .filter(({ memory, kind, name }) => memory === 'flash' && (kind === 'function' || isOwnLabel(name)))
    .sort((a, b) => a.address - b.address);
  const lines = [...image.lines].sort((a, b) => a.address - b.address || Number(b.ends) - Number(a.ends));
  return (address) => {
    const at = `0x${address.toString(16).padStart(4, '0')}`;
    const inside = lastAtOrBefore(functions, address);
    const isIn =
      inside !== undefined &&
      image.given[address] === 1 &&
      (inside.bytes === 0 || address < inside.address + inside.bytes);
    const row: LineRow | undefined = lastAtOrBefore(lines, address);
    const line =
      row === undefined || row.ends || image.given[address] !== 1
        ? ''
        : ` (${row.file.split(/[\\/]/).at(-1)}:${row.line})`;
    return isIn ? `${inside.name} at ${at}${line}` : `${at}${line}`;
  };
}

// Hand-written start-up code has labels without a type; names with a leading mark are of the linker.
function isOwnLabel(name: string): boolean {
  return /^[a-z]\w*$/i.test(name);
}

function lastAtOrBefore<T extends { readonly address: number }>(list: readonly T[], address: number): T | undefined {
  let low = 0;
  let high = list.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (list[middle]!.address <= address) low = middle + 1;
    else high = middle;
  }
  return list[low - 1];
}
