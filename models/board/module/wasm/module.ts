/**
 * A module of firmware as a WebAssembly file: from C, C++, Rust or whatever else compiles to it.
 *
 * The file is validated by the host's own compiler, read, rewritten so that it can neither run for ever nor keep
 * anything from a snapshot (rewrite.ts), and given nothing but the functions of the interface.
 */
import { DEPTH_MOST, type ModuleMistake, type ModuleRead, saidText } from '../program.ts';
import { NotTaken } from './cursor.ts';
import { webAssembly } from './host.ts';
import { INTERFACE, type InterfaceName } from './interface.ts';
import { readableName } from './names.ts';
import { IMPORTS_FROM, KIND, readWasm, typeOfFunction, VALUE, type WasmFile } from './read.ts';
import { rewrite } from './rewrite.ts';
import { importsFor, startOf } from './running.ts';

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
    const wanted = Object.hasOwn(INTERFACE, name) ? INTERFACE[name as InterfaceName] : undefined;
    const at = `byte ${offset}`;
    if (wanted === undefined)
      return [{ at, says: `it imports \`${IMPORTS_FROM}.${name}\`; what can be imported is ${names.join(', ')}` }];
    const given = file.types[type]!;
    const isSame =
      String(given.parameters) === String(wanted.parameters) && String(given.results) === String(wanted.results);
    return isSame ? [] : [{ at, says: `it imports \`${name}\` as ${typeWords(given)}; it is ${typeWords(wanted)}` }];
  });
}

/** Ending of the names of functions that wasm-ld puts around exports where it takes the file for a program with a `main`. */
const CALLS_CONSTRUCTORS = '.command_export';

function exportMistakes(file: WasmFile): ModuleMistake[] {
  const mistakes: ModuleMistake[] = [];
  for (const name of ['init', 'pass', '_initialize', '__wasm_call_ctors']) {
    const found = file.exports.find((one) => one.name === name);
    if (found === undefined) {
      if (name === 'pass') mistakes.push({ says: 'it exports no function `pass`, which is called every control pass' });
    } else if (found.kind !== KIND.function) mistakes.push({ says: `its export \`${name}\` is no function` });
    else {
      const type = typeOfFunction(file, found.index);
      if (type.parameters.length + type.results.length > 0)
        mistakes.push({ says: `its function \`${name}\` is ${typeWords(type)}; it must take and give nothing` });
      if (file.names.get(found.index)?.endsWith(CALLS_CONSTRUCTORS) === true)
        mistakes.push({
          says: `its linker has the constructors of static objects called before each \`${name}\`, which would make them anew in every pass; link with \`-Wl,--export=__wasm_call_ctors\`, and they are called once, before \`init\``,
        });
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
      importsFor(() => () => 0),
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
  const name = file.names.get(place) ?? exported?.name;
  return (name === undefined ? '' : saidText(readableName(name))) || `function ${place}`;
}
