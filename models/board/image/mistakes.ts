/** The sentences for what can be wrong with a file that should hold a compiled image. */
import type { FileMistake } from '../../../sim/kernel/part.ts';
import type { ImageMistake, ImageMistakeCode } from '../avr/image/image.ts';

export function fileMistake(key: string, mistake: ImageMistake): FileMistake {
  const { line, offset } = mistake;
  return {
    key,
    ...(line !== undefined ? { at: `line ${line}` } : offset !== undefined ? { at: `byte ${offset}` } : {}),
    says: words[mistake.code](mistake.facts),
    ...(mistake.harmless === true ? { isWarning: true } : {}),
  };
}

type Facts = ImageMistake['facts'];

const hex = (value: number | string | undefined): string =>
  typeof value === 'number' ? `0x${value.toString(16)}` : String(value);

const words: { readonly [Code in ImageMistakeCode]: (facts: Facts) => string } = {
  'not-an-image': ({ found, expected }) =>
    `this is neither an Intel HEX file nor a linked ELF file${found === undefined ? '' : ` (found ${found}${expected === undefined ? '' : `, expected ${expected}`})`}`,
  'bad-character': ({ found, expected }) =>
    `\`${found}\` cannot stand in a record${expected === undefined ? '' : `; ${expected} is expected`}`,
  'bad-length': ({ digits, expectedDigits, bytes, expectedBytes }) =>
    digits === undefined
      ? `the record has ${bytes} bytes, one of its type ${expectedBytes}`
      : `the record has ${digits} digits, and its length says ${expectedDigits}`,
  'bad-checksum': ({ found, expected }) =>
    `the checksum is ${hex(found)}; that of the record's bytes is ${hex(expected)}`,
  'bad-record-type': ({ found, greatest }) => `there is no record type ${found}; they go up to ${greatest}`,
  'no-end-record': () => 'the end record is missing: the file was cut off',
  'after-end': () => 'there is more after the end record',
  overlap: ({ memory, address }) => `two records give ${memory} address ${hex(address)}`,
  'outside-chip': ({ memory, address, bytes, memoryBytes, chip }) =>
    `${bytes} bytes at ${memory} address ${hex(address)} lie outside of ${chip === undefined ? 'the chip' : `the ${chip}'s ${memoryBytes} bytes`}`,
  'wrong-machine': ({ found, expected }) => `the program is for machine ${found}; these chips are machine ${expected}`,
  'wrong-class': ({ expected }) => `the ELF file is not ${expected}`,
  truncated: ({ table }) => `the file is cut off${table === undefined ? '' : ` (${table})`}`,
  'bad-table': ({ table }) => `the table of ${table} cannot be read`,
  'bad-line-table': () => 'the table of source lines cannot be read; places will be told without lines',
  empty: () => 'the file holds no program',
};
