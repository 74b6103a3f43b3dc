/**
 * A module of firmware as a WebAssembly file: from C, C++, Rust or whatever else compiles to it.
 *
 * The file is validated by the host's own compiler, read, rewritten so that it can neither run for ever nor keep
 * anything from a snapshot (rewrite.ts), and given nothing but the functions of the interface.
 */
import { DEPTH_MOST, type ModuleMistake, type ModuleRead, type Running, type Stop, type World } from '../program.ts';
import { NotTaken } from './cursor.ts';
import { type Exported, type WasmGlobal, type WasmMemory, webAssembly } from './host.ts';
import { IMPORTS_FROM, KIND, readWasm, typeOfFunction, VALUE, type WasmFile } from './read.ts';
import { ADDED, rewrite, STOPPED_BY, variablesOf } from './rewrite.ts';

/** The functions of the interface, by the name under which a module imports them, with their parameters and results. */
const I = VALUE.i32;
export const INTERFACE = {
  read_count: { parameters: [], results: [I] },
  set_compare: { parameters: [I], results: [] },
  read_pin: { parameters: [I], results: [I] },
  set_pin: { parameters: [I, I], results: [] },
  read_pulse: { parameters: [], results: [I] },
  time_us: { parameters: [], results: [I] },
  print: { parameters: [I, I], results: [] },
} as const;

/** What the program did through the interface cannot be done; passes through the program's frames. */
class Refused extends Error {}

/** Reads a module; what is wrong with it is told with the byte at which it stands. */
export function readWasmModule(bytes: Uint8Array): ModuleRead {
  try {
    // Validated by the host first, so that what follows may trust its form.
    void new webAssembly.Module(bytes);
  } catch (error) {
    return { mistakes: [invalid(error)] };
  }
  try {
    const file = readWasm(bytes);
    const mistakes = [...importMistakes(file), ...exportMistakes(file)];
    if (mistakes.length > 0) return { mistakes };
    const module = new webAssembly.Module(rewrite(file, { depth: DEPTH_MOST }));
    const broken = brokenSegments(module);
    if (broken !== undefined) return { mistakes: [broken] };
    return {
      mistakes: [],
      program: {
        placeOf: (place) => nameOf(file, place),
        start: (world, stepsMost) => startOf(file, module, world, stepsMost),
      },
    };
  } catch (error) {
    if (error instanceof NotTaken) return { mistakes: [{ at: `byte ${error.offset}`, says: error.message }] };
    throw error;
  }
}

/** The host says where it stopped as `@+12`. */
function invalid(error: unknown): ModuleMistake {
  if (!(error instanceof webAssembly.CompileError) && !(error instanceof RangeError)) throw error;
  const { message } = error;
  const offset = /@\+(\d+)/.exec(message)?.[1];
  const says = message
    .replace(/^WebAssembly\.Module\(\): /, '')
    .replace(/ ?@\+\d+$/, '')
    .slice(0, 300);
  return { ...(offset === undefined ? {} : { at: `byte ${offset}` }), says: `this is no valid WebAssembly: ${says}` };
}

function importMistakes(file: WasmFile): ModuleMistake[] {
  const names = Object.keys(INTERFACE);
  return file.imports.flatMap(({ name, type, offset }): ModuleMistake[] => {
    const wanted = Object.hasOwn(INTERFACE, name) ? INTERFACE[name as keyof typeof INTERFACE] : undefined;
    const at = `byte ${offset}`;
    if (wanted === undefined)
      return [{ at, says: `it imports \`${IMPORTS_FROM}.${name}\`; what can be imported is ${names.join(', ')}` }];
    const given = file.types[type]!;
    const isSame =
      String(given.parameters) === String(wanted.parameters) && String(given.results) === String(wanted.results);
    return isSame ? [] : [{ at, says: `it imports \`${name}\` as ${typeWords(given)}; it is ${typeWords(wanted)}` }];
  });
}

function exportMistakes(file: WasmFile): ModuleMistake[] {
  const mistakes: ModuleMistake[] = [];
  for (const name of ['init', 'pass', '_initialize']) {
    const found = file.exports.find((one) => one.name === name);
    if (found === undefined) {
      if (name === 'pass') mistakes.push({ says: 'it exports no function `pass`, which is called every control pass' });
    } else if (found.kind !== KIND.function) mistakes.push({ says: `its export \`${name}\` is no function` });
    else {
      const type = typeOfFunction(file, found.index);
      if (type.parameters.length + type.results.length > 0)
        mistakes.push({ says: `its function \`${name}\` is ${typeWords(type)}; it must take and give nothing` });
    }
  }
  return mistakes;
}

function typeWords({ parameters, results }: { parameters: readonly number[]; results: readonly number[] }): string {
  const word = (type: number): string => Object.entries(VALUE).find(([, code]) => code === type)?.[0] ?? 'reference';
  const list = (types: readonly number[]): string => `(${types.map(word).join(', ')})`;
  return `${list(parameters)} -> ${list(results)}`;
}

/** Data or table entries that do not fit show only when the module is set up. */
function brokenSegments(module: object): ModuleMistake | undefined {
  try {
    void new webAssembly.Instance(
      module,
      importsFor(() => 0),
    );
    return undefined;
  } catch (error) {
    if (
      !(
        error instanceof webAssembly.RuntimeError ||
        error instanceof webAssembly.LinkError ||
        error instanceof RangeError
      )
    )
      throw error;
    return { says: `it cannot be set up: ${error.message.replace(/^WebAssembly\.Instance\(\): /, '')}` };
  }
}

function nameOf(file: WasmFile, place: number): string {
  if (place < 0) return 'a place that is not known';
  const exported = file.exports.find(({ kind, index }) => kind === KIND.function && index === place);
  return file.names.get(place) ?? exported?.name ?? `function ${place}`;
}

type Import = (...numbers: number[]) => number | undefined;
const importsFor = (of: (name: keyof typeof INTERFACE) => unknown): object => ({
  [IMPORTS_FROM]: Object.fromEntries(
    Object.keys(INTERFACE).map((name) => {
      const made = of(name as keyof typeof INTERFACE);
      return [name, typeof made === 'function' ? made : () => made];
    }),
  ),
});

/** One instance for a whole run; a reset of the board puts its first state back. */
function startOf(file: WasmFile, module: object, world: World, stepsMost: number): Running {
  let memory = new Uint8Array(0);
  let exported: Exported = {};
  const number = (name: string): WasmGlobal => exported[`${ADDED}${name}`] as WasmGlobal;
  const imports: Readonly<Record<keyof typeof INTERFACE, Import>> = {
    read_count: () => world.readCount(),
    set_compare: (compare) => {
      world.setCompare(compare!, at.value);
      return undefined;
    },
    read_pin: (pin) => world.readPin(pin!),
    set_pin: (pin, level) => {
      world.setPin(pin!, level !== 0);
      return undefined;
    },
    read_pulse: () => world.readPulse(),
    time_us: () => world.timeUs() | 0,
    print: (pointer, length) => {
      const from = pointer! >>> 0;
      const count = length! >>> 0;
      if (from + count > memory.length)
        throw new Refused(`it prints ${count} bytes from 0x${from.toString(16)}, beyond its memory`);
      world.print(memory.subarray(from, from + count));
      return undefined;
    },
  };
  exported = new webAssembly.Instance(
    module,
    importsFor((name) => imports[name]),
  ).exports;
  const [fuel, at, depth, why] = [number('fuel'), number('at'), number('depth'), number('why')];
  const shared = exported[`${ADDED}memory`] as WasmMemory | undefined;
  // It never grows, so that this view stays.
  if (shared !== undefined) memory = new Uint8Array(shared.buffer);
  const variables = variablesOf(file).map((_, place) => ({
    get: exported[`${ADDED}get ${place}`] as () => bigint,
    set: exported[`${ADDED}set ${place}`] as (bits: bigint) => void,
  }));
  const words = new Uint32Array(2 * variables.length);
  const keepVariables = (): Uint32Array => {
    for (const [place, { get }] of variables.entries()) {
      const bits = BigInt.asUintN(64, get());
      words[2 * place] = Number(bits & 0xffff_ffffn);
      words[2 * place + 1] = Number(bits >> 32n);
    }
    return words;
  };
  const putVariables = (from: Uint32Array): void => {
    for (const [place, { set }] of variables.entries())
      set((BigInt(from[2 * place + 1]!) << 32n) | BigInt(from[2 * place]!));
  };
  const firstMemory = memory.slice();
  const firstVariables = keepVariables().slice();
  const call = (name: string): Stop | undefined => {
    const entry = exported[name] as (() => void) | undefined;
    if (entry === undefined) return undefined;
    fuel.value = stepsMost;
    at.value = -1;
    depth.value = 0;
    why.value = STOPPED_BY.nothing;
    try {
      entry();
      return undefined;
    } catch (error) {
      return { ...stopWords(error, why.value, stepsMost), place: at.value };
    }
  };
  return {
    state: {
      memory,
      get variables() {
        return keepVariables();
      },
    },
    restored: () => putVariables(words),
    reset: () => {
      memory.set(firstMemory);
      putVariables(firstVariables);
    },
    init: () => call(`${ADDED}start`) ?? call('_initialize') ?? call('init'),
    pass: () => call('pass'),
  };
}

/** What the host calls its traps, in words of ours; others are passed on as they are. */
const TRAPS: readonly (readonly [RegExp, string])[] = [
  [/divide by zero|remainder by zero/, 'it divides by zero'],
  [/unreachable/, 'it came to a place that it says can never be reached'],
  [/memory access out of bounds/, 'it reads or writes beyond its memory'],
  [/divide result unrepresentable/, 'the quotient does not fit'],
  [/float unrepresentable/, 'a number does not fit into an integer'],
  [/null function|signature mismatch|table index/, 'it calls through a pointer to no function of this form'],
];

function stopWords(error: unknown, why: number, stepsMost: number): Omit<Stop, 'place'> {
  if (error instanceof Refused) return { kind: 'trap', says: error.message };
  const isOfHost = error instanceof webAssembly.RuntimeError;
  if (isOfHost && why === STOPPED_BY.steps)
    return { kind: 'steps', says: `it did not come back within ${stepsMost} steps (calls and turns of loops)` };
  if ((isOfHost && why === STOPPED_BY.depth) || (error instanceof RangeError && /call stack/.test(error.message)))
    return { kind: 'trap', says: `its calls nest deeper than ${DEPTH_MOST}` };
  if (!isOfHost) throw error;
  const known = TRAPS.find(([pattern]) => pattern.test(error.message));
  return { kind: 'trap', says: known?.[1] ?? error.message };
}
