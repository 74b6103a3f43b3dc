/** The few parts of the host's WebAssembly interface that modules need, typed here since the browser's types are not loaded. */
interface Global {
  value: number;
}
interface Memory {
  readonly buffer: ArrayBuffer;
  grow(pages: number): number;
}
export type Exported = Readonly<Record<string, unknown>>;

interface Interface {
  readonly Module: new (bytes: Uint8Array) => object;
  readonly Instance: new (module: object, imports: object) => { readonly exports: Exported };
  readonly CompileError: new () => Error;
  readonly RuntimeError: new () => Error;
  readonly LinkError: new () => Error;
}

export type WasmGlobal = Global;
export type WasmMemory = Memory;
export const webAssembly = (globalThis as unknown as { WebAssembly: Interface }).WebAssembly;
