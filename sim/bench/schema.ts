/**
 * The schema of a bench file, put together from what the parts declare: it validates, and it is what `jackstand schema`
 * prints. And the way back: from a validated bench to its list of parts.
 */
import { z } from 'zod';
import type { PartKind } from '../kernel/part.ts';
import { type Choose, nominal, settler } from '../units/index.ts';
import type { SettledPart } from './assemble.ts';
import { severitySchema } from './severity.ts';

/** A part as a bench file describes it, its quantities not yet settled. */
export interface DescribedPart {
  readonly name: string;
  readonly kind: PartKind;
  /** Where it stands in the file: `board.adc`, `controllers.left`. */
  readonly path: readonly string[];
  readonly parameters: unknown;
}

/** What a section of the bench file means, by its path. */
type Sections = ReadonlyMap<string, readonly PartKind[]>;

/** Names of a family's members: they become part names, and the first half of signal names. */
const memberName = z
  .string()
  .regex(/^[a-z][a-z0-9-]{0,30}$/, 'a name is lower-case letters, digits and dashes, up to 31 of them');

export function benchSchema(kinds: readonly PartKind[]): z.ZodObject {
  const sections = grouped(kinds);
  const shape: Record<string, z.ZodType> = {
    bench: z
      .string()
      .min(1)
      .max(200)
      .describe('name of the bench')
      .meta({ examples: ['orchard cart'] }),
    about: z
      .string()
      .max(4000)
      .optional()
      .describe('what it is and where its numbers come from')
      .meta({ examples: ['measured on the cart itself, cold, with a full battery'] }),
    severity: severitySchema.optional(),
  };
  for (const path of sections.keys()) {
    const [top, below] = path.split('.') as [string, string | undefined];
    if (below === undefined) shape[top] = sectionSchema(path, sections);
    else if (below === '*') shape[top] = familySchema(sections.get(path)!, top);
  }
  return z.strictObject(shape);
}

function grouped(kinds: readonly PartKind[]): Sections {
  const sections = new Map<string, PartKind[]>();
  for (const kind of kinds) sections.set(kind.at, [...(sections.get(kind.at) ?? []), kind]);
  return sections;
}

/** A section with the sections that stand inside it, optional or filled with defaults. */
function sectionSchema(path: string, sections: Sections): z.ZodType {
  const kinds = sections.get(path)!;
  const [first] = kinds as [PartKind];
  const children = [...sections.keys()].filter((other) => other.startsWith(`${path}.`));
  let schema =
    kinds.length === 1 ? first.parameters : z.discriminatedUnion('kind', kinds.map((kind) => kind.parameters) as never);
  if (children.length > 0) {
    const shape = Object.fromEntries(
      children.map((child) => [child.slice(path.length + 1), sectionSchema(child, sections)]),
    );
    schema = (first.parameters as z.ZodObject).extend(shape);
  }
  const described = schema.describe(first.means);
  return first.always === true ? described.prefault(first.defaults as never) : described.optional();
}

function familySchema(kinds: readonly PartKind[], top: string): z.ZodType {
  const [first] = kinds as [PartKind];
  const record = z.record(memberName, first.parameters).describe(`each ${first.means} by a name of its own`);
  return first.required === true
    ? record.refine((members) => Object.keys(members).length > 0, `a bench needs at least one of its ${top}`)
    : record.optional();
}

/** The parts of a validated bench, in wiring order. */
export function partsOf(bench: Readonly<Record<string, unknown>>, kinds: readonly PartKind[]): DescribedPart[] {
  return kinds.flatMap((kind): DescribedPart[] => {
    const path = kind.at.split('.');
    if (path.at(-1) !== '*') {
      const parameters = at(bench, path);
      if (
        parameters === undefined ||
        (kind.variant !== undefined && (parameters as { kind?: unknown }).kind !== kind.variant)
      )
        return [];
      return [{ name: nameOf(kind, path.at(-1)!), kind, path, parameters }];
    }
    const family = at(bench, path.slice(0, -1)) as Readonly<Record<string, unknown>> | undefined;
    return Object.entries(family ?? {}).map(([key, parameters]) => ({
      name: nameOf(kind, key),
      kind,
      path: [...path.slice(0, -1), key],
      parameters,
    }));
  });
}

function nameOf(kind: PartKind, key: string): string {
  return kind.partName === undefined ? key : kind.partName(key);
}

function at(tree: unknown, path: readonly string[]): unknown {
  return path.reduce<unknown>((node, key) => (node as Readonly<Record<string, unknown>> | undefined)?.[key], tree);
}

/** Chooses a number for a quantity: its middle in a nominal run, a draw from its tolerance in a spread. */
export type Pick = Choose;

/** What is looked up once for a part that is settled for every draw of a spread. */
const settlers = new WeakMap<DescribedPart, (pick: Pick) => unknown>();

/** Parts with their quantities settled: at their middles, or as `pick` says. */
export function settleParts(parts: readonly DescribedPart[], pick?: Pick): SettledPart[] {
  return parts.map((part) => {
    const { name, kind, parameters } = part;
    return {
      name,
      kind,
      parameters: pick === undefined ? nominal(parameters) : settlerOf(part)(pick),
      origin: parameters,
    };
  });
}

function settlerOf(part: DescribedPart): (pick: Pick) => unknown {
  const known = settlers.get(part);
  if (known !== undefined) return known;
  const made = settler(part.parameters, part.path.join('.'));
  settlers.set(part, made);
  return made;
}
