import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Dimension, parseQuantity, type Quantity } from '../../sim/units/index.ts';
import { anyDimension, decimalText, SEED } from './arbitrary.ts';

function read(text: string | number, dimension: Dimension): Quantity {
  const parsed = parseQuantity(text, dimension);
  if ('mistake' in parsed) throw new Error(JSON.stringify(parsed.mistake));
  return parsed.quantity;
}

describe('units: reading', () => {
  test.each<[string | number, Dimension, number, number]>([
    // Text, what is wanted, value and tolerance in base units by plain arithmetic.
    ['0.91 V ± 40 mV', 'voltage', 0.91, 0.04],
    ['5.0 V +/- 2 %', 'voltage', 5, 0.1],
    ['1500 us', 'time', 0.0015, 0],
    ['1500us', 'time', 0.0015, 0],
    ['  1500\tus  ', 'time', 0.0015, 0],
    ['1500 \u00b5s', 'time', 0.0015, 0],
    ['1500 \u03bcs', 'time', 0.0015, 0],
    ['1e-3 s', 'time', 0.001, 0],
    ['1.5E3 us', 'time', 0.0015, 0],
    ['.5 s', 'time', 0.5, 0],
    ['5. s', 'time', 5, 0],
    ['8 MHz ± 1 %', 'frequency', 8e6, 8e4],
    ['8 MHz ± 50 ppm', 'frequency', 8e6, 400],
    ['10 k\u03a9', 'resistance', 1e4, 0],
    ['10 k\u2126', 'resistance', 1e4, 0],
    ['38 mohm', 'resistance', 0.038, 0],
    ['120 uH', 'inductance', 120e-6, 0],
    ['4 mm2', 'area', 4e-6, 0],
    ['4 mm²', 'area', 4e-6, 0],
    ['0.061 V.s/rad', 'motor-constant', 0.061, 0],
    ['0.061 V·s/rad', 'motor-constant', 0.061, 0],
    ['0.061 V s / rad', 'motor-constant', 0.061, 0],
    ['61 mN.m/A', 'motor-constant', 0.061, 0],
    ['18 Ah', 'charge', 64800, 0],
    ['100 %', 'ratio', 1, 0],
    ['0.25', 'ratio', 0.25, 0],
    [0.25, 'ratio', 0.25, 0],
    ['-20 degC', 'temperature', -20, 0],
    ['\u221220 °C ± 5 K', 'temperature', -20, 5],
    ['12 km/h', 'speed', 12000 / 3600, 0],
    ['0.01 A2s', 'i2t', 0.01, 0],
    ['40 1/s', 'slew', 40, 0],
    ['50 %/s', 'slew', 0.5, 0],
    [46, 'count', 46, 0],
    ['0 ± 2', 'count', 0, 2],
    ['-0 V', 'voltage', 0, 0],
    ['5 V ± 0 V', 'voltage', 5, 0],
    ['1e-9999999999999999999999999 V', 'voltage', 0, 0],
    ['0e9999999999999999999999999 V', 'voltage', 0, 0],
    ['-5 V ± 2 %', 'voltage', -5, 0.1],
  ])('%j as %s', (text, dimension, value, tolerance) => {
    const quantity = read(text, dimension);
    expect(quantity.value).toBe(value);
    expect(quantity.tolerance).toBeCloseTo(tolerance, 12);
    expect(quantity.dimension).toBe(dimension);
    expect(quantity.text).toBe(String(text).trim());
  });

  test("a ratio's tolerance is absolute, also about 0", () => {
    expect(read('0 % ± 1 %', 'ratio').tolerance).toBe(0.01);
    expect(read('50 % ± 2 %', 'ratio').tolerance).toBe(0.02);
  });
});

describe('units: exact ratio', () => {
  test.each<[string, Dimension, number, number]>([
    ['10 ms', 'time', 1, 100],
    ['32 us', 'time', 1, 31250],
    ['0.1 s', 'time', 1, 10],
    ['-2.50 V', 'voltage', -5, 2],
    ['0 s', 'time', 0, 1],
    ['12 km/h', 'speed', 10, 3],
    ['1 KiB', 'data', 1024, 1],
  ])('%s is %i / %i in lowest terms', (text, dimension, count, per) => {
    expect(read(text, dimension).exact).toEqual({ count, per });
  });

  test.each<[string, Dimension]>([
    ['3000 rpm', 'angular-speed'],
    ['12 AWG', 'area'],
    ['0.1234567890123456789 s', 'time'],
    ['1e-300 s', 'time'],
  ])('%s has none', (text, dimension) => {
    expect(read(text, dimension)).not.toHaveProperty('exact');
  });

  test('law: it divides to the value and is in lowest terms', () => {
    fc.assert(
      fc.property(decimalText, anyDimension, (number, { dimension, symbol }) => {
        const parsed = parseQuantity(`${number} ${symbol}`, dimension);
        if ('mistake' in parsed || parsed.quantity.exact === undefined) return;
        const { count, per } = parsed.quantity.exact;
        expect(Number.isSafeInteger(count) && Number.isSafeInteger(per) && per > 0).toBe(true);
        expect(parsed.quantity.value).toBe(count / per);
        let [a, b] = [Math.abs(count), per];
        while (b !== 0) [a, b] = [b, a % b];
        expect(a).toBe(1);
      }),
      { seed: SEED, numRuns: 1000 },
    );
  });
});

describe('units: prefixes', () => {
  // The language's own number reader rounds a decimal text correctly (ECMA-262, StringToNumber): `7 us` must be the
  // float nearest to 7e-6. SI brochure, 9th edition, table 7.
  const powers: [string, Dimension, number][] = [
    ['pF', 'capacitance', -12],
    ['nF', 'capacitance', -9],
    ['us', 'time', -6],
    ['mV', 'voltage', -3],
    ['kohm', 'resistance', 3],
    ['MHz', 'frequency', 6],
    ['GHz', 'frequency', 9],
  ];
  test('law: the value is the float nearest to the decimal number', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...powers),
        fc.integer({ min: -99999, max: 99999 }),
        fc.nat(4),
        ([symbol, dimension, power], digits, places) => {
          const number = `${digits}e${-places}`;
          expect(read(`${number} ${symbol}`, dimension).value).toBe(Number(`${digits}e${power - places}`) + 0);
        },
      ),
      { seed: SEED, numRuns: 1000 },
    );
  });
});

describe('units: hostile text', () => {
  const pieces = fc.constantFrom(
    ...[
      '±',
      '+/-',
      '1',
      '0',
      '.',
      ',',
      'e',
      'E9999',
      '-',
      '\u2212',
      ' ',
      'V',
      'm',
      'us',
      'Ω',
      '/',
      '²',
      '%',
      '1/s',
      'AWG',
      '\u0000',
      '\u001b[31m',
      '𝟙',
      '0x',
      'NaN',
      'Infinity',
      '__proto__',
    ],
  );
  const text = fc.oneof(
    fc.string({ unit: 'binary', maxLength: 40 }),
    fc.array(pieces, { maxLength: 12 }).map((all) => all.join('')),
  );

  test('law: every text gives a finite quantity or a mistake, never an exception', () => {
    fc.assert(
      fc.property(text, anyDimension, (written, { dimension }) => {
        const parsed = parseQuantity(written, dimension);
        if ('mistake' in parsed) {
          expect(parsed.mistake.dimension).toBe(dimension);
          return;
        }
        const { value, tolerance } = parsed.quantity;
        expect(Number.isFinite(value) && Number.isFinite(tolerance) && tolerance >= 0).toBe(true);
        expect(Math.abs(value)).toBeLessThanOrEqual(1e15);
      }),
      { seed: SEED, numRuns: 5000 },
    );
  });

  test.each(['1', ' ', '1 ', '1,', '±', '\u0000', 'e9', '.', "1'000", 'u'])(
    'a million times %j is refused by its length alone',
    (piece) => {
      // What is longer than the limit is never scanned; just below it the patterns have no nested repetition to back up over.
      const parsed = parseQuantity(`5${piece.repeat(1e6)}V`, 'voltage');
      expect(parsed).toMatchObject({ mistake: { code: 'too-long', limit: 200 } });
      expect(parseQuantity(`5${piece.repeat(190 / piece.length)}V`, 'voltage')).toBeDefined();
    },
  );
});
