/**
 * Measurements on recorded signals: the pulses of a level, and the numbers of anything else.
 *
 * The words are those of pulse measurement (IEC 60469): width from rise to fall, period from rise to rise, duty as the
 * share of the period that is high. Jitter is that of the period: its peak-to-peak range and its standard deviation
 * over the periods seen (the definition of JEDEC JESD65, from memory).
 */
import type { Column } from './trace.ts';

/** The stretch of a run that is measured, both ends included. */
export interface Span {
  readonly fromSeconds: number;
  readonly untilSeconds: number;
}

export interface Statistics {
  readonly count: number;
  readonly min: number;
  readonly max: number;
  readonly mean: number;
  /** Standard deviation of the population. */
  readonly deviation: number;
}

export interface Pulses {
  /** One entry for each pulse that both rises and falls in the span. */
  readonly widthSeconds: Float64Array;
  /** One entry for each pair of successive rises in the span. */
  readonly periodSeconds: Float64Array;
}

export interface PulseTrain {
  /** `undefined` where there was no whole pulse. */
  readonly widthSeconds: Statistics | undefined;
  /** `undefined` where there were not two rises. */
  readonly periodSeconds: Statistics | undefined;
  /** Share of the whole periods that was high, 0 to 1; `undefined` without a whole period. */
  readonly duty: number | undefined;
  /** Longest less shortest period. */
  readonly jitterSeconds: number | undefined;
}

export interface Numbers {
  readonly min: number;
  readonly max: number;
  /** Over time, not over samples. In a span of no length: the value there. */
  readonly mean: number;
  /** Different values that samples in the span had, with the one that the span starts with. */
  readonly distinctCount: number;
  /** Whether it never went down, and never went up, within the span. */
  readonly neverFalls: boolean;
  readonly neverRises: boolean;
}

/** The pulses of a level signal. A pulse or period that the span cuts does not count. Half and more is high. */
export function pulsesOf(column: Column, span: Span): Pulses {
  const widthSeconds: number[] = [];
  const periodSeconds: number[] = [];
  const first = column.indexAt(span.fromSeconds);
  let isHigh = first >= 0 && column.valueAt(first) >= 0.5;
  let riseSeconds = Number.NaN;
  for (let index = first + 1; index < column.length && column.secondsAt(index) <= span.untilSeconds; index += 1) {
    const wasHigh = isHigh;
    isHigh = column.valueAt(index) >= 0.5;
    // The first sample of all is where the record starts, which is no edge.
    if (isHigh === wasHigh || index === 0) continue;
    const seconds = column.secondsAt(index);
    if (!Number.isNaN(riseSeconds)) (isHigh ? periodSeconds : widthSeconds).push(seconds - riseSeconds);
    if (isHigh) riseSeconds = seconds;
  }
  return { widthSeconds: Float64Array.from(widthSeconds), periodSeconds: Float64Array.from(periodSeconds) };
}

export function measurePulses(column: Column, span: Span): PulseTrain {
  const { widthSeconds, periodSeconds } = pulsesOf(column, span);
  const period = statistics(periodSeconds);
  // Each whole period starts with one whole pulse; a pulse after the last rise belongs to no whole period.
  const highSeconds = widthSeconds.subarray(0, periodSeconds.length).reduce((sum, width) => sum + width, 0);
  return {
    widthSeconds: statistics(widthSeconds),
    periodSeconds: period,
    duty: period && highSeconds / (period.mean * period.count),
    jitterSeconds: period && period.max - period.min,
  };
}

/** `undefined` for no numbers. */
export function statistics(numbers: Float64Array): Statistics | undefined {
  const count = numbers.length;
  if (count === 0) return undefined;
  let min = Number.POSITIVE_INFINITY;
  let max = Number.NEGATIVE_INFINITY;
  let mean = 0;
  let squares = 0;
  // Welford's update: no difference of large sums, so that the deviation of near-equal widths keeps its digits.
  for (let index = 0; index < count; index += 1) {
    const value = numbers[index]!;
    if (value < min) min = value;
    if (value > max) max = value;
    const off = value - mean;
    mean += off / (index + 1);
    squares += off * (value - mean);
  }
  return { count, min, max, mean, deviation: Math.sqrt(Math.max(0, squares) / count) };
}

/** `undefined` where the signal has no value in the span. The part of the span before its first sample is left out. */
export function measureNumbers(column: Column, span: Span): Numbers | undefined {
  if (column.length === 0 || span.untilSeconds < span.fromSeconds || span.untilSeconds < column.secondsAt(0))
    return undefined;
  const fromSeconds = Math.max(span.fromSeconds, column.secondsAt(0));
  const distinct = new Set<number>();
  let seconds = fromSeconds;
  let value = column.at(fromSeconds);
  let [min, max, area] = [value, value, 0];
  let [neverFalls, neverRises] = [true, true];
  const move = (to: number) => {
    if (to < value) neverFalls = false;
    if (to > value) neverRises = false;
    if (to < min) min = to;
    if (to > max) max = to;
    value = to;
  };
  distinct.add(value);
  let index = column.indexAt(fromSeconds);
  for (;;) {
    const isLast = index + 1 >= column.length || column.secondsAt(index + 1) > span.untilSeconds;
    const nextSeconds = isLast ? span.untilSeconds : column.secondsAt(index + 1);
    const reached = column.valueFrom(index, nextSeconds);
    const lineEnd = column.signal.shape === 'held' ? value : reached;
    if (nextSeconds > seconds) area += ((value + lineEnd) / 2) * (nextSeconds - seconds);
    if (column.signal.shape === 'linear') move(reached);
    if (isLast) break;
    index += 1;
    seconds = nextSeconds;
    move(column.valueAt(index));
    distinct.add(value);
  }
  const lengthSeconds = span.untilSeconds - fromSeconds;
  return {
    min,
    max,
    mean: lengthSeconds > 0 ? area / lengthSeconds : value,
    distinctCount: distinct.size,
    neverFalls,
    neverRises,
  };
}
