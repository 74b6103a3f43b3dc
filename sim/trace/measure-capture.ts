/** What a captured channel is, a pulse train or a slow voltage or count, and the numbers of it that a bench asks for. */
import { edgesOf, extremes } from '../capture/edges.ts';
import type { CapturedChannel } from '../capture/read-capture.ts';
import { measurePulses, type PulseTrain, pulsesOf, type Statistics, statistics } from './measure.ts';
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

/** Fewer edges than of two pulses are no train. */
const LEAST_EDGES = 4;
/** Of the range, from each end: what counts as resting there. */
const PLATEAU = 0.05;

export function measureChannel(channel: CapturedChannel, isTimed: boolean): MeasuredPulses | MeasuredLevel {
  const edges = isTimed ? levelOf(channel) : undefined;
  return edges === undefined ? levelNumbers(channel) : pulseNumbers(edges, channel);
}

/** The channel as a level with its edges where it crosses the middle; undefined where it is no pulse train. */
function levelOf(channel: CapturedChannel): Column | undefined {
  const edges = edgesOf(channel);
  if (edges === undefined || edges.seconds.length < LEAST_EDGES) return undefined;
  const level = new Column({ name: channel.name, dimension: 'count', shape: 'held', means: '' });
  let isHigh = edges.isHighAtFirst;
  level.append(channel.times[0]!, isHigh ? 1 : 0);
  for (const seconds of edges.seconds) {
    isHigh = !isHigh;
    level.append(seconds, isHigh ? 1 : 0);
  }
  return level;
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

function median(numbers: Float64Array): number {
  return Float64Array.from(numbers).sort()[Math.floor(numbers.length / 2)] ?? Number.NaN;
}
