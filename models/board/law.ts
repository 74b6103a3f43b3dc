/**
 * The arithmetic of the mapping law: C integers of 16 or 32 bits, as a board's program computes.
 *
 *     mapped = (count - inLow) x (outHigh - outLow) / (inHigh - inLow) + outLow
 *
 * The product wraps round, the quotient is cut towards zero. Source: ISO/IEC 9899:2018, 6.5.5 (division truncates);
 * wrap-around is what the compiler for the target does on overflow, though the standard leaves it undefined for signed
 * integers.
 */

/** The law's constants. */
export interface LawNumbers {
  readonly input: readonly [number, number];
  readonly output: readonly [number, number];
  readonly integer: 16 | 32;
}

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

/** Counts that the law maps to exactly `compare`, scanned from a range; used to say what would help. */
export function countsFor(
  compare: number,
  numbers: LawNumbers,
): { readonly least: number; readonly most: number } | undefined {
  let least: number | undefined;
  let most: number | undefined;
  for (let candidate = 0; candidate <= 1023; candidate += 1) {
    if (
      mappedCount(
        candidate,
        numbers.input[0],
        numbers.input[1],
        numbers.output[0],
        numbers.output[1],
        numbers.integer,
      ) !== compare
    )
      continue;
    least ??= candidate;
    most = candidate;
  }
  return least === undefined || most === undefined ? undefined : { least, most };
}
