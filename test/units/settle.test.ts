import { describe, expect, expectTypeOf, test } from 'vitest';
import { z } from 'zod';
import {
  count,
  listTolerances,
  nominal,
  range,
  type Settled,
  seconds,
  settle,
  volts,
  window,
} from '../../sim/units/index.ts';

const shape = z.strictObject({
  kind: z.literal('hall'),
  rest: volts({ means: 'rest', example: '1 V' }),
  pulse: z.strictObject({ valid: range(seconds({ means: 'width', example: '1 ms' })), dead: window('time') }),
  cells: count({ means: 'cells', example: 12 }).optional(),
  latched: z.boolean(),
});
const tree = shape.parse({
  kind: 'hall',
  rest: '0.91 V ± 40 mV',
  pulse: { valid: ['700 us', '2400 us ± 1 %'], dead: '± 20 us' },
  latched: true,
});

describe('units: settling', () => {
  test('each quantity becomes a number, all else stays', () => {
    const numbers = nominal(tree);
    expect(numbers).toEqual({
      kind: 'hall',
      rest: 0.91,
      pulse: { valid: [0.0007, 0.0024], dead: { below: 2e-5, above: 2e-5 } },
      latched: true,
    });
    expectTypeOf(numbers.rest).toEqualTypeOf<number>();
    expectTypeOf(numbers.pulse.valid).toEqualTypeOf<[number, number]>();
    expectTypeOf(numbers.kind).toEqualTypeOf<'hall'>();
    expectTypeOf<Settled<z.output<typeof shape>>['cells']>().toEqualTypeOf<number | undefined>();
  });

  test('the pick is told each path, in the order of the tree, and the tree is left alone', () => {
    const paths: string[] = [];
    const upper = settle(tree, (path, quantity) => {
      paths.push(path);
      return quantity.value + quantity.tolerance;
    });
    expect(paths).toEqual(['rest', 'pulse.valid.0', 'pulse.valid.1', 'pulse.dead.below', 'pulse.dead.above']);
    expect(upper.rest).toBeCloseTo(0.95, 12);
    expect(tree.rest.value).toBe(0.91);
  });

  test('only quantities with a tolerance are listed', () => {
    expect(listTolerances(tree).map(({ path, quantity }) => [path, quantity.text])).toEqual([
      ['rest', '0.91 V ± 40 mV'],
      ['pulse.valid.1', '2400 us ± 1 %'],
    ]);
  });

  test('a key named __proto__ is a key like any other', () => {
    const numbers = nominal(JSON.parse('{ "__proto__": { "a": 1 } }') as object);
    expect(Object.keys(numbers)).toEqual(['__proto__']);
    expect(Object.getPrototypeOf(numbers)).toBe(Object.prototype);
  });
});
