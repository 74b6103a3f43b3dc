/** Intervals against the published table, quantiles against tables, ranks against worked examples. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { betaQuantile, betaShare, logGamma, normalQuantile } from '../../sim/campaign/statistics/distribution.ts';
import { exactInterval, wilsonInterval } from '../../sim/campaign/statistics/interval.ts';
import { failureSplit, quantileOf, ranksOf, spearman } from '../../sim/campaign/statistics/rank.ts';

// Newcombe R.G., Statistics in Medicine 17:857-872 (1998), 95 %, recomputed with SciPy.
const published = [
  [81, 263, 0.2553, 0.3662, 0.2527, 0.3676],
  [15, 148, 0.0624, 0.1605, 0.0578, 0.1617],
  [0, 20, 0, 0.1611, 0, 0.1684],
  [1, 29, 0.0061, 0.1718, 0.0009, 0.1776],
  [3, 12, 0.0889, 0.5323, 0.0549, 0.5719],
  [29, 29, 0.883, 1, 0.8806, 1],
  [10, 10, 0.7225, 1, 0.6915, 1],
] as const;

describe('statistics: intervals', () => {
  test.each(published)('%i of %i: Wilson %f to %f, exact %f to %f', (x, n, wilsonLow, wilsonHigh, low, high) => {
    const rounded = (interval: readonly number[]): number[] => interval.map((end) => Number(end.toFixed(4)));
    expect(rounded(wilsonInterval(x, n))).toEqual([wilsonLow, wilsonHigh]);
    expect(rounded(exactInterval(x, n))).toEqual([low, high]);
  });

  test('none of 59 and none of 299, one-sided 95 %: 0.0495 and 0.00997', () => {
    // One side of 95 % is the upper end of a two-sided interval of 90 %.
    expect(exactInterval(0, 59, 0.9)[1]).toBeCloseTo(0.0495, 4);
    expect(exactInterval(0, 299, 0.9)[1]).toBeCloseTo(0.00997, 5);
  });

  test('law: at an end of the exact interval the tail has the stated probability', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 400 }), fc.double({ min: 0, max: 1, noNaN: true }), (n, share) => {
        const x = Math.floor(share * (n + 1) * 0.999999);
        const [low, high] = exactInterval(x, n);
        if (x > 0) expect(upperTail(x, n, low)).toBeCloseTo(0.025, 8);
        if (x < n) expect(1 - upperTail(x + 1, n, high)).toBeCloseTo(0.025, 8);
      }),
      { seed: 20261125, numRuns: 200 },
    );
  });
});

/** The chance of `x` or more successes, by adding up the binomial distribution. */
function upperTail(x: number, n: number, share: number): number {
  let sum = 0;
  for (let k = x; k <= n; k += 1) {
    let logChoose = 0;
    for (let i = 1; i <= k; i += 1) logChoose += Math.log((n - k + i) / i);
    sum += Math.exp(logChoose + k * Math.log(share) + (n - k) * Math.log1p(-share));
  }
  return sum;
}

describe('statistics: distributions', () => {
  // Any table of the normal distribution.
  test.each([
    [0.5, 0],
    [0.975, 1.959964],
    [0.95, 1.644854],
    [0.995, 2.575829],
    [0.9999, 3.719016],
    [1e-9, -5.997807],
    [1e-15, -7.941345],
  ])('normal quantile of %f is %f', (probability, quantile) => {
    expect(normalQuantile(probability)).toBeCloseTo(quantile, 5);
  });

  test('log gamma: factorials, and the square root of pi at one half', () => {
    expect(Math.exp(logGamma(5))).toBeCloseTo(24, 10);
    expect(Math.exp(logGamma(0.5))).toBeCloseTo(Math.sqrt(Math.PI), 12);
    expect(logGamma(171)).toBeCloseTo(706.5730622458, 9);
  });

  test('beta: closed forms at a = 1 and b = 1, and the quantile undoes the share', () => {
    expect(betaShare(0.3, 1, 5)).toBeCloseTo(1 - 0.7 ** 5, 14);
    expect(betaShare(0.3, 4, 1)).toBeCloseTo(0.3 ** 4, 14);
    expect(betaShare(betaQuantile(0.1234, 7.5, 321), 7.5, 321)).toBeCloseTo(0.1234, 12);
  });
});

describe('statistics: ranks', () => {
  test('ties share their mean rank', () => {
    expect([...ranksOf([10, 20, 20, 5, Number.NEGATIVE_INFINITY])]).toEqual([3, 4.5, 4.5, 2, 1]);
  });

  test('Spearman: no ties is 1 - 6 sum(d2) / n(n2 - 1), by hand', () => {
    // Ranks 1..5 against 2, 1, 4, 3, 5: d2 = 1+1+1+1+0 = 4, so 1 - 24/120 = 0.8.
    expect(spearman(ranksOf([1, 2, 3, 4, 5]), ranksOf([20, 10, 40, 30, 50]))).toBeCloseTo(0.8, 12);
    expect(spearman(ranksOf([1, 2, 3]), ranksOf([7, 7, 7]))).toBe(0);
  });

  test('failures that all lie high split by 1, low by -1, both sides alike by 0', () => {
    expect(failureSplit(ranksOf([1, 2, 3, 4]), [false, false, true, true])).toBe(1);
    expect(failureSplit(ranksOf([1, 2, 3, 4]), [true, true, false, false])).toBe(-1);
    expect(failureSplit(ranksOf([1, 2, 3, 4]), [true, false, false, true])).toBe(0);
  });

  test('the median lies between its neighbours', () => {
    expect(quantileOf([1, 2, 10, 20], 0.5)).toBe(6);
    expect(quantileOf([3], 0.9)).toBe(3);
  });
});
