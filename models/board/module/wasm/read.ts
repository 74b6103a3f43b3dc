/**
 * What a WebAssembly file holds, as far as running it in a sandbox needs to know. The file has been validated before, so
 * this looks for what is not taken here rather than for what is wrong.
 *
 * Source: WebAssembly Core Specification 2.0 (W3C), ch. 5 Binary Format and appendix "Custom Sections" (names).
 */
import { Cursor, NotTaken } from './cursor.ts';

export const VALUE = { i32: 0x7f, i64: 0x7e, f32: 0x7d, f64: 0x7c, v128: 0x7b } as const;
/** A reference to a value of the host; one to a function is the next, then come vectors and numbers. */
export const REFERENCE_LEAST = 0x6f;
export const KIND = { function: 0, table: 1, memory: 2, global: 3 } as const;
// biome-ignore format: a table read by number
export const SECTION = {
  custom: 0, type: 1, import: 2, function: 3, table: 4, memory: 5, global: 6, export: 7, start: 8, element: 9, code: 10,
  data: 11, dataCount: 12, tag: 13,
} as const;

export interface FunctionType {
  readonly parameters: readonly number[];
  readonly results: readonly number[];
}

export interface WasmFile {
  readonly bytes: Uint8Array;
  /** Where each section's content lies; custom sections are left out. */
  readonly sections: ReadonlyMap<number, { readonly start: number; readonly end: number }>;
  readonly types: readonly FunctionType[];
  readonly imports: readonly { readonly name: string; readonly type: number; readonly offset: number }[];
  /** Type of each function that the file itself defines. */
  readonly functions: readonly number[];
  readonly globals: readonly { readonly type: number; readonly isMutable: boolean }[];
  /** Pages that the program begins with, and that it may grow to; undefined where it has no memory. */
  readonly memory: Limits | undefined;
  readonly exports: readonly { readonly name: string; readonly kind: number; readonly index: number }[];
  /** Number of the function that is to be called first of all. */
  readonly start: number | undefined;
  readonly bodies: readonly { readonly start: number; readonly end: number }[];
  /** Names of functions by number, from the name section. */
  readonly names: ReadonlyMap<number, string>;
}

/** The module name that all imports must have. */
export const IMPORTS_FROM = 'jackstand';
export const PAGE_BYTES = 65_536;
/** 4 MiB: Rust asks for 17 pages by itself. Each snapshot of a bench copies all that the program has asked for. */
export const PAGES_MOST = 64;
const TABLE_MOST = 10_000;

/** @throws NotTaken */
export function readWasm(bytes: Uint8Array): WasmFile {
  const sections = new Map<number, { start: number; end: number }>();
  let names: ReadonlyMap<number, string> = new Map();
  const cursor = new Cursor(bytes, 8);
  while (cursor.at < bytes.length) {
    const at = cursor.at;
    const id = cursor.byte();
    const length = cursor.unsigned();
    const start = cursor.at;
    cursor.skip(length);
    if (id === SECTION.custom) names = namesIn(new Cursor(bytes, start, cursor.at)) ?? names;
    else if (id === SECTION.tag) throw new NotTaken(at, 'exceptions are not taken; build without them');
    else if (id > SECTION.dataCount) throw new NotTaken(at, `a section of kind ${id} is not taken`);
    else sections.set(id, { start, end: cursor.at });
  }
  const within = <T>(id: number, read: (cursor: Cursor) => T): T[] => {
    const place = sections.get(id);
    if (place === undefined) return [];
    const content = new Cursor(bytes, place.start, place.end);
    return content.list(() => read(content));
  };
  const types = within(SECTION.type, functionType);
  const imports = within(SECTION.import, functionImport);
  const functions = within(SECTION.function, (content) => content.unsigned());
  within(SECTION.table, tableLimits);
  const memories = within(SECTION.memory, memoryLimits);
  if (memories.length > 1) throw new NotTaken(sections.get(SECTION.memory)!.start, 'more than one memory is not taken');
  const globals = within(SECTION.global, globalType);
  const exports = within(SECTION.export, (content) => ({
    name: content.name(),
    kind: content.byte(),
    index: content.unsigned(),
  }));
  const startPlace = sections.get(SECTION.start);
  const bodies = within(SECTION.code, (content) => {
    const length = content.unsigned();
    const start = content.at;
    content.skip(length);
    return { start, end: content.at };
  });
  return {
    bytes,
    sections,
    types,
    imports,
    functions,
    globals,
    memory: memories[0],
    exports,
    start: startPlace === undefined ? undefined : new Cursor(bytes, startPlace.start).unsigned(),
    bodies,
    names,
  };
}

/** The type of any function, imported or own. */
export function typeOfFunction(file: WasmFile, index: number): FunctionType {
  const own = index - file.imports.length;
  return file.types[own < 0 ? file.imports[index]!.type : file.functions[own]!]!;
}

function functionType(content: Cursor): FunctionType {
  const at = content.at;
  if (content.byte() !== 0x60) throw new NotTaken(at, 'a type that is no function type is not taken');
  return { parameters: content.list(() => valueType(content)), results: content.list(() => valueType(content)) };
}

/** Types of one byte; references to anything but functions and host values are written in more. */
function valueType(content: Cursor): number {
  const at = content.at;
  const type = content.byte();
  if (type < REFERENCE_LEAST || type > VALUE.i32)
    throw new NotTaken(at, `values of the type 0x${type.toString(16)} are not taken`);
  return type;
}

function functionImport(content: Cursor): { name: string; type: number; offset: number } {
  const offset = content.at;
  const from = content.name();
  const name = content.name();
  const kind = content.byte();
  if (from !== IMPORTS_FROM || kind !== KIND.function)
    throw new NotTaken(
      offset,
      `it imports the ${Object.keys(KIND)[kind] ?? 'thing'} \`${from}.${name}\`; only the functions of \`${IMPORTS_FROM}\` are there`,
    );
  return { name, type: content.unsigned(), offset };
}

function tableLimits(content: Cursor): void {
  const at = content.at;
  const type = content.byte();
  if (type !== 0x70 && type !== 0x6f) throw new NotTaken(at, 'a table of this form is not taken');
  const { least } = limits(content);
  if (least > TABLE_MOST) throw new NotTaken(at, `the table has ${least} entries; at most ${TABLE_MOST} are taken`);
}

function memoryLimits(content: Cursor): Limits {
  const at = content.at;
  const { least, most } = limits(content);
  if (least > PAGES_MOST)
    throw new NotTaken(
      at,
      `the memory has ${least} pages of 64 KiB; at most ${PAGES_MOST} are taken (a smaller stack is asked for at linking)`,
    );
  return { least, most: Math.min(most, PAGES_MOST) };
}

interface Limits {
  readonly least: number;
  readonly most: number;
}

function limits(content: Cursor): Limits {
  const at = content.at;
  const flags = content.byte();
  if (flags > 1) throw new NotTaken(at, 'shared and 64-bit memories are not taken');
  const least = content.unsigned();
  return { least, most: flags === 1 ? content.unsigned() : Number.POSITIVE_INFINITY };
}

/** Reads a global with its first value, which is a short constant expression. */
function globalType(content: Cursor): { type: number; isMutable: boolean } {
  const at = content.at;
  const type = content.byte();
  const isMutable = content.byte() === 1;
  if (isMutable && (type < VALUE.f64 || type > VALUE.i32))
    throw new NotTaken(at, 'a variable that holds a reference or a vector is not taken');
  for (;;) {
    const opAt = content.at;
    const op = content.byte();
    if (op === 0x0b) return { type, isMutable };
    if (op === 0x41 || op === 0x42 || op === 0x23 || op === 0xd0 || op === 0xd2) content.skipNumber();
    else if (op === 0x43) content.skip(4);
    else if (op === 0x44) content.skip(8);
    else if (![0x6a, 0x6b, 0x6c, 0x7c, 0x7d, 0x7e].includes(op))
      throw new NotTaken(opAt, `instruction 0x${op.toString(16)} in a first value is not taken`);
  }
}

/** The functions' names; undefined for another custom section. Whatever is wrong in it only loses names. */
function namesIn(content: Cursor): ReadonlyMap<number, string> | undefined {
  const names = new Map<number, string>();
  try {
    if (content.name() !== 'name') return undefined;
    while (content.at < content.end) {
      const id = content.byte();
      const length = content.unsigned();
      if (id !== 1) {
        content.skip(length);
        continue;
      }
      const inside = new Cursor(content.bytes, content.at, content.at + length);
      inside.list(() => names.set(inside.unsigned(), inside.name().slice(0, 100)));
      content.skip(length);
    }
  } catch (error) {
    if (!(error instanceof NotTaken)) throw error;
  }
  return names;
}
