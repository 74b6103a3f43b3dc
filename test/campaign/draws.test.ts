/** Draws: each stratum once, the stated distributions by the Kolmogorov-Smirnov test, all corners, streams of their own. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type DrawPlan, drawsOf, type Tolerance, valueText } from '../../sim/campaign/spread/draws.ts';
import { parseQuantity } from '../../sim/units/index.ts';
import { DIMENSIONS, type Dimension } from '../../sim/units/unit-table.ts';

const tolerance = (path: string, text: string): Tolerance => {
  const parsed = parseQuantity(text, 'voltage');
  if ('mistake' in parsed) throw new Error(text);
  return { path, quantity: parsed.quantity };
};
const plan = (changes: Partial<DrawPlan>): DrawPlan => ({
  law: 'uniform',
  sampling: 'latin',
  draws: 500,
  batch: 500,
  seed: 20261125,
  ...changes,
});
const three = [tolerance('a', '2 V ± 1 V'), tolerance('b', '5 V ± 2 V'), tolerance('c', '3 V ± 0.3 V')];
/** `values[draw * tolerances.length + place]`. */
const valuesOf = (tolerances: readonly Tolerance[], wanted: DrawPlan): Float64Array => {
  const drawn = drawsOf(tolerances, wanted);
  const width = tolerances.length;
  return Float64Array.from({ length: wanted.draws * width }, (_, index) =>
    drawn(Math.floor(index / width), index % width),
  );
};
const column = (values: Float64Array, width: number, place: number): number[] =>
  [...values].filter((_, index) => index % width === place);

/** Greatest distance between the draws' distribution and a given one. */
function distanceFrom(draws: readonly number[], below: (value: number) => number): number {
  const sorted = [...draws].sort((a, b) => a - b);
  return Math.max(
    ...sorted.flatMap((value, index) => [
      Math.abs(below(value) - index / sorted.length),
      Math.abs(below(value) - (index + 1) / sorted.length),
    ]),
  );
}

// Kolmogorov-Smirnov, 1 %: 1.628 / sqrt(n).
const limit = (count: number): number => 1.628 / Math.sqrt(count);

describe('draws: Latin hypercube', () => {
  test.each([0, 1, 2])('every one of 500 strata of value %i is met exactly once', (place) => {
    const { value, tolerance: reach } = three[place]!.quantity;
    const strata = column(valuesOf(three, plan({})), 3, place).map((drawn) =>
      Math.floor((500 * (drawn - value + reach)) / (2 * reach)),
    );
    expect([...strata].sort((a, b) => a - b)).toEqual(Array.from({ length: 500 }, (_, index) => index));
  });

  test('of a run that may stop early each batch is a hypercube of its own', () => {
    const drawn = column(valuesOf(three, plan({ batch: 100 })), 3, 0);
    for (let start = 0; start < 500; start += 100) {
      const strata = drawn.slice(start, start + 100).map((value) => Math.floor((value - 1) * 50));
      expect(new Set(strata).size).toBe(100);
    }
  });

  test('two values are uncorrelated (r below 2.58 / sqrt(n), 1 %)', () => {
    const values = valuesOf(three, plan({}));
    const [a, b] = [column(values, 3, 0), column(values, 3, 1)];
    const mean = (list: readonly number[]): number => list.reduce((sum, value) => sum + value, 0) / list.length;
    const dot = (x: readonly number[], y: readonly number[]): number =>
      x.reduce((sum, value, index) => sum + (value - mean(x)) * (y[index]! - mean(y)), 0);
    expect(Math.abs(dot(a, b) / Math.sqrt(dot(a, a) * dot(b, b)))).toBeLessThan(2.58 / Math.sqrt(500));
  });

  test('another tolerance on the bench leaves the draws of the others as they are', () => {
    const alone = column(valuesOf([three[1]!], plan({})), 1, 0);
    expect(column(valuesOf(three, plan({})), 3, 1)).toEqual(alone);
  });
});

describe('draws: laws', () => {
  test('uniform, at random', () => {
    const drawn = column(valuesOf(three, plan({ sampling: 'random', draws: 2000, batch: 2000 })), 3, 0);
    expect(distanceFrom(drawn, (value) => (value - 1) / 2)).toBeLessThan(limit(2000));
  });

  test('normal, its tolerance three standard deviations and never beyond', () => {
    const drawn = column(valuesOf(three, plan({ law: 'normal', sampling: 'random', draws: 2000, batch: 2000 })), 3, 0);
    expect(distanceFrom(drawn, (value) => normalShare((value - 2) * 3))).toBeLessThan(limit(2000));
    expect(Math.max(...drawn.map((value) => Math.abs(value - 2)))).toBeLessThanOrEqual(1);
    // 68.27 % within one standard deviation; the binomial's own three sigma about that for 2000 draws is 3.1 %.
    const within = drawn.filter((value) => Math.abs(value - 2) < 1 / 3).length / 2000;
    expect(Math.abs(within - 0.6827)).toBeLessThan(0.031);
  });

  test('corners: all eight of three values where there is room', () => {
    const values = valuesOf(three, plan({ law: 'corners', draws: 8, batch: 8 }));
    const corners = Array.from({ length: 8 }, (_, draw) => [...values.slice(3 * draw, 3 * draw + 3)].join());
    expect(new Set(corners).size).toBe(8);
    expect(corners).toContain('1,3,2.7');
    expect(corners).toContain('3,7,3.3');
  });

  test('corners: with less room each end of each value is met equally often', () => {
    const many = Array.from({ length: 20 }, (_, index) => tolerance(`v${index}`, '2 V ± 1 V'));
    const values = valuesOf(many, plan({ law: 'corners', draws: 100, batch: 100 }));
    for (let place = 0; place < 20; place += 1) {
      expect(column(values, 20, place).filter((value) => value === 3)).toHaveLength(50);
      expect(column(values, 20, place).filter((value) => value === 1)).toHaveLength(50);
    }
  });
});

describe('draws: as text', () => {
  test('law: of any kind of quantity, a drawn number read back from its text is the same to the last bit', () => {
    const kinds = Object.keys(DIMENSIONS) as Dimension[];
    fc.assert(
      fc.property(
        fc.constantFrom(...kinds),
        fc.double({ min: 1, max: 10, noNaN: true }),
        fc.integer({ min: -9, max: 11 }),
        fc.double({ min: 1e-4, max: 0.9, noNaN: true }),
        (dimension, digits, power, share) => {
          // A count is whole, and one with a tolerance stays what it is.
          const value = dimension === 'count' ? Math.ceil(digits * 10 ** power) : digits * 10 ** power;
          const quantity = { value, tolerance: share * value, dimension, text: '' };
          const drawn = drawsOf([{ path: 'a', quantity }], plan({ draws: 3, batch: 3 }));
          for (let draw = 0; draw < 3; draw += 1) {
            const parsed = parseQuantity(valueText(drawn(draw, 0), dimension), dimension);
            expect('quantity' in parsed && parsed.quantity.value).toBe(drawn(draw, 0));
          }
        },
      ),
      { numRuns: 2000 },
    );
  });
});

/** Phi(z) by its series (Abramowitz and Stegun 26.2.11), so that the quantile under test is not measured by itself. */
function normalShare(z: number): number {
  let term = z;
  let sum = z;
  for (let k = 1; k < 200; k += 1) {
    term *= (z * z) / (2 * k + 1);
    sum += term;
  }
  return 0.5 + (sum * Math.exp((-z * z) / 2)) / Math.sqrt(2 * Math.PI);
}
