/** Quantiles of the normal and of the beta distribution. */

/** Rows of a rational approximation: numerator and denominator, constant first. */
type Rational = readonly [over: readonly number[], under: readonly number[]];

// Wichura, algorithm AS 241 (PPND7), Applied Statistics 37:477 (1988): about seven digits.
const NEAR: Rational = [
  [3.3871327179, 50.434271938, 159.29113202, 59.10937472],
  [1, 17.895169469, 78.757757664, 67.1875636],
];
const FAR: Rational = [
  [1.4234372777, 2.75681539, 1.3067284816, 0.17023821103],
  [1, 0.7370016425, 0.12021132975],
];
const FARTHEST: Rational = [
  [6.657905115, 3.081226386, 0.42868294337, 0.017337203997],
  [1, 0.24197894225, 0.012258202635],
];

/** The value that a standard normal draw stays below with this probability. */
export function normalQuantile(probability: number): number {
  const offset = probability - 0.5;
  if (Math.abs(offset) <= 0.425) return offset * ratioAt(NEAR, 0.180625 - offset * offset);
  const tail = Math.sqrt(-Math.log(Math.min(probability, 1 - probability)));
  const size = tail <= 5 ? ratioAt(FAR, tail - 1.6) : ratioAt(FARTHEST, tail - 5);
  return offset < 0 ? -size : size;
}

function ratioAt([over, under]: Rational, x: number): number {
  const at = (terms: readonly number[]): number => terms.reduceRight((sum, term) => sum * x + term, 0);
  return at(over) / at(under);
}

/** The share that a beta variate stays below with this probability: by bisection, as the distribution never falls. */
export function betaQuantile(probability: number, a: number, b: number): number {
  let low = 0;
  let high = 1;
  // Each step halves the gap: after 60 the two are neighbours among float64.
  for (let step = 0; step < 60; step += 1) {
    const middle = (low + high) / 2;
    if (betaShare(middle, a, b) < probability) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** Regularised incomplete beta function I_x(a, b): the probability that a beta variate is below x. */
export function betaShare(x: number, a: number, b: number): number {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  // The fraction converges fast only on this side of the mean.
  if (x > (a + 1) / (a + b + 2)) return 1 - betaShare(1 - x, b, a);
  const front = Math.exp(a * Math.log(x) + b * Math.log1p(-x) + logGamma(a + b) - logGamma(a) - logGamma(b)) / a;
  return front * continuedFraction(x, a, b);
}

/** The continued fraction of I_x(a, b) (DLMF 8.17.22), evaluated from the front by Lentz's method. */
function continuedFraction(x: number, a: number, b: number): number {
  const tiny = 1e-300;
  const away = (value: number): number => (Math.abs(value) < tiny ? tiny : value);
  let under = 1 / away(1 - ((a + b) * x) / (a + 1));
  let over = 1;
  let result = under;
  for (let m = 1; m <= 10_000; m += 1) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    under = 1 / away(1 + even * under);
    over = away(1 + even / over);
    result *= under * over;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    under = 1 / away(1 + odd * under);
    over = away(1 + odd / over);
    const factor = under * over;
    result *= factor;
    if (Math.abs(factor - 1) < 1e-15) return result;
  }
  return result;
}

/** Stirling's series (DLMF 5.11.1) from 10 on, brought there by the recurrence. */
export function logGamma(x: number): number {
  let shift = 0;
  let at = x;
  for (; at < 10; at += 1) shift += Math.log(at);
  const inverse = 1 / (at * at);
  const series = (1 / 12 - inverse * (1 / 360 - inverse * (1 / 1260 - inverse * (1 / 1680 - inverse / 1188)))) / at;
  return (at - 0.5) * Math.log(at) - at + 0.5 * Math.log(2 * Math.PI) + series - shift;
}
