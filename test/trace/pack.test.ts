/** A block of recorded numbers comes back as it went in, to the last bit, and takes fewer bytes where it is regular. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { BLOCK, pack, unpack } from '../../sim/trace/pack.ts';

const SEED = 20261125;
const RATES = [1000, 1e6, 8e6];

/** The bits of each number. */
function bitsOf(numbers: Float64Array): number[] {
  return [...new Uint32Array(Float64Array.from(numbers).buffer)];
}

function roundTrip(numbers: Float64Array, rates: readonly number[], isListed: boolean): Float64Array {
  const result = new Float64Array(BLOCK);
  unpack(pack(numbers, rates, isListed), result, 0);
  return result;
}

function block(at: (index: number) => number): Float64Array {
  return Float64Array.from({ length: BLOCK }, (_, index) => at(index));
}

function bytesPerSample(numbers: Float64Array, rates: readonly number[]): number {
  return pack(numbers, rates, rates !== RATES).byteLength / BLOCK;
}

/** Blocks are long, and few of their numbers matter: a pattern of any numbers is repeated, with single ones put in its way. */
function blocks(number: fc.Arbitrary<number>): fc.Arbitrary<Float64Array> {
  return fc
    .tuple(
      fc.array(number, { minLength: 1, maxLength: 400 }),
      fc.array(fc.tuple(fc.nat(BLOCK - 1), number), { maxLength: 8 }),
    )
    .map(([pattern, changes]) => {
      const numbers = block((index) => pattern[index % pattern.length]!);
      for (const [place, value] of changes) numbers[place] = value;
      return numbers;
    });
}

const bitPattern = fc
  .tuple(fc.integer(), fc.integer())
  .map((halves) => new Float64Array(Int32Array.from(halves).buffer)[0]!);
const special = fc.constantFrom(
  0,
  -0,
  NaN,
  Infinity,
  -Infinity,
  Number.MIN_VALUE,
  -Number.MIN_VALUE,
  2 ** -1022,
  Number.MAX_VALUE,
);
const count = fc.oneof(
  fc.integer(),
  fc.maxSafeInteger(),
  fc.constantFrom(2 ** 53, -(2 ** 53), 2 ** 53 + 2, 2 ** 31, -(2 ** 31), 2 ** 32),
);

describe('pack: the round trip', () => {
  test.each([
    ['any float', fc.double()],
    ['any bits', bitPattern],
    ['numbers of special kinds', fc.oneof(special, fc.integer({ min: -2, max: 2 }))],
    ['counts', count],
    ['counts over a rate', fc.tuple(count, fc.constantFrom(...RATES)).map(([ticks, rate]) => ticks / rate)],
    ['few numbers', fc.constantFrom(0, 1, 2)],
  ])('law: of %s is to the last bit', (_, numbers) => {
    fc.assert(
      fc.property(blocks(numbers), fc.subarray([1, ...RATES]), fc.boolean(), (given, rates, isListed) => {
        expect(bitsOf(roundTrip(given, rates, isListed))).toEqual(bitsOf(given));
      }),
      { seed: SEED, numRuns: 150 },
    );
  });

  test('law: of rising instants is to the last bit, on a clock and off it, regular and not', () => {
    const gaps = fc.array(fc.nat(1e6), { minLength: 1, maxLength: 20 });
    fc.assert(
      fc.property(gaps, fc.nat(2 ** 40), fc.constantFrom(1000, 8e6, 8e6 * 1.0037, 1 / 3), (pattern, start, rate) => {
        let ticks = start;
        const instants = block((index) => {
          ticks += pattern[index % pattern.length]!;
          return ticks / rate;
        });
        expect(bitsOf(roundTrip(instants, RATES, false))).toEqual(bitsOf(instants));
      }),
      { seed: SEED, numRuns: 300 },
    );
  });

  test('law: of a curve with noise of any size is to the last bit', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -1e6, max: 1e6, noNaN: true }),
        fc.integer({ min: -60, max: 20 }),
        (middle, power) => {
          const curve = block((index) => middle * Math.sin(index / 100) + ((index * 7919) % 101) * 2 ** power);
          expect(bitsOf(roundTrip(curve, [1], true))).toEqual(bitsOf(curve));
        },
      ),
      { seed: SEED, numRuns: 300 },
    );
  });

  test('gives numbers into the middle of a longer array and leaves the rest', () => {
    const target = new Float64Array(BLOCK + 2).fill(7);
    unpack(
      pack(
        block((index) => index),
        [1],
        true,
      ),
      target,
      1,
    );
    expect([target[0], target[1], target[BLOCK], target[BLOCK + 1]]).toEqual([7, 0, BLOCK - 1, 7]);
  });
});

describe('pack: how little it takes', () => {
  test('a regular grid and a steady count take less than a tenth of a byte a sample', () => {
    expect(
      bytesPerSample(
        block((index) => (index + 5_000_000) / 1000),
        RATES,
      ),
    ).toBeLessThan(0.1);
    expect(
      bytesPerSample(
        block((index) => index + 17),
        [1],
      ),
    ).toBeLessThan(0.1);
    expect(
      bytesPerSample(
        block(() => NaN),
        [1],
      ),
    ).toBeLessThan(0.1);
  });

  test('a level takes a bit, sixteen modes take four', () => {
    expect(
      bytesPerSample(
        block((index) => index % 2),
        [1],
      ),
    ).toBeLessThan(1 / 8 + 0.03);
    expect(
      bytesPerSample(
        block((index) => ((index * 7) % 16) / 3),
        [1],
      ),
    ).toBeLessThan(4 / 8 + 0.14);
  });

  test('edges of a clock at 8 MHz take what their irregularity takes: 8 bits of it take about one byte', () => {
    let ticks = 9e9;
    const edges = block((index) => {
      ticks += 65_536 + ((index * 7919) % 256);
      return ticks / 8e6;
    });
    expect(bytesPerSample(edges, RATES)).toBeLessThan(1.4);
  });

  test('what follows no rule takes hardly more than it would unpacked', () => {
    let state = 1;
    const next = (): number => {
      state = (Math.imul(state, 1_664_525) + 1_013_904_223) | 0;
      return state;
    };
    const noise = new Float64Array(Int32Array.from({ length: 2 * BLOCK }, next).buffer);
    expect(bytesPerSample(noise, [1])).toBeLessThan(8.1);
  });
});
