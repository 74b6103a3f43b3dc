/** The pulses of a captured channel: where it crosses the middle between its two levels, and what is whole between the edges. */
import type { CapturedChannel } from './read-capture.ts';

export interface Edges {
  /** Level of the first sample; each edge turns it. */
  readonly isHighAtFirst: boolean;
  readonly seconds: Float64Array;
}

/** Whole pulses only: a pulse that the start or the end of the capture cuts is none. */
export interface CapturedPulses {
  readonly riseSeconds: Float64Array;
  readonly fallSeconds: Float64Array;
}

/** Reference levels of an edge, as shares of low to high (IEC 60469: 10, 50 and 90 %, from memory); hysteresis between the outer two. */
const [LOW, MIDDLE, HIGH] = [0.1, 0.5, 0.9];
/** A pulse train spends nearly all samples near one of two levels. */
const NEAR_SHARE = 0.8;

/** Undefined where the channel has not two levels that it stays near. */
export function edgesOf({ times, values }: CapturedChannel): Edges | undefined {
  const { low, high } = extremes(values);
  if (!(high > low)) return undefined;
  const share = (value: number): number => (value - low) / (high - low);
  let nearCount = 0;
  for (const value of values) if (share(value) < 0.2 || share(value) > 0.8) nearCount += 1;
  if (nearCount < NEAR_SHARE * values.length) return undefined;
  const isHighAtFirst = share(values[0]!) >= MIDDLE;
  const seconds: number[] = [];
  let isHigh = isHighAtFirst;
  let crossing = times[0]!;
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
    seconds.push(Math.max(crossing, seconds.at(-1) ?? times[0]!));
  }
  return { isHighAtFirst, seconds: Float64Array.from(seconds) };
}

export function pulsesBetween({ isHighAtFirst, seconds }: Edges): CapturedPulses {
  const from = isHighAtFirst ? 1 : 0;
  const count = Math.floor((seconds.length - from) / 2);
  return {
    riseSeconds: Float64Array.from({ length: Math.max(0, count) }, (_, index) => seconds[from + 2 * index]!),
    fallSeconds: Float64Array.from({ length: Math.max(0, count) }, (_, index) => seconds[from + 2 * index + 1]!),
  };
}

export function extremes(values: Float64Array): { readonly low: number; readonly high: number } {
  let [low, high] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const value of values) {
    if (value < low) low = value;
    if (value > high) high = value;
  }
  return { low, high };
}
