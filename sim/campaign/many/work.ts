/** Rows by their numbers: opens what is asked for, and keeps it for the next bundle. */
import { isMainThread } from 'node:worker_threads';
import type { BegunRow, Craft, CraftRequest } from './craft.ts';
import { openCraft } from './open.ts';

export interface Job {
  readonly request: CraftRequest;
  readonly indices: readonly number[];
  /** For each of them what there is of it already, if there is anything. */
  readonly begun: readonly (BegunRow | undefined)[];
  /** Memory that all threads see: see `AT`. */
  readonly shared: Int32Array;
  /** Rows that tell of their runs themselves; of all others each is one. */
  readonly isTelling: boolean;
}

/** In the shared memory: 1 when nothing more is wanted; runs that are done. */
export const AT = { halt: 0, runs: 1 } as const;

let opened: { readonly key: string; readonly craft: Craft } | undefined;

/** The rows, in the order of the numbers; fewer when it was halted. */
export async function work({ request, indices, begun, shared, isTelling }: Job): Promise<unknown[]> {
  const key = JSON.stringify(request);
  if (opened?.key !== key) opened = { key, craft: await openCraft(request) };
  const { craft } = opened;
  const done = async (runs: number): Promise<boolean> => {
    Atomics.add(shared, AT.runs, runs);
    // Lets the world outside in, so that an interrupt is heard; to a thread it comes through the shared memory.
    if (isMainThread) await new Promise((resolve) => setImmediate(resolve));
    return Atomics.load(shared, AT.halt) === 1;
  };
  const rows: unknown[] = [];
  for (const [place, index] of indices.entries()) {
    const row = await craft.row(index, { done }, begun[place]);
    rows.push(row);
    if (await done(isTelling ? 0 : 1)) break;
  }
  return rows;
}
