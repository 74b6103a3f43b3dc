/**
 * Records a run: listens to the signals that somebody wants to read, and asks for the flowing ones on a grid.
 *
 * Looking changes nothing: a recorder only asks for signals that are pure functions of a part's state, so that a run
 * has the same digest whatever is recorded. Hot path; see test/speed/kernel.bench.ts.
 */
import type { Assembly } from '../bench/assemble.ts';
import { Trace } from './trace.ts';

/** Flowing signals are read this often between events. */
export const GRID_PER_SECOND = 1000;

export interface Recorder {
  readonly trace: Trace;
  /** Runs on to an instant, recording. */
  runTo(seconds: number): void;
}

/** Starts to record the named signals, or all of them; each column begins with the value at the present instant. */
export function record(
  assembly: Assembly,
  names: Iterable<string> | 'all',
  gridPerSecond: number = GRID_PER_SECOND,
): Recorder {
  const { kernel, signals, signalIndex } = assembly;
  const wanted = names === 'all' ? signals.map((signal) => signal.name) : [...new Set(names)];
  const indices = wanted.map((name) => signalIndex.get(name)!);
  const trace = new Trace(indices.map((index) => signals[index]!));
  const columnOf = new Int32Array(signals.length).fill(-1);
  indices.forEach((signal, column) => {
    columnOf[signal] = column;
    kernel.watched[signal] = 1;
    if (signals[signal]!.isBook === true) kernel.continuum.isBooking = true;
  });
  const { now, values } = kernel;
  kernel.observer = { observe: (signal) => trace.append(columnOf[signal]!, now[0]!, values[signal]!) };
  const flowing = indices.filter((signal) => signals[signal]!.isFlowing === true && signals[signal]!.isDrawn !== true);
  const ramps = indices.filter((signal) => signals[signal]!.isFlowing !== true && signals[signal]!.shape === 'linear');
  const look = (asked: readonly number[]): void => {
    for (const signal of asked) {
      kernel.sample(signal);
      trace.append(columnOf[signal]!, now[0]!, values[signal]!);
    }
  };
  for (const signal of indices) {
    if (signals[signal]!.isDrawn !== true) kernel.sample(signal);
    trace.append(columnOf[signal]!, now[0]!, values[signal]!);
  }
  let gridCount = Math.floor(now[0]! * gridPerSecond);
  return {
    trace,
    runTo: (seconds) => {
      if (flowing.length > 0) {
        for (;;) {
          const next = (gridCount + 1) / gridPerSecond;
          if (next > seconds) break;
          gridCount += 1;
          kernel.run(next);
          look(flowing);
        }
      }
      kernel.run(seconds);
      look(flowing);
      // A ramp is published at its ends only; here the trace would otherwise stop short on the way.
      look(ramps);
      trace.finish(seconds);
    },
  };
}
