/** What a captured channel is, a pulse train or a slow voltage or count, and the numbers of it that a bench asks for. */
import { measurePulses, type PulseTrain, pulsesOf, type Statistics, statistics } from './measure.ts';
import type { CapturedChannel } from './read-capture.ts';
import { Column } from './trace.ts';

export interface MeasuredPulses {
  readonly kind: 'pulses';
  readonly train: PulseTrain;
  readonly widthSeconds: Float64Array;
  /** Frames that did not come: gaps of about two, three, ... usual periods. */
  readonly droppedCount: number;
  readonly longestGapSeconds: number;
}

export interface MeasuredLevel {
  readonly kind: 'level';
  readonly rest: Statistics;
  /** Undefined where the value never left the rest. */
  readonly full: Statistics | undefined;
  /** Standard deviation about the slow course, from differences of neighbours at rest (von Neumann). */
  readonly noise: number;
  readonly isWhole: boolean;
}

/** Reference levels of an edge, as shares of low to high (IEC 60469: 10, 50 and 90 %, from memory); hysteresis between the outer two. */
const [LOW, MIDDLE, HIGH] = [0.1, 0.5, 0.9];
/** A pulse train spends nearly all samples near one of two levels. */
const NEAR_SHARE = 0.8;
/** Of the range, from each end: what counts as resting there. */
const PLATEAU = 0.05;

export function measureChannel(channel: CapturedChannel, isTimed: boolean): MeasuredPulses | MeasuredLevel {
  const edges = isTimed ? levelOf(channel) : undefined;
  return edges === undefined ? levelNumbers(channel) : pulseNumbers(edges, channel);
}

/** The channel as a level with its edges where it crosses the middle; undefined where it is no pulse train. */
function levelOf({ times, values, name }: CapturedChannel): Column | undefined {
  const { low, high } = extremes(values);
  if (!(high > low)) return undefined;
  const share = (value: number): number => (value - low) / (high - low);
  let nearCount = 0;
  for (const value of values) if (share(value) < 0.2 || share(value) > 0.8) nearCount += 1;
  if (nearCount < NEAR_SHARE * values.length) return undefined;
  const level = new Column({ name, dimension: 'count', shape: 'held', means: '' });
  let isHigh = share(values[0]!) >= MIDDLE;
  level.append(times[0]!, isHigh ? 1 : 0);
  let crossing = times[0]!;
  let edgeCount = 0;
  for (let index = 1; index < values.length; index += 1) {
    const [before, now] = [share(values[index - 1]!), share(values[index]!)];
    const isDigital = (before === 0 || before === 1) && (now === 0 || now === 1);
    if (before < MIDDLE !== now < MIDDLE)
      // A logic analyser gives the instant of the change itself; between two voltages it lies on the line.
      crossing = isDigital
        ? times[index]!
        : times[index - 1]! + ((MIDDLE - before) / (now - before)) * (times[index]! - times[index - 1]!);
    if (isHigh ? now > LOW : now < HIGH) continue;
    isHigh = !isHigh;
    edgeCount += 1;
    level.append(Math.max(crossing, level.times[level.length - 1]!), isHigh ? 1 : 0);
  }
  return edgeCount >= 4 ? level : undefined;
}

function pulseNumbers(level: Column, { times }: CapturedChannel): MeasuredPulses {
  const span = { fromSeconds: times[0]!, untilSeconds: times[times.length - 1]! };
  const { widthSeconds, periodSeconds } = pulsesOf(level, span);
  const usual = median(periodSeconds);
  const droppedCount = periodSeconds.reduce((sum, period) => sum + Math.max(0, Math.round(period / usual) - 1), 0);
  // The jitter is that of the frames that came: a gap is told as such.
  const kept = periodSeconds.filter((period) => period < 1.5 * usual);
  const train = measurePulses(level, span);
  const period = statistics(kept);
  return {
    kind: 'pulses',
    train: { ...train, periodSeconds: period, jitterSeconds: period && period.max - period.min },
    widthSeconds,
    droppedCount,
    longestGapSeconds: Math.max(0, ...periodSeconds),
  };
}

function levelNumbers({ values }: CapturedChannel): MeasuredLevel {
  const { low, high } = extremes(values);
  const room = (high - low) * PLATEAU;
  const wide = statistics(values)!;
  const isWhole = values.every(Number.isInteger);
  // One step of a converter or a few deviations of noise are no travel.
  const neighbours = noiseOf(values, () => true);
  const isMoving = high - low > Math.max(12 * neighbours, isWhole ? 8 : 0);
  if (!isMoving) return { kind: 'level', rest: wide, full: undefined, noise: neighbours, isWhole };
  const noise = noiseOf(values, (value) => value <= low + room);
  return {
    kind: 'level',
    rest: statistics(values.filter((value) => value <= low + room))!,
    full: statistics(values.filter((value) => value >= high - room)),
    noise,
    isWhole,
  };
}

function noiseOf(values: Float64Array, counts: (value: number) => boolean): number {
  let squares = 0;
  let count = 0;
  for (let index = 1; index < values.length; index += 1) {
    if (!counts(values[index]!) || !counts(values[index - 1]!)) continue;
    squares += (values[index]! - values[index - 1]!) ** 2;
    count += 1;
  }
  return count === 0 ? 0 : Math.sqrt(squares / (2 * count));
}

function extremes(values: Float64Array): { readonly low: number; readonly high: number } {
  let [low, high] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const value of values) {
    if (value < low) low = value;
    if (value > high) high = value;
  }
  return { low, high };
}

function median(numbers: Float64Array): number {
  return Float64Array.from(numbers).sort()[Math.floor(numbers.length / 2)] ?? Number.NaN;
}
