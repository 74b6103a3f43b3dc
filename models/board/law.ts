/**
 * The arithmetic of the mapping law: C integers of 16 or 32 bits, as a board's program computes.
 *
 *     mapped = (count - inLow) x (outHigh - outLow) / (inHigh - inLow) + outLow
 *
 * The product wraps round, the quotient is cut towards zero. Source: ISO/IEC 9899:2018, 6.5.5 (division truncates);
 * wrap-around is what the compiler for the target does on overflow, though the standard leaves it undefined for signed
 * integers.
 */

/** Two's complement wrap-around to `bits` (16 or 32). */
export function wrapped(value: number, bits: number): number {
  if (bits === 32) return value | 0;
  return (value << 16) >> 16;
}

/** The law in C integers; `inLow` equal to `inHigh` gives `outLow`, where the program itself would divide by zero. */
export function mappedCount(
  countValue: number,
  inLow: number,
  inHigh: number,
  outLow: number,
  outHigh: number,
  bits: number,
): number {
  const span = wrapped(inHigh - inLow, bits);
  if (span === 0) return outLow;
  const product =
    bits === 32
      ? Math.imul(countValue - inLow, outHigh - outLow)
      : wrapped(Math.imul(countValue - inLow, outHigh - outLow), 16);
  return wrapped(Math.trunc(product / span) + outLow, bits);
}

/** What the law takes for a count: the nearest end of the input range if clamped, and its low end inside the dead band. */
export function takenCount(
  countValue: number,
  inLow: number,
  inHigh: number,
  isClamped: boolean,
  deadBandCounts: number,
): number {
  const taken = isClamped
    ? Math.min(Math.max(countValue, Math.min(inLow, inHigh)), Math.max(inLow, inHigh))
    : countValue;
  return deadBandCounts > 0 && Math.abs(taken - inLow) <= deadBandCounts ? inLow : taken;
}
