import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Dimension, formatQuantity, parseQuantity, unitFor } from '../../sim/units/index.ts';
import { DIMENSION_NAMES } from '../../sim/units/unit-table.ts';
import { SEED } from './arbitrary.ts';

describe('units: printing', () => {
  // The rule is ours and stands at the head of `formatQuantity`; these are its cases.
  test.each<[number, Dimension, string]>([
    [0.001536, 'time', '1536 us'],
    [-16e-6, 'time', '-16 us'],
    [125e-9, 'time', '125 ns'],
    [62.5e-6, 'time', '62.5 us'],
    [0.008192, 'time', '8192 us'],
    [0.0099994, 'time', '9999 us'],
    [0.00999999, 'time', '10 ms'],
    [0.02, 'time', '20 ms'],
    [0.52, 'time', '520 ms'],
    [0.99999, 'time', '1 s'],
    [1.5, 'time', '1.5 s'],
    [3600, 'time', '3600 s'],
    [0, 'time', '0 s'],
    [-0, 'voltage', '0 V'],
    [21, 'voltage', '21 V'],
    [0.91, 'voltage', '0.91 V'],
    [0.04, 'voltage', '40 mV'],
    [0.1 + 0.2, 'voltage', '0.3 V'],
    [0.038, 'resistance', '38 mohm'],
    [4700, 'resistance', '4.7 kohm'],
    [8e6, 'frequency', '8 MHz'],
    [61.0351, 'frequency', '61.04 Hz'],
    [0.93, 'ratio', '93 %'],
    [0, 'ratio', '0 %'],
    [64800, 'charge', '18 Ah'],
    [4e-6, 'area', '4 mm2'],
    [10 / 3, 'speed', '12 km/h'],
    [2 * Math.PI, 'angular-speed', '60 rpm'],
    [19999, 'count', '19999'],
    [123456, 'slew', '123456 1/s'],
    [Number.POSITIVE_INFINITY, 'resistance', 'infinite'],
    [Number.NEGATIVE_INFINITY, 'voltage', '-infinite'],
    [Number.NaN, 'voltage', 'unknown'],
  ])('%d of %s is %s', (value, dimension, expected) => {
    expect(formatQuantity(value, dimension)).toBe(expected);
  });

  test('a unit, digits, a sign and other characters can be asked for', () => {
    expect(formatQuantity(0.52, 'time', { unit: 's' })).toBe('0.52 s');
    expect(formatQuantity(1 / 3, 'voltage', { digits: 2 })).toBe('0.33 V');
    expect(formatQuantity(16e-6, 'time', { signed: true, unicode: true })).toBe('+16 µs');
    expect(formatQuantity(0.038, 'resistance', { unicode: true })).toBe('38 mΩ');
    expect(formatQuantity(25, 'temperature', { unicode: true })).toBe('25 °C');
    expect(formatQuantity(0.061, 'motor-constant', { unicode: true })).toBe('0.061 V·s/rad');
    expect(() => formatQuantity(1, 'time', { unit: 'V' })).toThrow('V is not a unit');
  });

  const value = fc.tuple(
    fc.double({ min: 1, max: 10, noNaN: true }),
    fc.integer({ min: -12, max: 13 }),
    fc.constantFrom(-1, 1),
  );
  test('law: printed and read again, the value is the same to the digits printed', () => {
    fc.assert(
      fc.property(
        value,
        fc.constantFrom(...DIMENSION_NAMES),
        fc.boolean(),
        ([mantissa, power, sign], dimension, unicode) => {
          const number = sign * mantissa * 10 ** power;
          const meant = dimension === 'count' ? Math.round(number) : number;
          const text = formatQuantity(meant, dimension, { unicode });
          const parsed = parseQuantity(text, dimension);
          if ('mistake' in parsed) throw new Error(`${text}: ${JSON.stringify(parsed.mistake)}`);
          // Half a unit in the fourth significant digit is at most 0.05 %.
          expect(Math.abs(parsed.quantity.value - meant)).toBeLessThanOrEqual(5.001e-4 * Math.abs(meant));
        },
      ),
      { seed: SEED, numRuns: 3000 },
    );
  });

  test('law: printing what was read from a print changes nothing', () => {
    fc.assert(
      fc.property(value, fc.constantFrom(...DIMENSION_NAMES), ([mantissa, power], dimension) => {
        const text = formatQuantity(Math.round(mantissa) * 10 ** Math.max(power, 0), dimension);
        const parsed = parseQuantity(text, dimension);
        expect('quantity' in parsed && formatQuantity(parsed.quantity.value, dimension)).toBe(text);
      }),
      { seed: SEED, numRuns: 1000 },
    );
  });
});

describe('units: machine formats', () => {
  test('times are in microseconds, the rest in base units, plain numbers in the unit 1', () => {
    expect(unitFor('time')).toEqual({ unit: 'us', scale: 1e6 });
    expect(unitFor('voltage')).toEqual({ unit: 'V', scale: 1 });
    expect(unitFor('ratio')).toEqual({ unit: '1', scale: 1 });
  });

  test('law: one machine unit read as text is 1 / scale base units', () => {
    for (const dimension of DIMENSION_NAMES) {
      const { unit, scale } = unitFor(dimension);
      const parsed = parseQuantity(unit === '1' ? '1' : `1 ${unit}`, dimension);
      expect('quantity' in parsed && parsed.quantity.value).toBe(1 / scale);
    }
  });
});
