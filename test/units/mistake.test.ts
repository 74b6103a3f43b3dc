import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Dimension, parseQuantity, type QuantityMistake, quantityMistakeWords } from '../../sim/units/index.ts';
import { ALL_UNITS, anyDimension, SEED } from './arbitrary.ts';

function mistakeIn(text: string | number, dimension: Dimension): QuantityMistake {
  const parsed = parseQuantity(text, dimension);
  if ('quantity' in parsed) throw new Error(`${text} was read as ${parsed.quantity.value}`);
  return parsed.mistake;
}

describe('units: mistakes', () => {
  test.each<[string | number, Dimension, QuantityMistake['code'], string | undefined]>([
    // Text, what is wanted, code, nearest.
    ['', 'time', 'no-number', undefined],
    ['fast', 'time', 'no-number', undefined],
    ['V', 'voltage', 'no-number', undefined],
    ['--5 V', 'voltage', 'no-number', undefined],
    ['1,5 V', 'voltage', 'bad-number', '1.5 V'],
    ['1,5 V ± 2 %', 'voltage', 'bad-number', '1.5 V ± 2 %'],
    ['1 500 us', 'time', 'bad-number', '1500 us'],
    ["1'500 us", 'time', 'bad-number', '1500 us'],
    ['1,500,000 Hz', 'frequency', 'bad-number', undefined],
    ['1.2.3 V', 'voltage', 'bad-number', undefined],
    ['0x10 V', 'voltage', 'bad-number', undefined],
    ['0x10', 'count', 'bad-number', undefined],
    [Number.NaN, 'ratio', 'not-finite', undefined],
    ['.nan', 'ratio', 'not-finite', undefined],
    [Number.POSITIVE_INFINITY, 'count', 'not-finite', undefined],
    ['-.inf V', 'voltage', 'not-finite', undefined],
    ['5 V ± inf', 'voltage', 'not-finite', undefined],
    ['1e999 s', 'time', 'too-large', undefined],
    ['2e9 MHz', 'frequency', 'too-large', undefined],
    ['5 V ± 1e300 V', 'voltage', 'too-large', undefined],
    ['1.5', 'count', 'not-whole', undefined],
    ['3 ± 0.5', 'count', 'not-whole', undefined],
    ['41 AWG', 'area', 'no-such-gauge', undefined],
    ['12.5 AWG', 'area', 'no-such-gauge', undefined],
    ['1500', 'time', 'no-unit', '1500 us'],
    [20, 'time', 'no-unit', '20 ms'],
    ['2', 'time', 'no-unit', '2 s'],
    ['5', 'voltage', 'no-unit', '5 V'],
    ['5 ± 0.1 V', 'voltage', 'no-unit', '5 V ± 0.1 V'],
    ['18', 'charge', 'no-unit', '18 Ah'],
    ['4', 'area', 'no-unit', '4 mm2'],
    ['8 mhz', 'frequency', 'unknown-unit', '8 MHz'],
    ['8 Mhz ± 1 %', 'frequency', 'unknown-unit', '8 MHz ± 1 %'],
    ['20 MS', 'time', 'unknown-unit', '20 ms'],
    ['20 Ms', 'time', 'unknown-unit', '20 ms'],
    ['20 msec', 'time', 'unknown-unit', '20 ms'],
    ['3 seconds', 'time', 'unknown-unit', '3 s'],
    ['5 v', 'voltage', 'unknown-unit', '5 V'],
    ['5 volts', 'voltage', 'unknown-unit', '5 V'],
    ['10 Kohm', 'resistance', 'unknown-unit', '10 kohm'],
    ['10 mOhm', 'resistance', 'unknown-unit', '10 mohm'],
    ['10 kohms', 'resistance', 'unknown-unit', '10 kohm'],
    ['12 kph', 'speed', 'unknown-unit', '12 km/h'],
    ['0.06 V.s/rd', 'motor-constant', 'unknown-unit', '0.06 V.s/rad'],
    ['5 xyzzy', 'voltage', 'unknown-unit', undefined],
    ['5 __proto__', 'voltage', 'unknown-unit', undefined],
    ['5 constructor', 'time', 'unknown-unit', undefined],
    ['1500 V', 'time', 'wrong-dimension', undefined],
    ['5 mA', 'voltage', 'wrong-dimension', undefined],
    ['20 C', 'temperature', 'wrong-dimension', '20 degC'],
    ['4 mm', 'area', 'wrong-dimension', '4 mm2'],
    ['5 V', 'count', 'wrong-dimension', undefined],
    ['50 Hz', 'time', 'wrong-dimension', undefined],
    ['5 V ±', 'voltage', 'bad-tolerance', undefined],
    ['± 5 V', 'voltage', 'bad-tolerance', undefined],
    ['5 V ± 1 V ± 2 V', 'voltage', 'bad-tolerance', undefined],
    ['5 V ± -1 V', 'voltage', 'bad-tolerance', undefined],
    ['5 V ± some', 'voltage', 'bad-tolerance', undefined],
    ['5 V ± 0.1', 'voltage', 'bad-tolerance', '5 V ± 0.1 V'],
    ['5 V ± 20 ms', 'voltage', 'tolerance-dimension', undefined],
    ['5 V ± 20 mv', 'voltage', 'tolerance-dimension', '± 20 mV'],
    ['20 degC ± 5 %', 'temperature', 'tolerance-dimension', undefined],
    ['12 AWG ± 1 AWG', 'area', 'tolerance-dimension', undefined],
  ])('%j as %s is %s', (text, dimension, code, nearest) => {
    const mistake = mistakeIn(text, dimension);
    expect(mistake.code).toBe(code);
    expect(quantityMistakeWords(mistake).nearest).toBe(nearest);
  });

  test('the words name what it is, what is wanted and what is allowed', () => {
    expect(quantityMistakeWords(mistakeIn('1500 V', 'time'))).toEqual({
      says: '`1500 V` is a voltage; a time is wanted',
      allowed: 'ns, us, ms, s, min, h',
    });
    expect(quantityMistakeWords(mistakeIn('1500', 'time')).says).toBe('`1500` has no unit; a time needs one');
    expect(quantityMistakeWords(mistakeIn('8 mhz', 'frequency'))).toEqual({
      says: '`mhz` is not a unit that is known here; a frequency is wanted',
      allowed: 'Hz, kHz, MHz, GHz',
      nearest: '8 MHz',
    });
  });

  test('what a message shows of the text is cut, and cannot steer a terminal or turn the writing direction', () => {
    expect(quantityMistakeWords(mistakeIn(`5 ${'x'.repeat(150)}`, 'voltage')).says.length).toBeLessThan(120);
    const steering = [
      '\u0000',
      '\u001b',
      '\u007f',
      '\u009b',
      '\u200f',
      '\u202e',
      '\u2028',
      '\u2066',
      '\u2069',
      '\ufeff',
    ];
    expect(quantityMistakeWords(mistakeIn(`5 V${steering.join('V')}V`, 'voltage')).says).toContain(
      '`V?V?V?V?V?V?V?V?V?V?V`',
    );
  });

  test('law: a unit in the wrong case is told its right spelling, unless it is another unit', () => {
    const letters = ALL_UNITS.filter((one) => one.unit.alias !== true && one.symbol !== '');
    fc.assert(
      fc.property(fc.constantFrom(...letters), fc.nat(1), ({ dimension, symbol }, upper) => {
        const slipped = upper === 1 ? symbol.toUpperCase() : symbol.toLowerCase();
        const parsed = parseQuantity(`5 ${slipped}`, dimension);
        if ('quantity' in parsed) return;
        const nearest = quantityMistakeWords(parsed.mistake).nearest;
        expect(nearest?.toLowerCase()).toBe(`5 ${symbol}`.toLowerCase());
        expect(parseQuantity(nearest ?? '', dimension)).toHaveProperty('quantity');
      }),
      { seed: SEED, numRuns: 500 },
    );
  });

  test('law: a number without its unit gets a nearest that can be read', () => {
    fc.assert(
      fc.property(anyDimension, fc.nat(100_000), ({ dimension }, number) => {
        const parsed = parseQuantity(`${number}`, dimension);
        if ('quantity' in parsed) expect(['ratio', 'count']).toContain(dimension);
        else
          expect(parseQuantity(quantityMistakeWords(parsed.mistake).nearest ?? '', dimension)).toHaveProperty(
            'quantity',
          );
      }),
      { seed: SEED, numRuns: 500 },
    );
  });

  test('law: words are short and hold no control characters', () => {
    const text = fc.oneof(
      fc.string({ unit: 'binary', maxLength: 300 }),
      fc.string({ maxLength: 190 }).map((tail) => `5 ${tail}`),
    );
    fc.assert(
      fc.property(text, anyDimension, (written, { dimension }) => {
        const parsed = parseQuantity(written, dimension);
        if ('quantity' in parsed) return;
        const { says, nearest = '' } = quantityMistakeWords(parsed.mistake);
        expect(says.length).toBeGreaterThan(10);
        expect(says.length).toBeLessThan(320);
        expect(`${says}${nearest}`).not.toMatch(/\p{Cc}|\p{Bidi_Control}/u);
      }),
      { seed: SEED, numRuns: 3000 },
    );
  });
});
