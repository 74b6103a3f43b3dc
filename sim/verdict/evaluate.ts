/**
 * Evaluates a predicate at every instant of a span: the robust semantics of signal temporal logic (Donze and Maler,
 * "Robust Satisfaction of Temporal Logic over Real-Valued Signals", FORMATS 2010).
 *
 *     margin(x >= c) = x - c      margin(not p) = -margin(p)      and = smaller      or = larger
 *
 * `x = c` is `x >= c and x <= c`, so its margin is -|x - c|. A margin is in the base unit of the signal that decides;
 * where signals of unlike units are joined, the numbers are compared as they are, and only the truth is worth much.
 * A signal without a value (NaN) makes each comparison false without margin. Hot path; see test/speed/trace.bench.ts.
 */
import { assert } from '../kernel/assert.ts';
import { isInMode } from '../trace/signal.ts';
import type { Column, Trace } from '../trace/trace.ts';
import type { Dimension } from '../units/index.ts';
import { difference, type Lines, linesOf, valueIn } from './lines.ts';
import type { Predicate, Relation } from './predicate.ts';
import { combine, type Place, Track } from './track.ts';

/** A predicate with its track, and those of its parts: what is needed to say afterwards which part decided. */
export interface Evaluated {
  readonly predicate: Predicate;
  readonly track: Track;
  readonly parts: readonly Evaluated[];
}

/** The signal that decides at a place. */
export interface Decider {
  readonly signal: string;
  /** Dimension of the margin; null for a mode without a gauge, which has none. */
  readonly dimension: Dimension | null;
}

export function evaluate(predicate: Predicate, trace: Trace, fromSeconds: number, toSeconds: number): Evaluated {
  const lines = (name: string) => linesOf(columnOf(trace, name), fromSeconds, toSeconds);
  switch (predicate.kind) {
    case 'not': {
      const part = evaluate(predicate.of, trace, fromSeconds, toSeconds);
      return { predicate, track: part.track.negated(), parts: [part] };
    }
    case 'and':
    case 'or': {
      const parts = predicate.of.map((of) => evaluate(of, trace, fromSeconds, toSeconds));
      const sense = predicate.kind === 'and' ? 1 : -1;
      return {
        predicate,
        track: parts.map((part) => part.track).reduce((one, other) => combine(one, other, sense)),
        parts,
      };
    }
    case 'mode':
      return { predicate, track: modeTrack(predicate, trace, fromSeconds, toSeconds), parts: [] };
    case 'monotonic':
      return { predicate, track: monotonicTrack(lines(predicate.signal), predicate.direction), parts: [] };
    case 'between':
      return { predicate, track: betweenTrack(lines(predicate.signal), predicate.low, predicate.high), parts: [] };
    case 'compare':
      return {
        predicate,
        track: compareTrack(lines(predicate.signal), predicate.relation, predicate.value),
        parts: [],
      };
    case 'compare-signals': {
      const over = difference(lines(predicate.signal), lines(predicate.other));
      return { predicate, track: compareTrack(over, predicate.relation, 0), parts: [] };
    }
  }
}

/** The signal whose statement decides a predicate at a place: the worst of all joined by `and`, the best by `or`. */
export function deciderOf(evaluated: Evaluated, place: Place): Decider {
  const { predicate, parts } = evaluated;
  if (predicate.kind === 'mode') {
    const { gauge } = predicate;
    const { margin } = evaluated.track.read(place);
    // At margin 0 the gauge's condition is met and yet the mode is not as it says: then the mode itself decides.
    return {
      signal: gauge && margin !== 0 && Number.isFinite(margin) ? gauge.signal : predicate.signal,
      dimension: gauge ? marginDimension(gauge.dimension) : null,
    };
  }
  if ('signal' in predicate) return { signal: predicate.signal, dimension: marginDimension(predicate.dimension) };
  const sense = predicate.kind === 'or' ? -1 : 1;
  let best = parts[0]!;
  let bestReading = best.track.read(place);
  for (const part of parts.slice(1)) {
    const reading = part.track.read(place);
    const decides = reading.truth !== bestReading.truth && reading.truth === (sense === -1);
    if (decides || (reading.truth === bestReading.truth && sense * reading.margin < sense * bestReading.margin)) {
      best = part;
      bestReading = reading;
    }
  }
  return deciderOf(best, place);
}

/** A margin is a difference, which matters where the scale does not start at nothing. */
function marginDimension(dimension: Dimension): Dimension {
  return dimension === 'temperature' ? 'temperature-difference' : dimension;
}

function columnOf(trace: Trace, name: string): Column {
  const column = trace.column(name);
  assert(column !== undefined, 'a signal that an expectation reads was not recorded', { name });
  return column;
}

function compareTrack(lines: Lines, relation: Relation, value: number): Track {
  const levels = [value];
  switch (relation) {
    case '<':
    case '<=':
      return leafTrack(lines, levels, (x) => value - x, relation === '<=');
    case '>':
    case '>=':
      return leafTrack(lines, levels, (x) => x - value, relation === '>=');
    case '=':
      return leafTrack(lines, levels, (x) => -Math.abs(x - value), true);
    case '!=':
      return leafTrack(lines, levels, (x) => Math.abs(x - value), false);
  }
}

function betweenTrack(lines: Lines, low: number, high: number): Track {
  // The margin bends in the middle of the range, where the nearer end changes.
  return leafTrack(lines, [low, low + (high - low) / 2, high], (x) => Math.min(x - low, high - x), true);
}

/**
 * The track of a statement about one number. `levels`, rising, are the values at which its margin bends or passes 0;
 * `truthAtZero` is what it is where its margin is 0.
 */
function leafTrack(
  lines: Lines,
  levels: readonly number[],
  marginOf: (value: number) => number,
  truthAtZero: boolean,
): Track {
  const track = new Track(lines.length);
  const atZero = truthAtZero ? 1 : 0;
  const margin = (value: number) => (Number.isNaN(value) ? Number.NEGATIVE_INFINITY : marginOf(value));
  const truth = (sum: number) => (sum > 0 ? 1 : sum < 0 ? 0 : atZero);
  const last = lines.length - 1;
  for (let index = 0; index < last; index += 1) {
    const [start, end] = [lines.starts[index]!, lines.ends[index]!];
    const [from, to] = [lines.times[index]!, lines.times[index + 1]!];
    let seconds = from;
    let point = margin(start);
    let reached = point;
    for (let step = 0; step < levels.length && start !== end; step += 1) {
      const level = levels[start < end ? step : levels.length - 1 - step]!;
      if (!((start < level && level < end) || (end < level && level < start))) continue;
      const at = from + (to - from) * ((level - start) / (end - start));
      const next = margin(level);
      // Nearer to an end than a float can tell: the stretch on that side has no length.
      if (at > seconds && at < to) {
        track.push(seconds, point, truth(point), reached, next, truth(reached + next));
        seconds = at;
        point = next;
      } else if (at >= to) {
        break;
      }
      reached = next;
    }
    const final = isCrossed(reached, margin(end)) ? 0 : margin(end);
    track.push(seconds, point, truth(point), reached, final, truth(reached + final));
  }
  const point = margin(lines.starts[last]!);
  track.close(lines.times[last]!, point, truth(point));
  return track;
}

/** Whether one margin is true and the other false: a crossing that lay too near the end to have an instant of its own. */
function isCrossed(one: number, other: number): boolean {
  return (one > 0 && other < 0) || (one < 0 && other > 0);
}

/** How far the signal is below the highest value (`rises`) or above the lowest (`falls`) that it had so far. */
function monotonicTrack(lines: Lines, direction: 'rises' | 'falls'): Track {
  const track = new Track(lines.length);
  const sign = direction === 'rises' ? 1 : -1;
  const last = lines.length - 1;
  let highest = Number.NEGATIVE_INFINITY;
  // Just one number to compare with: NaN is worse than anything and is not remembered.
  const drop = (value: number) =>
    Number.isNaN(value) ? Number.NEGATIVE_INFINITY : value === highest ? 0 : value - highest;
  const rise = (value: number) => {
    if (value > highest) highest = value;
  };
  const truth = (sum: number) => (sum < 0 ? 0 : 1);
  for (let index = 0; index < last; index += 1) {
    const [start, end] = [sign * lines.starts[index]!, sign * lines.ends[index]!];
    const [from, to] = [lines.times[index]!, lines.times[index + 1]!];
    rise(start);
    const point = drop(start);
    const at = end > highest && start < highest ? from + (to - from) * ((highest - start) / (end - start)) : Number.NaN;
    rise(end);
    if (at > from && at < to) {
      track.push(from, point, truth(point), point, 0, truth(point));
      track.push(at, 0, 1, 0, 0, 1);
    } else {
      // On the way up from the highest value so far the line is itself the highest: margin 0 all along.
      const after = at >= to ? point : Number.isNaN(at) ? point : 0;
      const until = end === highest ? 0 : drop(end);
      track.push(from, point, truth(point), after, until, truth(after + until));
    }
  }
  rise(sign * lines.starts[last]!);
  const point = drop(sign * lines.starts[last]!);
  track.close(lines.times[last]!, point, truth(point));
  return track;
}

/** In the mode: +max(gauge, 0); not in it: -max(-gauge, 0). Without a gauge there is no margin: plus or minus Infinity. */
function modeTrack(
  predicate: Predicate & { kind: 'mode' },
  trace: Trace,
  fromSeconds: number,
  toSeconds: number,
): Track {
  const column = columnOf(trace, predicate.signal);
  const modes = linesOf(column, fromSeconds, toSeconds);
  const gauge = predicate.gauge ? linesOf(columnOf(trace, predicate.gauge.signal), fromSeconds, toSeconds) : modes;
  const gaugeAt = (index: number, seconds: number) => (predicate.gauge ? valueIn(gauge, index, seconds) : Number.NaN);
  const inMode = (column.signal.modes ?? []).map((_, value) => isInMode(column.signal, value, predicate.mode));
  const margin = (isIn: boolean, distance: number) => {
    if (Number.isNaN(distance)) return isIn ? Number.POSITIVE_INFINITY : Number.NEGATIVE_INFINITY;
    return isIn ? Math.max(distance, 0) : Math.min(distance, 0);
  };
  const track = new Track(modes.length + gauge.length);
  let [i, j] = [0, 0];
  let seconds = fromSeconds;
  for (;;) {
    while (i + 1 < modes.length && modes.times[i + 1]! <= seconds) i += 1;
    while (j + 1 < gauge.length && gauge.times[j + 1]! <= seconds) j += 1;
    const isIn = inMode[modes.starts[i]!] === true;
    const truth = isIn ? 1 : 0;
    const start = gaugeAt(j, seconds);
    const point = margin(isIn, start);
    if (i + 1 >= modes.length) {
      track.close(seconds, point, truth);
      return track;
    }
    const next = Math.min(modes.times[i + 1]!, gauge.times[j + 1]!);
    const end = gaugeAt(j, next);
    const at = isCrossed(start, end) ? seconds + (next - seconds) * (start / (start - end)) : Number.NaN;
    if (at > seconds && at < next) {
      track.push(seconds, point, truth, point, 0, truth);
      track.push(at, 0, truth, 0, margin(isIn, end), truth);
    } else {
      track.push(seconds, point, truth, point, margin(isIn, end), truth);
    }
    seconds = next;
  }
}
