/** What may stand in a file where a quantity is wanted: zod schemas from text to `Quantity`. */
import { z } from 'zod';
import { formatQuantity } from './format.ts';
import { type QuantityMistake, quantityMistakeWords } from './mistake.ts';
import { parseQuantity, type Quantity } from './parse.ts';
import { DIMENSIONS, type Dimension } from './unit-table.ts';

/** Text or number in, quantity out. A value for a missing key goes through `.prefault('5 V')`, which is read like any other. */
export type QuantitySchema = z.ZodType<Quantity, string | number>;

export interface Limits {
  /** Least and greatest allowed, as a quantity or as a number in the base unit. The whole tolerance must lie inside. */
  readonly min?: string | number;
  readonly max?: string | number;
  /** Bounds that are themselves not allowed. */
  readonly above?: string | number;
  readonly below?: string | number;
}

export interface Described {
  /** What the value means: the description in the JSON Schema and in an editor's hover. */
  readonly means: string;
  readonly example: string | number;
}

/** A quantity of `dimension`, within limits. */
export function quantity(dimension: Dimension, options: Limits & Partial<Described> = {}): QuantitySchema {
  const bounds = boundsOf(dimension, options);
  return fromText(jsonSchemaOf(dimension, options, bounds), (input, context) => {
    if (typeof input !== 'string' && typeof input !== 'number') {
      const nearest = options.example === undefined ? {} : { nearest: String(options.example) };
      return report(context, input, { code: 'wrong-type', text: '', dimension, received: kindOf(input), ...nearest });
    }
    const parsed = parseQuantity(input, dimension);
    const mistake = 'mistake' in parsed ? parsed.mistake : outsideOf(bounds, parsed.quantity);
    return mistake === undefined ? (parsed as { quantity: Quantity }).quantity : report(context, input, mistake);
  });
}

type Maker = (options: Limits & Described) => QuantitySchema;
const maker =
  (dimension: Dimension): Maker =>
  (options) =>
    quantity(dimension, options);

export const volts = maker('voltage');
export const amperes = maker('current');
export const ohms = maker('resistance');
export const farads = maker('capacitance');
export const henries = maker('inductance');
export const seconds = maker('time');
export const hertz = maker('frequency');
export const metres = maker('length');
export const squareMetres = maker('area');
export const kilograms = maker('mass');
export const degreesCelsius = maker('temperature');
export const kelvins = maker('temperature-difference');
/** Written in Ah; the value is in coulombs. */
export const ampereHours = maker('charge');
export const watts = maker('power');
export const joules = maker('energy');
export const metresPerSecond = maker('speed');
export const metresPerSecondSquared = maker('acceleration');
export const radians = maker('angle');
export const radiansPerSecond = maker('angular-speed');
export const voltSecondsPerRadian = maker('motor-constant');
export const kilogramSquareMetres = maker('inertia');
export const newtonMetreSecondsPerRadian = maker('viscous-friction');
export const newtonMetres = maker('torque');
export const newtons = maker('force');
export const kelvinPerWatt = maker('thermal-resistance');
export const joulesPerKelvin = maker('heat-capacity');
export const ampereSquaredSeconds = maker('i2t');
export const perSecond = maker('slew');
export const baud = maker('baud');
export const bytes = maker('data');
export const ratio = maker('ratio');
export const count = maker('count');

/** The mistake that an issue of one of these schemas carries, or undefined for an issue from elsewhere. */
export function quantityMistakeOf(issue: {
  readonly code?: string | undefined;
  readonly params?: unknown;
}): QuantityMistake | undefined {
  const params = issue.params;
  const ours =
    issue.code === 'custom' &&
    typeof params === 'object' &&
    params !== null &&
    'code' in params &&
    'dimension' in params &&
    'text' in params;
  return ours ? (params as QuantityMistake) : undefined;
}

/** What is told of a value that is missing. */
function meaningOf({ description, examples }: Readonly<Record<string, unknown>>): string {
  const example = Array.isArray(examples) ? `, such as \`${examples[0]}\`` : '';
  return `${description}${example}`;
}

/** A schema with a hand-written JSON Schema. Built on `unknown`, so that each wrong type too gets our own message. */
export function fromText<Out, In>(
  json: Readonly<Record<string, unknown>>,
  read: (input: unknown, context: z.RefinementCtx) => Out,
): z.ZodType<Out, In> {
  const schema = z
    .unknown()
    .meta(json)
    .transform((input, context): Out => {
      if (input !== undefined) return read(input, context);
      // A missing key, told apart so that the file checker can point at its parent.
      context.issues.push({ code: 'invalid_type', expected: 'string', input, means: meaningOf(json) } as never);
      return z.NEVER;
    });
  return schema as unknown as z.ZodType<Out, In>;
}

export function report(
  context: z.RefinementCtx,
  input: unknown,
  mistake: QuantityMistake,
  path: readonly number[] = [],
): never {
  context.addIssue({
    code: 'custom',
    message: quantityMistakeWords(mistake).says,
    params: { ...mistake },
    input,
    path: [...path],
  });
  return z.NEVER;
}

interface Bound {
  readonly value: number;
  readonly allowed: boolean;
  readonly text: string;
}

interface Bounds {
  readonly low?: Bound;
  readonly high?: Bound;
}

function boundsOf(dimension: Dimension, { min, max, above, below }: Limits): Bounds {
  const low = bound(dimension, min, true) ?? bound(dimension, above, false);
  const high = bound(dimension, max, true) ?? bound(dimension, below, false);
  return { ...(low === undefined ? {} : { low }), ...(high === undefined ? {} : { high }) };
}

function bound(dimension: Dimension, limit: string | number | undefined, allowed: boolean): Bound | undefined {
  if (limit === undefined) return undefined;
  if (typeof limit === 'number')
    return { value: limit, allowed, text: formatQuantity(limit, dimension, { digits: 12 }) };
  const parsed = parseQuantity(limit, dimension);
  // A limit is written by a part's author, not by a user: a slip in it is a fault of the tool.
  if ('mistake' in parsed) throw new Error(`limit ${limit}: ${quantityMistakeWords(parsed.mistake).says}`);
  return { value: parsed.quantity.value, allowed, text: limit };
}

function outsideOf(
  { low, high }: Bounds,
  { value, tolerance, text, dimension }: Quantity,
): QuantityMistake | undefined {
  const under = (least: number): boolean => low !== undefined && (low.allowed ? least < low.value : least <= low.value);
  const over = (most: number): boolean => high !== undefined && (high.allowed ? most > high.value : most >= high.value);
  if (low !== undefined && under(value - tolerance)) {
    return { code: 'too-low', text, dimension, limit: low.text, allowsLimit: low.allowed, byTolerance: !under(value) };
  }
  if (high !== undefined && over(value + tolerance)) {
    return {
      code: 'too-high',
      text,
      dimension,
      limit: high.text,
      allowsLimit: high.allowed,
      byTolerance: !over(value),
    };
  }
  return undefined;
}

const NUMBER_PATTERN = '^\\s*[+\\-\u2212]?(\\d+\\.?\\d*|\\.\\d+)([eE][+\\-\u2212]?\\d+)?';

/** Loose on purpose: what it refuses is surely wrong, the rest is for `parseQuantity`. */
export function jsonSchemaOf(
  dimension: Dimension,
  { means, example }: Partial<Described>,
  { low, high }: Bounds,
): Record<string, unknown> {
  const plain = DIMENSIONS[dimension].units.some((one) => one.symbol === '');
  const rules = [
    low && `${low.allowed ? 'at least' : 'above'} ${low.text}`,
    high && `${high.allowed ? 'at most' : 'below'} ${high.text}`,
  ].filter(Boolean);
  const description = [means ?? DIMENSIONS[dimension].called, ...rules].join('; ');
  return {
    type: plain ? ['string', dimension === 'count' ? 'integer' : 'number'] : 'string',
    pattern: plain ? NUMBER_PATTERN : `${NUMBER_PATTERN}.*[^\\s\\d.+\\-eE]`,
    description,
    ...(example === undefined ? {} : { examples: [example] }),
    ...(plain && low !== undefined ? { [low.allowed ? 'minimum' : 'exclusiveMinimum']: low.value } : {}),
    ...(plain && high !== undefined ? { [high.allowed ? 'maximum' : 'exclusiveMaximum']: high.value } : {}),
  };
}

export function kindOf(input: unknown): string {
  if (input === null) return 'nothing';
  if (Array.isArray(input)) return 'a list';
  if (typeof input === 'object') return 'a map';
  return typeof input === 'boolean' ? `\`${input}\`` : `a ${typeof input}`;
}
