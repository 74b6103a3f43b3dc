/** What may stand in a file where two quantities belong together: a range, or a window about something. */
import { z } from 'zod';
import { likelyText } from './nearest.ts';
import { type Parsed, parseQuantity, type Quantity } from './parse.ts';
import { type Described, fromText, jsonSchemaOf, kindOf, type QuantitySchema, report } from './schema.ts';
import type { Dimension } from './unit-table.ts';

/** `[700 us, 2400 us]`: two of the same, the low one first, their tolerances not touching. */
export function range(of: QuantitySchema): z.ZodType<[Quantity, Quantity], [string | number, string | number]> {
  return z.tuple([of, of]).superRefine(([low, high], context) => {
    if (low.value + low.tolerance < high.value - high.tolerance) return;
    report(context, [low.text, high.text], {
      code: 'range-order',
      text: low.text,
      high: high.text,
      dimension: low.dimension,
    });
  });
}

/** How far below and above something a value may lie, both as distances of 0 or more. */
export interface Window {
  readonly below: Quantity;
  readonly above: Quantity;
}

/** `± 20 us`, or `[-20 us, 30 us]` for one that is not symmetric. */
export function window(
  dimension: Dimension,
  options: Partial<Described> = {},
): z.ZodType<Window, string | readonly [string | number, string | number]> {
  const example = options.example ?? `± ${likelyText('300', dimension, undefined)}`.trimEnd();
  const side = jsonSchemaOf(dimension, {}, {});
  const json = {
    anyOf: [
      { type: 'string', pattern: '^\\s*(\u00b1|\\+/-)' },
      { type: 'array', prefixItems: [side, side], items: false, minItems: 2, maxItems: 2 },
    ],
    description: options.means ?? 'how far below and above a value may lie',
    examples: [example],
  };
  return fromText(json, (input, context): Window => {
    if (Array.isArray(input) && input.length === 2) return windowOfList(input, dimension, context);
    const text = typeof input === 'string' ? input.trim() : '';
    const half = /^(?:\u00b1|\+\/-)(.*)$/s.exec(text)?.[1];
    if (half === undefined) {
      const found = typeof input === 'string' ? text : kindOf(input);
      return report(context, input, { code: 'window-form', text: found, dimension });
    }
    const parsed = parseQuantity(half, dimension);
    if ('mistake' in parsed) return report(context, input, { ...parsed.mistake, text });
    if (parsed.quantity.value < 0) {
      return report(context, input, { code: 'bad-tolerance', why: 'negative', text, dimension });
    }
    return { below: parsed.quantity, above: parsed.quantity };
  });
}

function windowOfList(sides: readonly unknown[], dimension: Dimension, context: z.RefinementCtx): Window {
  const low = sideOf(sides[0], 0, dimension, context);
  const high = sideOf(sides[1], 1, dimension, context);
  if (low !== undefined && low.value > 0) {
    return report(context, low.text, { code: 'window-side', side: 'low', text: low.text, dimension }, [0]);
  }
  if (high !== undefined && high.value < 0) {
    return report(context, high.text, { code: 'window-side', side: 'high', text: high.text, dimension }, [1]);
  }
  return low === undefined || high === undefined ? z.NEVER : { below: negated(low), above: high };
}

function sideOf(text: unknown, index: number, dimension: Dimension, context: z.RefinementCtx): Quantity | undefined {
  const parsed: Parsed =
    typeof text === 'string' || typeof text === 'number'
      ? parseQuantity(text, dimension)
      : { mistake: { code: 'wrong-type', text: '', dimension, received: kindOf(text) } };
  if ('quantity' in parsed) return parsed.quantity;
  report(context, text, parsed.mistake, [index]);
  return undefined;
}

function negated(of: Quantity): Quantity {
  const value = 0 - of.value;
  return of.exact === undefined
    ? { ...of, value }
    : { ...of, value, exact: { count: 0 - of.exact.count, per: of.exact.per } };
}
