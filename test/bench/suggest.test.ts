/** Guessing the word that was meant. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { suggest, suggestNumber } from '../../sim/bench/suggest.ts';

const keys = [
  'neutral',
  'full',
  'reverse',
  'valid',
  'period',
  'resistance',
  'signal-loss',
  'hold',
  'mode',
  'adc',
  'on',
];

describe('suggest: slips of the finger', () => {
  test.each([
    ['nuetral', 'neutral'],
    ['neutrall', 'neutral'],
    ['neutal', 'neutral'],
    ['nuetarl', 'neutral'],
    ['ful', 'full'],
    ['flul', 'full'],
    ['Full', 'full'],
    ['VALID', 'valid'],
    ['signal_loss', 'signal-loss'],
    ['signal loss', 'signal-loss'],
    ['signalloss', 'signal-loss'],
    ['perod', 'period'],
    ['resistence', 'resistance'],
    ['resist', 'resistance'],
    ['acd', 'adc'],
    ['no', 'on'],
    ['holds', 'hold'],
  ])('%s: %s', (word, meant) => expect(suggest(word, keys)).toBe(meant));

  test.each(['throttle', 'x', '', ' ', 'ab', 'capacity', 're', 'n'.repeat(100_000)])(
    'nothing is near %.20s',
    (word) => {
      expect(suggest(word, keys)).toBeUndefined();
    },
  );

  test('law: a word with one slip is put right, whatever the slip, unless another is as near', () => {
    const slip = fc.oneof(
      fc.record({ kind: fc.constant('swap' as const), at: fc.nat(5) }),
      fc.record({ kind: fc.constant('drop' as const), at: fc.nat(5) }),
      fc.record({ kind: fc.constant('add' as const), at: fc.nat(5) }),
    );
    const far = ['neutral', 'resistance', 'capacity', 'wheelbase'];
    const law = fc.property(fc.constantFrom(...far), slip, (word, { kind, at }) => {
      const letters = [...word];
      if (kind === 'swap') letters.splice(at, 2, letters[at + 1]!, letters[at]!);
      else letters.splice(at, kind === 'drop' ? 1 : 0, ...(kind === 'add' ? ['q'] : []));
      expect(suggest(letters.join(''), far)).toBe(word);
    });
    fc.assert(law, { seed: 20261125, numRuns: 500 });
  });

  test('law: any text gives an allowed word or nothing', () => {
    const law = fc.property(fc.string({ unit: 'binary', maxLength: 200 }), (word) =>
      [undefined, ...keys].includes(suggest(word, keys)),
    );
    fc.assert(law, { seed: 20261125, numRuns: 2000 });
  });
});

describe('suggest: of two as near', () => {
  test('the one with the same first letter, else the one listed first', () => {
    expect(suggest('hold', ['cold', 'hole'])).toBe('hole');
    expect(suggest('hold', ['hole', 'holt'])).toBe('hole');
  });
});

describe('suggest: numbers', () => {
  test.each([
    [200, 256],
    [0, 1],
    [36, 8],
    [1e9, 1024],
    [-5, 1],
  ])('%d: %d', (value, nearest) => expect(suggestNumber(value, [1, 8, 64, 256, 1024])).toBe(nearest));
  test('none among none, and none for what is no number', () => {
    expect(suggestNumber(3, [])).toBeUndefined();
    expect(suggestNumber(Number.NaN, [1])).toBeUndefined();
  });
});
