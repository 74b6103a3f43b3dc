/**
 * A rewritten module at work: instances of it, what they can do to their board, why they stopped, and their snapshots.
 *
 * There is one instance at a time. Memory only ever grows, so that going back to when it was smaller takes another one.
 */
import { DEPTH_MOST, type Running, type Stop, saidText, type World } from '../program.ts';
import { type Exported, type WasmGlobal, type WasmMemory, webAssembly } from './host.ts';
import { INTERFACE, type InterfaceName } from './interface.ts';
import { IMPORTS_FROM, PAGE_BYTES, type WasmFile } from './read.ts';
import { ADDED, functionAt, NOWHERE, STOPPED_BY, variablesOf } from './rewrite.ts';

/** What the program did through the interface cannot be done; passes through the program's frames. */
class Refused extends Error {}

type Import = (...numbers: number[]) => number | undefined;
export const importsFor = (of: (name: InterfaceName) => Import): object => ({
  [IMPORTS_FROM]: Object.fromEntries(Object.keys(INTERFACE).map((name) => [name, of(name as InterfaceName)])),
});

/** Whatever is to be called before anything else, by the names that linkers give it; the first that is there. */
const SET_UP = ['_initialize', '__wasm_call_ctors'] as const;

/** One run of it; a reset of the board puts its first state back. */
export function startOf(file: WasmFile, module: object, world: World, stepsMost: number): Running {
  const variableCount = variablesOf(file).length;
  let one = instanceOf(module, variableCount, world);
  const firstMemory = one.memory().slice();
  const firstVariables = one.variables().slice();
  const firstPages = firstMemory.length / PAGE_BYTES;
  /** Another instance where the one at work has more memory than it should have. */
  const resize = (pages: number): void => {
    if (one.pages() > pages) one = instanceOf(module, variableCount, world);
    if (one.pages() < pages) one.grow(pages - one.pages());
  };
  const setUp = SET_UP.find((name) => file.exports.some((other) => other.name === name));
  return {
    state: {
      // Set first when a snapshot is put back, so that the memory then has its length.
      get pages() {
        return one.pages();
      },
      set pages(pages: number) {
        resize(pages);
      },
      get memory() {
        return one.memory();
      },
      get variables() {
        return one.variables();
      },
    },
    restored: () => one.putVariables(),
    reset: () => {
      resize(firstPages);
      one.memory().set(firstMemory);
      one.words.set(firstVariables);
      one.putVariables();
    },
    init: () =>
      one.call(`${ADDED}start`, stepsMost) ??
      (setUp === undefined ? undefined : one.call(setUp, stepsMost)) ??
      one.call('init', stepsMost),
    pass: () => one.call('pass', stepsMost),
  };
}

interface Instance {
  /** 32-bit halves of the program's variables, as `variables` read them or as `putVariables` is to write them. */
  readonly words: Uint32Array;
  memory(): Uint8Array;
  pages(): number;
  grow(pages: number): void;
  variables(): Uint32Array;
  putVariables(): void;
  /** Calls an export with all its steps, if it is there. */
  call(name: string, stepsMost: number): Stop | undefined;
}

function instanceOf(module: object, variableCount: number, world: World): Instance {
  let view = new Uint8Array(0);
  let exported: Exported = {};
  const memory = (): Uint8Array => {
    const shared = exported[`${ADDED}memory`] as WasmMemory | undefined;
    // A memory that grows gets another buffer.
    if (shared !== undefined && shared.buffer !== view.buffer) view = new Uint8Array(shared.buffer);
    return view;
  };
  const bytes = (pointer: number, length: number, verb: string): Uint8Array => {
    const from = pointer >>> 0;
    const count = length >>> 0;
    if (from + count > memory().length)
      throw new Refused(`it ${verb} ${count} bytes from 0x${from.toString(16)}, beyond its memory`);
    return memory().subarray(from, from + count);
  };
  const number = (name: string): WasmGlobal => exported[`${ADDED}${name}`] as WasmGlobal;
  const imports: Readonly<Record<InterfaceName, Import>> = {
    read_count: () => world.readCount(),
    set_compare: (compare) => {
      world.setCompare(compare!, functionAt(at.value));
      return undefined;
    },
    read_pin: (pin) => world.readPin(pin!),
    set_pin: (pin, level) => {
      world.setPin(pin!, level !== 0);
      return undefined;
    },
    read_pulse: () => world.readPulse(),
    time_us: () => world.timeUs(),
    print: (pointer, length) => {
      world.print(bytes(pointer!, length!, 'prints'));
      return undefined;
    },
    read_byte: () => world.readByte(),
    fail: (pointer, length) => {
      const said = bytes(pointer!, length!, 'fails with a text of');
      throw new Refused(`it fails: ${saidText(new TextDecoder().decode(said.subarray(0, SAID_BYTES)))}`);
    },
  };
  exported = new webAssembly.Instance(
    module,
    importsFor((name) => imports[name]),
  ).exports;
  const [fuel, at, depth, why] = [number('fuel'), number('at'), number('depth'), number('why')];
  const variables = Array.from({ length: variableCount }, (_, place) => ({
    get: exported[`${ADDED}get ${place}`] as () => bigint,
    set: exported[`${ADDED}set ${place}`] as (bits: bigint) => void,
  }));
  const words = new Uint32Array(2 * variableCount);
  return {
    words,
    memory,
    pages: () => memory().length / PAGE_BYTES,
    grow: (pages) => void (exported[`${ADDED}memory`] as WasmMemory).grow(pages),
    variables: () => {
      for (const [place, { get }] of variables.entries()) {
        const bits = BigInt.asUintN(64, get());
        words[2 * place] = Number(bits & 0xffff_ffffn);
        words[2 * place + 1] = Number(bits >> 32n);
      }
      return words;
    },
    putVariables: () => {
      for (const [place, { set }] of variables.entries())
        set((BigInt(words[2 * place + 1]!) << 32n) | BigInt(words[2 * place]!));
    },
    call: (name, stepsMost) => {
      const entry = exported[name] as (() => void) | undefined;
      if (entry === undefined) return undefined;
      fuel.value = stepsMost;
      at.value = NOWHERE;
      depth.value = 0;
      why.value = STOPPED_BY.nothing;
      try {
        entry();
        return undefined;
      } catch (error) {
        return { ...stopWords(error, why.value, at.value < 0, stepsMost), place: functionAt(at.value) };
      }
    },
  };
}

/** More than a finding shows, in whatever letters. */
const SAID_BYTES = 800;

/** What the host calls its traps, in words of ours; others are passed on as they are. */
const TRAPS: readonly (readonly [RegExp, string])[] = [
  [/divide by zero|remainder by zero/, 'it divides by zero'],
  [/unreachable/, 'it came to a place that it says can never be reached'],
  [/memory access out of bounds/, 'it reads or writes beyond its memory'],
  [/divide result unrepresentable/, 'the quotient does not fit'],
  [/float unrepresentable/, 'a number does not fit into an integer'],
  [/null function|signature mismatch|table index/, 'it calls through a pointer to no function of this form'],
];

function stopWords(error: unknown, why: number, isPanic: boolean, stepsMost: number): Omit<Stop, 'place'> {
  if (error instanceof Refused) return { kind: 'trap', says: error.message };
  const isOfHost = error instanceof webAssembly.RuntimeError;
  if (isOfHost && why === STOPPED_BY.steps)
    return { kind: 'steps', says: `it did not come back within ${stepsMost} steps (calls and turns of loops)` };
  if ((isOfHost && why === STOPPED_BY.depth) || (error instanceof RangeError && /call stack/.test(error.message)))
    return { kind: 'trap', says: `its calls nest deeper than ${DEPTH_MOST}` };
  if (!isOfHost) throw error;
  if (isPanic)
    return { kind: 'trap', says: 'it panics, and says nothing of why (a panic hook that calls `fail` does)' };
  const known = TRAPS.find(([pattern]) => pattern.test(error.message));
  return { kind: 'trap', says: known?.[1] ?? error.message };
}
