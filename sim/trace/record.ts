/**
 * Records a run: listens to the signals that somebody wants to read, and asks for the flowing ones on a grid.
 *
 * Looking changes nothing: a recorder only asks for signals that are pure functions of a part's state, so that a run
 * has the same digest whatever is recorded. Hot path; see test/speed/kernel.bench.ts.
 */
import type { Assembly } from '../bench/assemble.ts';
import { FlowLines, type FlowLinesPast } from './flow-lines.ts';
import { Thinner } from './thin.ts';
import { Trace, type TraceMark } from './trace.ts';

/** Flowing signals that are no part of the continuous states are read this often between events. */
export const GRID_PER_SECOND = 1000;

export interface Recorder {
  readonly trace: Trace;
  /** Runs on to an instant, recording. */
  runTo(seconds: number): void;
  /** Runs on to an instant at which nobody looks: what is recorded afterwards is as if it had not stopped there. */
  passTo(seconds: number): void;
  /** What another recorder needs to go on from here, once the bench is back at the present instant. */
  past(): RecordedPast;
}

/** What was recorded of the same signals up to the present instant, by a recorder of the same names. */
export interface RecordedPast {
  readonly trace: Trace;
  readonly mark: TraceMark;
  readonly lines: FlowLinesPast;
}

/**
 * Starts to record the named signals, or all of them; each column begins with the value at the present instant, or goes on
 * from `past` where the bench was restored to an instant at which a recorder passed. With `exact`, flowing signals that it
 * does not name are thinned to what a straight line between samples does not tell.
 */
export function record(
  assembly: Assembly,
  names: Iterable<string> | 'all',
  gridPerSecond: number = GRID_PER_SECOND,
  past?: RecordedPast,
  exact?: ReadonlySet<string>,
): Recorder {
  const { kernel, signals, signalIndex } = assembly;
  const wanted = names === 'all' ? signals.map((signal) => signal.name) : [...new Set(names)];
  const indices = wanted.map((name) => signalIndex.get(name)!);
  const trace = new Trace(indices.map((index) => signals[index]!));
  const columnOf = new Int32Array(signals.length).fill(-1);
  indices.forEach((signal, column) => {
    columnOf[signal] = column;
    kernel.watched[signal] = 1;
    if (signals[signal]!.isBook === true) kernel.continuum.ledger.isKept = true;
  });
  const { now, values, continuum } = kernel;
  const flowing = indices.filter((signal) => signals[signal]!.isFlowing === true && signals[signal]!.isDrawn !== true);
  // Those of the continuous states are told by lines, the others are asked for on a grid.
  const lined = flowing.filter((signal) => kernel.swept[signal] === 1);
  const gridded = flowing.filter((signal) => kernel.swept[signal] !== 1);
  const thinned = new Uint8Array(signals.length);
  if (exact !== undefined) for (const signal of flowing) thinned[signal] = exact.has(signals[signal]!.name) ? 0 : 1;
  const thinner = new Thinner(exact === undefined ? 0 : signals.length, (signal) =>
    trace.append(columnOf[signal]!, thinner.instants[signal]!, thinner.values[signal]!),
  );
  const lineOf = new Int32Array(signals.length);
  lined.forEach((signal, line) => {
    lineOf[signal] = line;
  });
  const instant = new Float64Array(1);
  const sheet = new Float64Array(signals.length);
  const lines = new FlowLines(continuum, now, values, lined, (line, seconds, value) => {
    const signal = lined[line]!;
    if (thinned[signal] === 0) {
      trace.append(columnOf[signal]!, seconds, value);
      return;
    }
    instant[0] = seconds;
    sheet[signal] = value;
    thinner.look(signal, instant, sheet);
  });
  const append = (signal: number): void => trace.append(columnOf[signal]!, now[0]!, values[signal]!);
  const observe = (signal: number): void => {
    if (kernel.swept[signal] === 1) lines.makeWay(lineOf[signal]!);
    if (thinned[signal] === 0) append(signal);
    else {
      // What a part publishes is an event, and stays.
      thinner.look(signal, now, values);
      thinner.flush(signal);
    }
  };
  // Where no line is told and nothing thinned, nothing has to make way.
  kernel.observer = { observe: lined.length > 0 || exact !== undefined ? observe : append };
  continuum.watcher = lined.length > 0 ? lines : undefined;
  const ramps = indices.filter((signal) => signals[signal]!.isFlowing !== true && signals[signal]!.shape === 'linear');
  const look = (asked: readonly number[]): void => {
    for (const signal of asked) {
      kernel.sample(signal);
      if (thinned[signal] === 1) thinner.look(signal, now, values);
      else trace.append(columnOf[signal]!, now[0]!, values[signal]!);
    }
  };
  if (past !== undefined) trace.goOnFrom(past.trace, past.mark);
  for (const signal of past === undefined ? indices : []) {
    if (signals[signal]!.isDrawn !== true) kernel.sample(signal);
    if (thinned[signal] === 1) thinner.look(signal, now, values);
    else trace.append(columnOf[signal]!, now[0]!, values[signal]!);
  }
  lines.begin(past?.lines);
  let gridCount = Math.floor(now[0]! * gridPerSecond);
  const passTo = (seconds: number): void => {
    if (gridded.length > 0) {
      for (;;) {
        const next = (gridCount + 1) / gridPerSecond;
        if (next > seconds) break;
        gridCount += 1;
        kernel.run(next);
        look(gridded);
      }
    }
    kernel.run(seconds);
  };
  return {
    trace,
    passTo,
    past: () => ({ trace, mark: trace.mark(), lines: lines.save() }),
    runTo: (seconds) => {
      try {
        passTo(seconds);
        lines.makeWayForAll();
        look(flowing);
      } finally {
        // Also where the numbers ran away, what was seen up to there is kept.
        lines.makeWayForAll();
        for (const signal of flowing) if (thinned[signal] === 1) thinner.flush(signal);
      }
      // A ramp is published at its ends only; here the trace would otherwise stop short on the way.
      look(ramps);
      trace.finish(seconds);
    },
  };
}
