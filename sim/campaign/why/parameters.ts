/**
 * What can be changed on a bench, one thing at a time: every quantity and every choice in the parts' parameters, read
 * off the parts' own schemas, with the values that a bench file would accept.
 *
 * Values that are one in the file are one here: the two sides of a window written `± 20 us`, and a value that all
 * members of a family share, such as two controllers of which the second is `like` the first.
 */
import type { z } from 'zod';
import type { DescribedPart } from '../../bench/schema.ts';
import { type Dimension, formatQuantity, isQuantity, type Quantity } from '../../units/index.ts';

export type Choice = string | number | boolean;

/** A place in the parameters of one part. */
interface Place {
  readonly part: number;
  readonly keys: readonly string[];
}

interface Changeable {
  /** As in the bench file, dotted; `*` stands for all members of a family. */
  readonly path: string;
  readonly places: readonly Place[];
  /** Parts that change together, where there are several. */
  readonly members: readonly string[];
}

/** A number with a unit, or a count. */
export interface QuantityParameter extends Changeable {
  readonly kind: 'quantity';
  readonly dimension: Dimension;
  readonly value: number;
  readonly isInteger: boolean;
  /** Both sides of a window written as one. */
  readonly isSymmetric: boolean;
  /** Whether the bench file's schema takes this value here. */
  readonly takes: (value: number) => boolean;
}

/** One of a few values: a prescaler, a mode, a yes or no. */
export interface ChoiceParameter extends Changeable {
  readonly kind: 'choice';
  readonly value: Choice;
  readonly choices: readonly Choice[];
}

export type Parameter = QuantityParameter | ChoiceParameter;

/** Everything that can be changed on these parts, in the order of the file. */
export function parametersOf(parts: readonly DescribedPart[]): Parameter[] {
  const leaves = parts.flatMap((part, index) => leavesOf(part, index));
  return familiesJoined(windowsJoined(leaves), parts);
}

/** The parts with this parameter at another value. Everything else is shared. */
export function withValue(parts: readonly DescribedPart[], parameter: Parameter, value: Choice): DescribedPart[] {
  const changed = [...parts];
  for (const { part, keys } of parameter.places) {
    const { parameters, ...rest } = changed[part]!;
    changed[part] = { ...rest, parameters: replaced(parameters, keys, value) };
  }
  return changed;
}

function replaced(node: unknown, keys: readonly string[], value: Choice): unknown {
  const [key, ...below] = keys;
  if (key === undefined) return isQuantity(node) ? quantityOf(node, Number(value)) : value;
  if (Array.isArray(node)) return node.with(Number(key), replaced(node[Number(key)], below, value));
  const map = node as Readonly<Record<string, unknown>>;
  return { ...map, [key]: replaced(map[key], below, value) };
}

function quantityOf({ tolerance, dimension }: Quantity, value: number): Quantity {
  return { value, tolerance, dimension, text: valueText(value, dimension) };
}

/** A value as a bench file would have it, with as many digits as a float64 needs. */
function valueText(value: number, dimension: Dimension): string {
  return formatQuantity(value, dimension, { digits: 15 });
}

interface Leaf {
  readonly place: Place;
  /** Path within the part. */
  readonly below: string;
  readonly value: Quantity | Choice;
  readonly choices: readonly Choice[];
  readonly takes: (value: number) => boolean;
}

function leavesOf(part: DescribedPart, index: number): Leaf[] {
  const leaves: Leaf[] = [];
  walk(
    part.kind.parameters,
    part.parameters,
    [],
    () => true,
    (keys, value, choices, takes) => {
      leaves.push({ place: { part: index, keys }, below: keys.join('.'), value, choices, takes });
    },
  );
  return leaves;
}

type Visit = (
  keys: readonly string[],
  value: Quantity | Choice,
  choices: readonly Choice[],
  takes: (value: number) => boolean,
) => void;

/** What zod keeps of a schema's build; only what is read here. */
interface Def {
  readonly type: string;
  readonly innerType?: z.ZodType;
  readonly out?: z.ZodType;
  readonly shape?: Readonly<Record<string, z.ZodType>>;
  readonly items?: readonly z.ZodType[];
  readonly element?: z.ZodType;
  readonly valueType?: z.ZodType;
  readonly options?: readonly z.ZodType[];
  readonly discriminator?: string;
  readonly values?: readonly Choice[];
  readonly entries?: Readonly<Record<string, Choice>>;
}

/** Follows schema and value together. `around` says whether what stands about a value takes its text, such as an ordered pair. */
function walk(
  schema: z.ZodType,
  value: unknown,
  keys: readonly string[],
  around: (text: string) => boolean,
  visit: Visit,
): void {
  const def = schema.def as unknown as Def;
  if (value === undefined || value === null) return;
  if (def.innerType !== undefined) {
    walk(def.innerType, value, keys, around, visit);
  } else if (isQuantity(value)) {
    const fits = quantityOption(def, schema);
    visit(keys, value, [], (candidate) => {
      const text = valueText(candidate, value.dimension);
      return fits(text) && around(text);
    });
  } else if (def.type === 'pipe' && def.out!.def.type !== 'transform') {
    // Something is done to the text beforehand, such as filling in a kind that is not said.
    walk(def.out!, value, keys, around, visit);
  } else if (def.type === 'union' && def.discriminator !== undefined) {
    const { discriminator } = def;
    const tag = (value as Readonly<Record<string, unknown>>)[discriminator];
    const option = def.options!.find((one) => (one as z.ZodObject).shape[discriminator]!.safeParse(tag).success);
    if (option !== undefined) walk(option, value, keys, around, visit);
  } else if (def.shape !== undefined) {
    for (const [key, below] of Object.entries(def.shape))
      walk(below, (value as Readonly<Record<string, unknown>>)[key], [...keys, key], () => true, visit);
  } else if (def.items !== undefined) {
    walkTuple(schema, def.items, value as readonly unknown[], keys, visit);
  } else if (def.valueType !== undefined) {
    for (const [key, below] of Object.entries(value)) walk(def.valueType, below, [...keys, key], () => true, visit);
  } else if (def.type === 'pipe' && typeof value === 'object') {
    // Read from one text into several quantities: a window. Its sides are distances, so never below 0.
    for (const [key, side] of Object.entries(value))
      if (isQuantity(side)) visit([...keys, key], side, [], (candidate) => candidate >= 0);
  } else if (typeof value !== 'object') {
    const choices = choicesOf(def);
    if (choices.length > 1) visit(keys, value as Choice, choices, () => false);
  }
}

function walkTuple(
  schema: z.ZodType,
  items: readonly z.ZodType[],
  values: readonly unknown[],
  keys: readonly string[],
  visit: Visit,
): void {
  const texts = values.map((value) => (isQuantity(value) ? value.text : value));
  for (const [index, item] of items.entries()) {
    const fitsPair = (text: string): boolean => schema.safeParse(texts.with(index, text)).success;
    walk(item, values[index], [...keys, String(index)], fitsPair, visit);
  }
}

/** For a union such as `rail` or a voltage: whichever of its options takes the text. */
function quantityOption(def: Def, schema: z.ZodType): (text: string) => boolean {
  const options = def.type === 'union' ? def.options! : [schema];
  return (text) => options.some((option) => option.safeParse(text).success);
}

function choicesOf(def: Def): readonly Choice[] {
  if (def.type === 'literal') return def.values ?? [];
  if (def.type === 'enum') return Object.values(def.entries ?? {});
  if (def.type === 'boolean') return [false, true];
  if (def.type === 'union') return def.options!.flatMap((option) => choicesOf(option.def as unknown as Def));
  return [];
}

interface Joined {
  readonly leaves: readonly Leaf[];
  readonly below: string;
  readonly isSymmetric: boolean;
}

/** Leaves of one part that hold the very same quantity were written as one. */
function windowsJoined(leaves: readonly Leaf[]): Joined[] {
  const joined: Joined[] = [];
  for (const leaf of leaves) {
    const last = joined.at(-1);
    const twin = last?.leaves[0];
    if (
      last !== undefined &&
      twin?.place.part === leaf.place.part &&
      isQuantity(leaf.value) &&
      twin.value === leaf.value
    )
      joined[joined.length - 1] = {
        leaves: [...last.leaves, leaf],
        below: leaf.place.keys.slice(0, -1).join('.'),
        isSymmetric: true,
      };
    else joined.push({ leaves: [leaf], below: leaf.below, isSymmetric: false });
  }
  return joined;
}

/** Values that all members of a family share change together. */
function familiesJoined(joined: readonly Joined[], parts: readonly DescribedPart[]): Parameter[] {
  const done = new Set<Joined>();
  return joined.flatMap((one) => {
    if (done.has(one)) return [];
    const { kind, path } = parts[one.leaves[0]!.place.part]!;
    const family = parts.filter((part) => part.kind === kind);
    const isFamily = kind.at.endsWith('*') && family.length > 1;
    const alike = isFamily
      ? joined.filter((other) => parts[other.leaves[0]!.place.part]!.kind === kind && isAlike(one, other))
      : [];
    const isWhole = isFamily && alike.length === family.length;
    const together = isWhole ? alike : [one];
    for (const other of together) done.add(other);
    const stem = isWhole ? kind.at : path.join('.');
    return [
      parameterOf(
        `${stem}.${one.below}`,
        together.flatMap((other) => other.leaves),
        isWhole ? family.map((part) => part.name) : [],
        one.isSymmetric,
      ),
    ];
  });
}

function isAlike(one: Joined, other: Joined): boolean {
  if (one.below !== other.below || one.isSymmetric !== other.isSymmetric) return false;
  const [a, b] = [one.leaves[0]!.value, other.leaves[0]!.value];
  return isQuantity(a) && isQuantity(b) ? a.value === b.value && a.tolerance === b.tolerance : a === b;
}

function parameterOf(
  path: string,
  leaves: readonly Leaf[],
  members: readonly string[],
  isSymmetric: boolean,
): Parameter {
  const [first] = leaves as [Leaf];
  const shared = { path, places: leaves.map(({ place }) => place), members };
  if (!isQuantity(first.value)) return { ...shared, kind: 'choice', value: first.value, choices: first.choices };
  return {
    ...shared,
    kind: 'quantity',
    dimension: first.value.dimension,
    value: first.value.value,
    isInteger: first.value.dimension === 'count',
    isSymmetric,
    takes: (value) => leaves.every((leaf) => leaf.takes(value)),
  };
}
