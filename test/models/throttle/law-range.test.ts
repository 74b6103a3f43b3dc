/** The mapping law over a range of counts, against trying every count. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { compareFor, comparesFor, integerFor, type LawConstants, wraps } from '../../../models/throttle/law-range.ts';

const count = fc.integer({ min: 0, max: 1023 });
const compare = fc.integer({ min: 0, max: 40_000 });
const laws = fc
  .record({
    input: fc.tuple(count, count),
    output: fc.tuple(compare, compare),
    integer: fc.constantFrom<16 | 32>(16, 32),
    clamp: fc.boolean(),
    deadBand: fc.integer({ min: 0, max: 40 }),
  })
  .filter(({ input }) => input[0] !== input[1]);
const ranges = fc.tuple(count, count).map(([a, b]) => ({ least: Math.min(a, b), most: Math.max(a, b) }));

describe('law over a range of counts', () => {
  test('law: its ends are those of trying every count, wrap-around included', () => {
    let wrapping = 0;
    fc.assert(
      fc.property(laws, ranges, (law, counts) => {
        const all = Array.from({ length: counts.most - counts.least + 1 }, (_, index) =>
          compareFor(counts.least + index, law),
        );
        if (wraps(counts, law)) wrapping += 1;
        expect(comparesFor(counts, law)).toEqual({ least: Math.min(...all), most: Math.max(...all) });
      }),
      { seed: 20261125, numRuns: 2000 },
    );
    // Both ways of computing were taken.
    expect(wrapping).toBeGreaterThan(200);
    expect(wrapping).toBeLessThan(1800);
  });

  test('law: integers said to be wide enough give what numbers without limit give', () =>
    fc.assert(
      fc.property(laws, ranges, count, (law, counts, share) => {
        const at = Math.min(counts.least + share, counts.most);
        const integer = integerFor(counts, law);
        fc.pre(!wraps(counts, { ...law, integer }));
        const { input, output, clamp, deadBand } = law;
        const clamped = clamp ? Math.min(Math.max(at, Math.min(...input)), Math.max(...input)) : at;
        const taken = deadBand > 0 && Math.abs(clamped - input[0]) <= deadBand ? input[0] : clamped;
        const quotient = (BigInt(taken - input[0]) * BigInt(output[1] - output[0])) / BigInt(input[1] - input[0]);
        expect(compareFor(at, { ...law, integer })).toBe(Number(quotient) + output[0]);
      }),
      { seed: 20261125, numRuns: 2000 },
    ));

  // 642 x 16 = 10272 fits 16 bits; 619 x 525 = 324975 does not (its limit is 32767).
  test.each([
    [[186, 828], [46, 62], 16],
    [[199, 818], [1499, 2024], 32],
  ] as const)('input %j to output %j needs %d bits', (input, output, bits) => {
    const law: LawConstants = { input, output, integer: 32, clamp: true, deadBand: 0 };
    expect(integerFor({ least: 0, most: 1023 }, law)).toBe(bits);
  });
});
