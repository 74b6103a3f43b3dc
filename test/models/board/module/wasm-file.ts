/** WebAssembly files put together byte by byte, for what no compiler would write (Core Specification 2.0, ch. 5). */
import { INTERFACE } from '../../../../models/board/module/wasm/interface.ts';

interface Described {
  /** Functions of the interface, numbered from 0. */
  readonly imports?: readonly (keyof typeof INTERFACE)[];
  /** Further functions, which take and give nothing unless they say so; a name exports them. */
  readonly functions: readonly {
    readonly name?: string;
    readonly parameters?: readonly number[];
    readonly results?: readonly number[];
    /** Groups of locals: how many, and their type. */
    readonly locals?: readonly (readonly number[])[];
    readonly code: readonly number[];
  }[];
  readonly pages?: number;
  readonly pagesMost?: number;
  /** Each its type, 1 where it can change, and its first value's instruction. */
  readonly globals?: readonly (readonly number[])[];
  /** Function that is called first of all. */
  readonly start?: number;
  /** Whole sections, as they stand. */
  readonly beforeGlobals?: readonly number[];
  readonly beforeCode?: readonly number[];
}

/** Numbers below 128 only. */
const list = (members: readonly (readonly number[])[]): number[] => [members.length, ...members.flat()];
const section = (id: number, content: readonly number[]): number[] => [
  id,
  (content.length & 127) | 128,
  content.length >> 7,
  ...content,
];
export const name = (text: string): number[] => [text.length, ...new TextEncoder().encode(text)];

export function wasmFile(described: Described): Uint8Array {
  const { imports = [], functions, pages, pagesMost, globals = [], start } = described;
  const types = [...imports.map((one) => INTERFACE[one]), ...functions].map(({ parameters = [], results = [] }) => [
    0x60,
    ...list(parameters.map((one) => [one])),
    ...list(results.map((one) => [one])),
  ]);
  const exported = functions.flatMap((one, index) =>
    one.name === undefined ? [] : [[...name(one.name), 0, imports.length + index]],
  );
  const bodies = functions.map(({ locals = [], code }) => {
    const body = [...list(locals), ...code, 0x0b];
    return [(body.length & 127) | 128, body.length >> 7, ...body];
  });
  return Uint8Array.from([
    ...[0, 0x61, 0x73, 0x6d, 1, 0, 0, 0],
    ...section(1, list(types)),
    ...section(2, list(imports.map((one, index) => [...name('jackstand'), ...name(one), 0, index]))),
    ...section(3, list(functions.map((_, index) => [imports.length + index]))),
    ...(pages === undefined ? [] : section(5, pagesMost === undefined ? [1, 0, pages] : [1, 1, pages, pagesMost])),
    ...(described.beforeGlobals ?? []),
    ...section(6, list(globals.map((one) => [...one, 0x0b]))),
    ...section(7, list(exported)),
    ...(start === undefined ? [] : section(8, [start])),
    ...(described.beforeCode ?? []),
    ...section(10, list(bodies)),
  ]);
}
