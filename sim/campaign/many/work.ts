/** Runs by their numbers: opens what is asked for, and keeps it for the next bundle. */
import type { Craft, CraftRequest } from './craft.ts';
import { openCraft } from './open.ts';

export interface Job {
  readonly request: CraftRequest;
  readonly indices: readonly number[];
}

let opened: { readonly key: string; readonly craft: Craft } | undefined;

export async function work({ request, indices }: Job): Promise<unknown[]> {
  const key = JSON.stringify(request);
  if (opened?.key !== key) opened = { key, craft: await openCraft(request) };
  const { craft } = opened;
  return indices.map((index) => craft.row(index));
}
