/**
 * Which value decides? Two measures that ask only for order, so that no unit and no shape of a curve matters:
 *
 *     correlation   Spearman's: Pearson's of the ranks, ties at their mean rank
 *     split         the chance that a failing draw has the greater value than a passing one, less the chance that it has
 *                   the smaller: Mann-Whitney's U, from -1 (all failures lie low) to 1 (all lie high)
 */

/** Ranks from 1, ties at their mean. Infinite values have their place at the ends. */
export function ranksOf(values: ArrayLike<number>): Float64Array {
  const { length } = values;
  const order = Uint32Array.from(values, (_, index) => index).sort((a, b) => compare(values[a]!, values[b]!));
  const ranks = new Float64Array(length);
  for (let start = 0; start < length; ) {
    let end = start + 1;
    while (end < length && compare(values[order[start]!]!, values[order[end]!]!) === 0) end += 1;
    for (let place = start; place < end; place += 1) ranks[order[place]!] = (start + 1 + end) / 2;
    start = end;
  }
  return ranks;
}

function compare(a: number, b: number): number {
  return a < b ? -1 : a > b ? 1 : 0;
}

/** Of two values by their ranks. 0 where one of them is always the same: nothing can be said then. */
export function spearman(x: Float64Array, y: Float64Array): number {
  const mean = (x.length + 1) / 2;
  let both = 0;
  let squareX = 0;
  let squareY = 0;
  for (let index = 0; index < x.length; index += 1) {
    const [dx, dy] = [x[index]! - mean, y[index]! - mean];
    both += dx * dy;
    squareX += dx * dx;
    squareY += dy * dy;
  }
  return squareX === 0 || squareY === 0 ? 0 : both / Math.sqrt(squareX * squareY);
}

/** Of a value by its ranks. 0 where all fail or all pass. */
export function failureSplit(ranks: Float64Array, fails: readonly boolean[]): number {
  const failCount = fails.filter(Boolean).length;
  const passCount = ranks.length - failCount;
  if (failCount === 0 || passCount === 0) return 0;
  const rankSum = ranks.reduce((sum, rank, index) => (fails[index] === true ? sum + rank : sum), 0);
  const above = rankSum - (failCount * (failCount + 1)) / 2;
  return (2 * above) / (failCount * passCount) - 1;
}

/** The value that a share of all lies below, by linear interpolation between the neighbours in order. */
export function quantileOf(sorted: ArrayLike<number>, share: number): number {
  const place = share * (sorted.length - 1);
  const below = sorted[Math.floor(place)] ?? Number.NaN;
  const above = sorted[Math.ceil(place)] ?? Number.NaN;
  return below === above ? below : below + (above - below) * (place - Math.floor(place));
}
