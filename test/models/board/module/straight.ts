/** A file of WebAssembly run as it is, without anything put in: what the rewritten one is held to. */
import { type Example, exampleWorld } from './example-world.ts';

type Call = () => void;
interface Raw {
  readonly exports: Readonly<Record<string, Call>> & { readonly memory: { readonly buffer: ArrayBuffer } };
}
interface WebAssembly {
  readonly Module: new (bytes: Uint8Array) => object;
  readonly RuntimeError: new () => Error;
  readonly Instance: new (module: object, imports: object) => Raw;
}
const { Module, Instance, RuntimeError } = (globalThis as unknown as { WebAssembly: WebAssembly }).WebAssembly;

/** What it did in a world of its own, in its constructors, in `init` and in a pass for each count. */
export function straight(bytes: Uint8Array, counts: readonly number[]): string[] {
  const world: Example = exampleWorld();
  const instance = new Instance(new Module(bytes), {
    jackstand: {
      read_count: () => world.readCount(),
      set_compare: (compare: number) => world.setCompare(compare, 0),
      read_pin: (pin: number) => world.readPin(pin),
      set_pin: (pin: number, level: number) => world.setPin(pin, level !== 0),
      print: (at: number, length: number) => world.print(new Uint8Array(instance.exports.memory.buffer, at, length)),
      read_byte: () => world.readByte(),
      fail: () => world.did.push('fail'),
    },
  });
  const {
    __wasm_call_ctors: constructors,
    init,
    pass,
  } = instance.exports as Readonly<Record<string, Call | undefined>>;
  constructors?.();
  untilTrap(init);
  for (const count of counts) {
    world.count = count;
    untilTrap(pass);
  }
  return world.did;
}

function untilTrap(call: Call | undefined): void {
  try {
    call?.();
  } catch (error) {
    if (!(error instanceof RuntimeError)) throw error;
  }
}
