/** The work of one thread: opens what is asked for, keeps it, and makes runs by their numbers. */
import { allowWideInlining } from '../../kernel/inlining.ts';
import type { Craft, CraftRequest } from './craft.ts';
import { openCraft } from './open.ts';

export interface Job {
  readonly request: CraftRequest;
  readonly indices: readonly number[];
}

allowWideInlining();

let opened: { readonly key: string; readonly craft: Craft } | undefined;

export async function work({ request, indices }: Job): Promise<unknown[]> {
  const key = JSON.stringify(request);
  if (opened?.key !== key) opened = { key, craft: await openCraft(request) };
  const { craft } = opened;
  return indices.map((index) => craft.row(index));
}
