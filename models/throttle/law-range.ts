/**
 * What the mapping law makes of a whole range of counts: exactly the least and the greatest compare value.
 *
 * Without wrap-around the law never turns back on its way through the counts, so its ends are those of the range. With
 * wrap-around it does, and every count is tried.
 */
import { mappedCount, takenCount } from '../board/law.ts';
import type { Interval } from './interval.ts';

export interface LawConstants {
  readonly input: readonly [number, number];
  readonly output: readonly [number, number];
  readonly integer: 16 | 32;
  readonly clamp: boolean;
  readonly deadBand: number;
}

export function compareFor(count: number, law: LawConstants): number {
  const { input, output, integer, clamp, deadBand } = law;
  const taken = takenCount(count, input[0], input[1], clamp, deadBand);
  return mappedCount(taken, input[0], input[1], output[0], output[1], integer);
}

/** The compare values for the whole counts from `least` to `most`. */
export function comparesFor(counts: Interval, law: LawConstants): Interval {
  if (!wraps(counts, law)) {
    const [one, other] = [compareFor(counts.least, law), compareFor(counts.most, law)];
    return { least: Math.min(one, other), most: Math.max(one, other) };
  }
  let [least, most] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (let count = counts.least; count <= counts.most; count += 1) {
    const compare = compareFor(count, law);
    least = Math.min(least, compare);
    most = Math.max(most, compare);
  }
  return { least, most };
}

/** Whether any step of the computation leaves the integers that the law is computed in. */
export function wraps(counts: Interval, law: LawConstants): boolean {
  const { input, output, integer, clamp, deadBand } = law;
  const limit = 2 ** (integer - 1);
  const isOutside = (value: number): boolean => value < -limit || value >= limit;
  const span = input[1] - input[0];
  const rise = output[1] - output[0];
  if (isOutside(span)) return true;
  return [counts.least, counts.most].some((count) => {
    const product = (takenCount(count, input[0], input[1], clamp, deadBand) - input[0]) * rise;
    return isOutside(product) || isOutside(Math.trunc(product / span) + output[0]);
  });
}

/** The narrower of the two integers that the law needs for these counts. */
export function integerFor(counts: Interval, law: Omit<LawConstants, 'integer'>): 16 | 32 {
  return wraps(counts, { ...law, integer: 16 }) ? 32 : 16;
}
