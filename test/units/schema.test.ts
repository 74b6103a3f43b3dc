import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { z } from 'zod';
import {
  count,
  formatQuantity,
  hertz,
  nominal,
  parseQuantity,
  quantity,
  quantityMistakeOf,
  quantityMistakeWords,
  range,
  ratio,
  seconds,
  volts,
  window,
} from '../../sim/units/index.ts';
import { DIMENSION_NAMES } from '../../sim/units/unit-table.ts';
import { SEED } from './arbitrary.ts';

const pulse = seconds({ above: 0, max: '20 ms', means: 'pulse for full drive', example: '2000 us' });

function issuesOf(schema: z.ZodType, input: unknown): { path: PropertyKey[]; says: string | undefined }[] {
  const result = schema.safeParse(input);
  return (result.error?.issues ?? []).map((issue) => {
    const mistake = quantityMistakeOf(issue);
    return { path: issue.path, says: mistake === undefined ? undefined : quantityMistakeWords(mistake).says };
  });
}

describe('units: schema of one quantity', () => {
  test('text in, quantity out', () => {
    expect(pulse.parse('2000 us ± 10 us')).toEqual({
      value: 0.002,
      tolerance: 1e-5,
      dimension: 'time',
      text: '2000 us ± 10 us',
      exact: { count: 1, per: 500 },
    });
  });

  test.each<[unknown, string]>([
    ['0 us', '`0 us` must be above 0 s'],
    ['30 ms', '`30 ms` must be at most 20 ms'],
    ['20 ms ± 1 us', '`20 ms ± 1 us` must be at most 20 ms over its whole tolerance'],
    ['5 us ± 5 us', '`5 us ± 5 us` must be above 0 s over its whole tolerance'],
    ['2000 V', '`2000 V` is a voltage; a time is wanted'],
    [2000, '`2000` has no unit; a time needs one'],
    [true, 'a time is wanted, not `true`'],
    [null, 'a time is wanted, not nothing'],
    [['1 us'], 'a time is wanted, not a list'],
    [{ value: 1 }, 'a time is wanted, not a map'],
  ])('%j: %s', (input, says) => {
    expect(issuesOf(pulse, input)).toEqual([{ path: [], says }]);
  });

  test('limits themselves are allowed for min and max, not for above and below', () => {
    const share = ratio({ above: 0, below: 1, means: 'share', example: '50 %' });
    expect(issuesOf(share, '100 %')).toEqual([{ path: [], says: '`100 %` must be below 100 %' }]);
    expect(issuesOf(share, 0)).toHaveLength(1);
    expect(issuesOf(ratio({ min: 0, max: 1, means: 'share', example: '50 %' }), 1)).toEqual([]);
    expect(issuesOf(count({ min: 1, max: 9, means: 'cells', example: 8 }), 9)).toEqual([]);
  });

  test('a limit that cannot be read is a fault of the part, at once', () => {
    expect(() => hertz({ min: '5 V', means: 'clock', example: '8 MHz' })).toThrow('is a voltage');
  });

  test('a missing key is an invalid type of undefined, as for any other schema, and `prefault` fills it in', () => {
    const shape = z.strictObject({
      full: pulse,
      rest: volts({ means: 'rest', example: '1 V' }).prefault('0.9 V ± 10 mV'),
    });
    expect(shape.safeParse({}).error?.issues).toMatchObject([{ code: 'invalid_type', path: ['full'] }]);
    expect(nominal(shape.parse({ full: '2 ms' }))).toEqual({ full: 0.002, rest: 0.9 });
  });

  test('all mistakes of a map are reported, each at its key', () => {
    const shape = z.strictObject({
      full: pulse,
      rest: volts({ means: 'rest', example: '1 V' }),
      cells: count({ means: 'cells', example: 12 }),
    });
    expect(issuesOf(shape, { full: '1 V', rest: '1 s', cells: 1.5 }).map((issue) => issue.path)).toEqual([
      ['full'],
      ['rest'],
      ['cells'],
    ]);
  });
});

describe('units: range and window', () => {
  const valid = range(seconds({ above: 0, means: 'width', example: '700 us' }));

  test('a range goes from low to high, without its tolerances touching', () => {
    expect(nominal(valid.parse(['700 us', '2.4 ms']))).toEqual([0.0007, 0.0024]);
    expect(issuesOf(valid, ['2 ms', '1 ms'])).toEqual([
      { path: [], says: '[2 ms, 1 ms] does not go from low to high' },
    ]);
    expect(issuesOf(valid, ['1 ms', '1 ms'])).toHaveLength(1);
    expect(issuesOf(valid, ['1 ms ± 0.6 ms', '2 ms ± 0.5 ms'])).toHaveLength(1);
    expect(issuesOf(valid, ['1 V', 'x']).map((issue) => issue.path)).toEqual([[0], [1]]);
    expect(valid.safeParse(['1 ms']).success || valid.safeParse('1 ms').success).toBe(false);
  });

  test('a window is symmetric or has two sides, both given as distances', () => {
    const arming = window('time');
    expect(nominal(arming.parse('± 20 us'))).toEqual({ below: 2e-5, above: 2e-5 });
    expect(nominal(arming.parse('+/-20us'))).toEqual({ below: 2e-5, above: 2e-5 });
    expect(nominal(arming.parse(['-20 us', '30 us']))).toEqual({ below: 2e-5, above: 3e-5 });
    expect(nominal(arming.parse(['0 us', '30 us']))).toEqual({ below: 0, above: 3e-5 });
    expect(nominal(window('ratio').parse([-0.1, '20 %']))).toEqual({ below: 0.1, above: 0.2 });
    expect(arming.parse(['-20 us', '30 us']).below.exact).toEqual({ count: 1, per: 50000 });
  });

  test.each<[unknown, PropertyKey[], string]>([
    ['20 us', [], '`20 us` is not a window; it is written as ± and a time, or as a list of two, low and high'],
    [['1 us'], [], '`a list` is not a window; it is written as ± and a time, or as a list of two, low and high'],
    ['± 20 mV', [], '`± 20 mV` is a voltage; a time is wanted'],
    ['± -20 us', [], '`± -20 us`: a tolerance is a half-width and cannot be negative'],
    [['5 us', '10 us'], [0], '`5 us` as the low side of a window lies above 0'],
    [['-10 us', '-5 us'], [1], '`-5 us` as the high side of a window lies below 0'],
    [['-10 us', true], [1], 'a time is wanted, not `true`'],
  ])('window %j', (input, path, says) => {
    expect(issuesOf(window('time'), input)).toEqual([{ path, says }]);
  });
});

describe('units: printed JSON Schema', () => {
  const json = (schema: z.ZodType): Record<string, unknown> => z.toJSONSchema(schema, { io: 'input' });

  test('it has type, description with limits, example and a pattern', () => {
    expect(json(pulse)).toMatchObject({
      type: 'string',
      description: 'pulse for full drive; above 0 s; at most 20 ms',
      examples: ['2000 us'],
    });
    expect(json(count({ min: 1, means: 'cells', example: 12 }))).toMatchObject({
      type: ['string', 'integer'],
      minimum: 1,
    });
    expect(json(z.strictObject({ full: pulse, dead: pulse.prefault('20 us') }))).toMatchObject({ required: ['full'] });
    expect(json(range(pulse))).toMatchObject({ type: 'array', minItems: 2, maxItems: 2 });
    expect(json(window('time'))).toMatchObject({ anyOf: [{ type: 'string' }, { type: 'array' }] });
  });

  test('law: the pattern refuses nothing that is read, and refuses a bare number where a unit is needed', () => {
    const patterns = new Map(
      DIMENSION_NAMES.map((name) => [name, new RegExp(json(quantity(name)).pattern as string, 'u')]),
    );
    const number = fc.double({ min: -1e6, max: 1e6, noNaN: true });
    fc.assert(
      fc.property(fc.constantFrom(...DIMENSION_NAMES), number, fc.boolean(), (dimension, value, unicode) => {
        const text = formatQuantity(dimension === 'count' ? Math.round(value) : value, dimension, { unicode });
        expect(parseQuantity(text, dimension)).toHaveProperty('quantity');
        expect(text).toMatch(patterns.get(dimension)!);
        if (dimension !== 'ratio' && dimension !== 'count') expect(String(value)).not.toMatch(patterns.get(dimension)!);
      }),
      { seed: SEED, numRuns: 1000 },
    );
    expect('12 AWG').toMatch(patterns.get('area')!);
    expect(' \u22125.0 V +/- 2 %').toMatch(patterns.get('voltage')!);
  });
});
