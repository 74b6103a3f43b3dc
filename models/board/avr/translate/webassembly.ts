import type { Access } from '../careful.ts';

/** The few parts of the host's WebAssembly interface that translated code needs, typed here since the browser's types are not loaded. */
interface Memory {
  readonly buffer: ArrayBuffer;
}
type Exports = Readonly<Record<string, () => number>>;

interface Interface {
  readonly Memory: new (limits: { initial: number; maximum: number }) => Memory;
  readonly Module: new (bytes: Uint8Array) => object;
  readonly Instance: new (
    module: object,
    imports: { core: { memory: Memory } & Access },
  ) => { readonly exports: Exports };
}

export type WasmMemory = Memory;
export const webAssembly = (globalThis as unknown as { WebAssembly: Interface }).WebAssembly;
