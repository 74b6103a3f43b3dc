/**
 * A module of firmware in TypeScript or JavaScript: a part of the language that can be run for sure within limits.
 *
 * The file is read into a tree, each node of which either is known here or is a mistake at its line and column; from the
 * known ones new code is made, in which loops and calls count their steps and every reach into a value is checked. The
 * script so has no way to a clock, to chance, to the machine, or to run for ever, and all its variables can be saved.
 */
import type { ModuleRead, Running, Stop, World } from '../program.ts';
import { kept, putBack } from './keep.ts';
import { parseScript } from './parse.ts';
import { createRunTime, type RunTime, ScriptStop, type Value } from './run-time.ts';
import { type Made, type ScriptFunction, statements } from './statements.ts';

/** What the made code gives. */
interface Entries {
  keep(): Value[];
  put(values: readonly Value[]): void;
  setUp(): void;
  init(): void;
  pass(): void;
}
type Body = (runTime: RunTime) => Entries;

export function readScriptModule(bytes: Uint8Array, fileName: string, isTyped: boolean): ModuleRead {
  const { body, mistakes } = parseScript(bytes, isTyped);
  if (mistakes.length > 0) return { mistakes };
  const made = madeOf(body);
  if (made.mistakes.length > 0) return { mistakes: made.mistakes };
  // Made here, from nodes that are known: nothing of the file's own text is in it but names, numbers and texts.
  const run = new Function('$', made.code) as Body;
  return {
    mistakes: [],
    program: {
      placeOf: (line) => placeOf(made.functions, fileName, line),
      start: (world, stepsMost) => startOf(run, made, world, stepsMost),
    },
  };
}

function madeOf(body: Parameters<typeof statements>[0]): Made {
  try {
    return statements(body);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    return { code: '', variableCount: 0, functions: [], mistakes: [{ says: 'it nests too deep' }] };
  }
}

function placeOf(functions: readonly ScriptFunction[], fileName: string, line: number): string {
  if (line < 0) return fileName;
  const found = functions.find(({ firstLine, lastLine }) => line >= firstLine && line <= lastLine);
  return `${found?.name ?? 'the top'} (${fileName}:${line})`;
}

function startOf(run: Body, made: Made, world: World, stepsMost: number): Running {
  const runTime = createRunTime(world, () => stepsMost);
  const entries = run(runTime);
  let numbers: Float64Array = new Float64Array(0);
  const call = (act: () => void): Stop | undefined => {
    runTime.begin(stepsMost);
    try {
      act();
      // What a pass has made may hang on a variable from now on; it must stay small enough to be saved.
      if (runTime.made() > 0) kept(entries.keep(), runTime.board);
      return undefined;
    } catch (error) {
      return stopOf(error);
    }
  };
  const reset = (): void => entries.put(new Array(made.variableCount).fill(undefined));
  reset();
  return {
    state: {
      // Read first when a snapshot is taken, and set first when it is put back: only then is the length known.
      get size() {
        numbers = saved(entries, runTime);
        return numbers.length;
      },
      set size(length: number) {
        numbers = new Float64Array(length);
      },
      get numbers() {
        return numbers;
      },
    },
    restored: () => entries.put(putBack(numbers, made.variableCount, runTime.board)),
    reset,
    init: () =>
      call(() => {
        entries.setUp();
        entries.init();
      }),
    pass: () => call(() => entries.pass()),
  };
}

/** After a call that was stopped the variables may hold more than can be kept; the program is never called again then. */
function saved(entries: Entries, { board }: RunTime): Float64Array {
  try {
    return kept(entries.keep(), board);
  } catch (error) {
    if (!(error instanceof ScriptStop)) throw error;
    return new Float64Array(0);
  }
}

function stopOf(error: unknown): Stop {
  if (error instanceof ScriptStop) return { kind: error.kind, says: error.message, place: error.line };
  if (error instanceof RangeError && /call stack/.test(error.message))
    return { kind: 'trap', says: 'its calls nest too deep', place: -1 };
  if (error instanceof ReferenceError && /before initialization/.test(error.message))
    return { kind: 'trap', says: 'it uses a variable before its first value', place: -1 };
  throw error;
}
