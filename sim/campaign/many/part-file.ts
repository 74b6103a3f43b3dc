/**
 * What is done of a campaign, as a file: the share of one machine, or what there was when it was broken off. Putting all
 * shares together gives the bytes of the whole, since a run depends on nothing but its number.
 */
import { z } from 'zod';
import { type CraftRequest, isBegun, type RowsMade } from './craft.ts';

const formatVersion = 1;

const partSchema = z.strictObject({
  campaign: z.string(),
  format: z.literal(formatVersion),
  jackstand: z.string(),
  /** Digest of the undisturbed run: files that have changed in between are found out by it. */
  fingerprint: z.string(),
  count: z.int().min(0),
  request: z.looseObject({ kind: z.string() }),
  rows: z.array(z.tuple([z.int().min(0), z.unknown()])),
});

export interface Part {
  readonly version: string;
  readonly fingerprint: string;
  /** Runs of the whole campaign. */
  readonly count: number;
  readonly request: CraftRequest;
  readonly rows: RowsMade;
}

export function partText({ version, fingerprint, count, request, rows }: Part): string {
  const head = { campaign: request.kind, format: formatVersion, jackstand: version, fingerprint, count, request };
  const lines = [...rows].sort(([a], [b]) => a - b).map((row) => JSON.stringify(row));
  return `${JSON.stringify(head).slice(0, -1)},"rows":[\n${lines.join(',\n')}\n]}\n`;
}

export type PartRead = { readonly part: Part } | { readonly mistake: string };

export function readPart(text: string): PartRead {
  let json: unknown;
  try {
    json = JSON.parse(text);
  } catch {
    return { mistake: 'it is not JSON; was it written whole?' };
  }
  const parsed = partSchema.safeParse(json);
  if (!parsed.success) return { mistake: 'it is no part of a campaign' };
  const { jackstand, fingerprint, count, request, rows } = parsed.data;
  return { part: { version: jackstand, fingerprint, count, request, rows: new Map(rows) } };
}

export type Merged = { readonly part: Part } | { readonly mistake: string; readonly index: number };

/** All parts together; refuses those that do not belong together. What is still missing is for the caller to see. */
export function mergeParts(parts: readonly Part[]): Merged {
  const [first] = parts as [Part];
  const key = keyOf(first);
  const other = parts.findIndex((part) => keyOf(part) !== key);
  if (other !== -1) {
    const same = JSON.stringify(parts[other]!.request) === JSON.stringify(first.request);
    return {
      mistake: same ? 'it was made from other files, or by another version' : 'it belongs to another campaign',
      index: other,
    };
  }
  // What one has whole another may have begun.
  const rows = parts.flatMap((part) => [...part.rows]).sort(([, a], [, b]) => Number(isBegun(b)) - Number(isBegun(a)));
  return { part: { ...first, rows: new Map(rows) } };
}

function keyOf({ version, fingerprint, count, request }: Part): string {
  return JSON.stringify([version, fingerprint, count, request]);
}
