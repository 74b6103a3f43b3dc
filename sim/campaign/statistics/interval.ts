/**
 * How far may the true rate lie from the one that was seen? Two intervals for `successes` out of `trials`:
 *
 *     Wilson           (p + z2/2n -+ z sqrt(p(1-p)/n + z2/4n2)) / (1 + z2/n)          close to the stated confidence
 *     Clopper-Pearson  Beta(a/2; x, n-x+1) to Beta(1-a/2; x+1, n-x)                   never below it, hence "exact"
 *
 * Source: Newcombe, Statistics in Medicine 17:857 (1998).
 */
import { assert } from '../../kernel/assert.ts';
import { betaQuantile, normalQuantile } from './distribution.ts';

export type Interval = readonly [low: number, high: number];

export function wilsonInterval(successes: number, trials: number, confidence = 0.95): Interval {
  if (trials === 0) return [0, 1];
  const z = normalQuantile(0.5 + confidence / 2);
  const share = successes / trials;
  const middle = share + (z * z) / (2 * trials);
  const half = z * Math.sqrt((share * (1 - share)) / trials + (z * z) / (4 * trials * trials));
  const scale = 1 + (z * z) / trials;
  // At the ends the formula gives 0 or 1 up to rounding.
  return [successes === 0 ? 0 : (middle - half) / scale, successes === trials ? 1 : (middle + half) / scale];
}

export function exactInterval(successes: number, trials: number, confidence = 0.95): Interval {
  assert(successes >= 0 && successes <= trials, 'more successes than trials', { successes, trials });
  if (trials === 0) return [0, 1];
  const tail = (1 - confidence) / 2;
  return [
    successes === 0 ? 0 : betaQuantile(tail, successes, trials - successes + 1),
    successes === trials ? 1 : betaQuantile(1 - tail, successes + 1, trials - successes),
  ];
}
