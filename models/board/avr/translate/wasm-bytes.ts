/**
 * Bytes of WebAssembly functions and modules.
 * Source: WebAssembly Core Specification 1.0 (W3C, 2019), ch. 5 Binary Format.
 */
// biome-ignore format: a table read by number
export const WASM = {
  unreachable: 0x00, block: 0x02, loop: 0x03, if: 0x04, else: 0x05, end: 0x0b, br: 0x0c, brIf: 0x0d, brTable: 0x0e, return: 0x0f,
  call: 0x10, callIndirect: 0x11, get: 0x20, set: 0x21, tee: 0x22, load: 0x28, load8: 0x2d, store: 0x36, store8: 0x3a, const: 0x41,
  eqz: 0x45, eq: 0x46, ne: 0x47, ltS: 0x48, ltU: 0x49, gtS: 0x4a, gtU: 0x4b, leS: 0x4c, geS: 0x4e, geU: 0x4f,
  add: 0x6a, sub: 0x6b, mul: 0x6c, divS: 0x6d, divU: 0x6e, and: 0x71, or: 0x72, xor: 0x73, shl: 0x74, shrS: 0x75, shrU: 0x76,
  extend8: 0xc0,
} as const;
const VOID = 0x40;
const I32 = 0x7f;

/** Functions that a module calls, by number, and the places of their types: one number in and out, or two in. */
export const IMPORTED = [
  { name: 'load', type: 0 },
  { name: 'store', type: 2 },
  { name: 'storeBit', type: 2 },
] as const;

/** Numbers of these functions. */
export const CALLED = { load: 0, store: 1, storeBit: 2 } as const;

/** Collects the code of one function. Every method returns the code itself, so that instructions read in their order. */
export interface Code {
  readonly bytes: number[];
  /** Control constructs that are open. */
  depth: number;
  op(...codes: number[]): Code;
  get(local: number): Code;
  set(local: number): Code;
  tee(local: number): Code;
  int(value: number): Code;
  /** Word or byte at the address on the stack plus `offset`. */
  load(offset: number): Code;
  load8(offset: number): Code;
  store(offset: number): Code;
  store8(offset: number): Code;
  /** Opens a construct and returns its label, for `br`. */
  open(kind: number): number;
  close(): Code;
  br(label: number): Code;
  brIf(label: number): Code;
  /** Jumps by the number on the stack; the last label is for all numbers beyond. */
  brTable(labels: readonly number[]): Code;
}

export function code(): Code {
  const bytes: number[] = [];
  const self: Code = {
    bytes,
    depth: 0,
    op(...codes) {
      for (const one of codes) bytes.push(one);
      return self;
    },
    get: (local) => numbered(WASM.get, local),
    set: (local) => numbered(WASM.set, local),
    tee: (local) => numbered(WASM.tee, local),
    int(value) {
      bytes.push(WASM.const);
      signed(bytes, value);
      return self;
    },
    load: (offset) => memory(WASM.load, 2, offset),
    load8: (offset) => memory(WASM.load8, 0, offset),
    store: (offset) => memory(WASM.store, 2, offset),
    store8: (offset) => memory(WASM.store8, 0, offset),
    open(kind) {
      bytes.push(kind, VOID);
      return self.depth++;
    },
    close() {
      bytes.push(WASM.end);
      self.depth--;
      return self;
    },
    br: (label) => numbered(WASM.br, self.depth - 1 - label),
    brIf: (label) => numbered(WASM.brIf, self.depth - 1 - label),
    brTable(labels) {
      bytes.push(WASM.brTable);
      unsigned(bytes, labels.length - 1);
      for (const label of labels) unsigned(bytes, self.depth - 1 - label);
      return self;
    },
  };
  const numbered = (op: number, value: number): Code => {
    bytes.push(op);
    unsigned(bytes, value);
    return self;
  };
  const memory = (op: number, align: number, offset: number): Code => {
    bytes.push(op, align);
    unsigned(bytes, offset);
    return self;
  };
  return self;
}

/**
 * A module whose `functions` (each one number in, one out) are in a table in this order; `driver` (nothing in, one
 * number out) is exported as `run`. Memory is imported as `core.memory`, and the functions of `IMPORTED` beside it.
 */
export function moduleBytes(
  functions: readonly { readonly locals: number; readonly body: Code }[],
  driver: { readonly locals: number; readonly body: Code },
  memoryPages: number,
): Uint8Array {
  const out: number[] = [0, 0x61, 0x73, 0x6d, 1, 0, 0, 0];
  const section = (id: number, fill: (content: number[]) => void): void => {
    const content: number[] = [];
    fill(content);
    out.push(id);
    unsigned(out, content.length);
    for (const byte of content) out.push(byte);
  };
  const count = functions.length;
  section(1, (to) => to.push(3, 0x60, 1, I32, 1, I32, 0x60, 0, 1, I32, 0x60, 2, I32, I32, 0));
  section(2, (to) => {
    to.push(1 + IMPORTED.length);
    text(to, 'core');
    text(to, 'memory');
    to.push(2, 1);
    unsigned(to, memoryPages);
    unsigned(to, memoryPages);
    for (const { name, type } of IMPORTED) {
      text(to, 'core');
      text(to, name);
      to.push(0, type);
    }
  });
  section(3, (to) => {
    unsigned(to, count + 1);
    for (let index = 0; index < count; index++) to.push(0);
    to.push(1);
  });
  section(4, (to) => {
    to.push(1, 0x70, 0);
    unsigned(to, count);
  });
  section(7, (to) => {
    to.push(1);
    text(to, 'run');
    to.push(0);
    unsigned(to, IMPORTED.length + count);
  });
  section(9, (to) => {
    to.push(1, 0, WASM.const, 0, WASM.end);
    unsigned(to, count);
    for (let index = 0; index < count; index++) unsigned(to, IMPORTED.length + index);
  });
  section(10, (to) => {
    unsigned(to, count + 1);
    for (const { locals, body } of [...functions, driver]) {
      const head = [1];
      unsigned(head, locals);
      head.push(I32);
      unsigned(to, head.length + body.bytes.length + 1);
      for (const byte of head) to.push(byte);
      for (const byte of body.bytes) to.push(byte);
      to.push(WASM.end);
    }
  });
  return Uint8Array.from(out);
}

function unsigned(to: number[], value: number): void {
  for (let rest = value; ; rest >>>= 7) {
    if (rest < 128) {
      to.push(rest);
      return;
    }
    to.push((rest & 127) | 128);
  }
}

function signed(to: number[], value: number): void {
  for (let rest = value | 0; ; rest >>= 7) {
    if (rest >= -64 && rest < 64) {
      to.push(rest & 127);
      return;
    }
    to.push((rest & 127) | 128);
  }
}

function text(to: number[], words: string): void {
  unsigned(to, words.length);
  for (let index = 0; index < words.length; index++) to.push(words.charCodeAt(index));
}
