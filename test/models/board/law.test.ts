import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { mappedCount, wrapped } from '../../../models/board/law.ts';

const seeded = { seed: 20261125, numRuns: 3000 };
const any16 = fc.integer({ min: -32768, max: 65535 });
const bits = fc.constantFrom(16, 32);

/**
 * The law in exact integers. BigInt division cuts towards zero, as C does (ISO/IEC 9899:2018, 6.5.5), and `asIntN` is
 * what a two's-complement machine leaves of a result that is too long.
 */
function exactly(count: number, inLow: number, inHigh: number, outLow: number, outHigh: number, width: number): number {
  const [c, il, ih, ol, oh] = [count, inLow, inHigh, outLow, outHigh].map(BigInt) as [
    bigint,
    bigint,
    bigint,
    bigint,
    bigint,
  ];
  const kept = (value: bigint): bigint => BigInt.asIntN(width, value);
  const span = kept(ih - il);
  return span === 0n ? outLow : Number(kept(kept(kept(c - il) * kept(oh - ol)) / span + ol));
}

describe('law: C integers', () => {
  test('law: the same as exact integers kept to 16 or 32 bits', () =>
    fc.assert(
      fc.property(
        fc.nat(65535),
        fc.nat(65535),
        fc.nat(65535),
        any16,
        any16,
        bits,
        (count, inLow, inHigh, outLow, outHigh, width) => {
          expect(mappedCount(count, inLow, inHigh, outLow, outHigh, width)).toBe(
            exactly(count, inLow, inHigh, outLow, outHigh, width),
          );
        },
      ),
      seeded,
    ));

  test('law: inside the range and without overflow, an end gives its end and more count never gives less', () =>
    fc.assert(
      fc.property(fc.nat(1023), fc.nat(1023), fc.nat(255), fc.nat(255), (a, b, c, d) => {
        fc.pre(a !== b);
        const [inLow, inHigh, outLow, outHigh] = [Math.min(a, b), Math.max(a, b), Math.min(c, d), Math.max(c, d)];
        const law = (count: number) => mappedCount(count, inLow, inHigh, outLow, outHigh, 32);
        expect([law(inLow), law(inHigh)]).toEqual([outLow, outHigh]);
        for (let count = inLow; count < inHigh; count += 7) expect(law(count + 1)).toBeGreaterThanOrEqual(law(count));
      }),
      { seed: 20261125, numRuns: 200 },
    ));

  test('the quotient is cut towards zero, on both sides of the low end', () => {
    // 5 / 600 x 20 is 0.17, -185 / 600 x 20 is -6.17: C cuts both towards zero, a floor would give -7.
    expect(mappedCount(205, 200, 800, 40, 60, 32)).toBe(40);
    expect(mappedCount(15, 200, 800, 40, 60, 32)).toBe(34);
  });

  test('a 16-bit product wraps round: 600 x 60 is 36000, which 16 bits hold as -29536', () => {
    expect(wrapped(36000, 16)).toBe(-29536);
    expect(mappedCount(800, 200, 800, 40, 100, 16)).toBe(Math.trunc(-29536 / 600) + 40);
    expect(mappedCount(800, 200, 800, 40, 100, 32)).toBe(100);
  });

  test('both ends of the input equal: the low output, where the program itself would divide by zero', () => {
    expect(mappedCount(500, 300, 300, 40, 60, 32)).toBe(40);
  });
});
