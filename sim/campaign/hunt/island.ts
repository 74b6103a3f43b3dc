/**
 * One search by itself: an evolution strategy (mu + lambda) over lists of things that happen. It aims at one expectation,
 * the next island at the next one, and is led by how near that is to breaking; where that is level, by what the part that
 * gives the signal tells of coming nearer. Lists that took a transition that none took before are kept as parents too,
 * however good they are: the way to a hazard often leads over a mode that is harmless by itself.
 */

import { type Stream, type StreamState, Streams } from '../../kernel/random.ts';
import type { BegunRow, Minder } from '../many/craft.ts';
import { type Gene, oneOf, randomGene, randomLasting, randomLevel } from './gene.ts';
import type { Ground, Margin } from './ground.ts';

export interface Island {
  /** What broke an expectation; null if nothing did. */
  readonly found: readonly Gene[] | null;
  readonly broken: number;
  /** The expectation that it aimed at, how near it came, and what led to it. */
  readonly aim: number;
  readonly score: number;
  readonly margin: Margin | null;
  readonly nearest: readonly Gene[];
  readonly runs: number;
  readonly taken: readonly number[];
  readonly visited: readonly number[];
}

const PARENTS = 12;
const CHILDREN = 24;
const ARCHIVE_MOST = 64;
const GENES_MOST = 8;
/** Nothing happens in the last part of a run, so that its effect is still seen. */
const QUIET_SHARE = 0.25;

/** An island that was broken off after one of its generations. */
export interface BegunIsland extends Island, BegunRow {
  readonly goOn: {
    readonly parents: readonly Individual[];
    readonly archive: readonly Individual[];
    readonly stream: JsonOf<StreamState>;
  };
}

type JsonOf<T> = { readonly [Key in keyof T]: T[Key] extends Float64Array ? readonly number[] : T[Key] };

interface Individual {
  readonly genes: readonly Gene[];
  readonly score: number;
  readonly guide: number;
  readonly margin: Margin | null;
  readonly order: number;
}

/** When it is halted, what there is of it by then; with that as `begun` it goes on as if it had not been. */
export async function searchIsland(
  ground: Ground,
  island: number,
  minder: Minder,
  begun?: BegunRow,
): Promise<Island | BegunIsland> {
  const known = begun as BegunIsland | undefined;
  const { seed, islandRuns, durationMilliseconds } = ground.request;
  const aim = island % Math.max(1, ground.formulas.length);
  const streams = new Streams(seed);
  const stream = streams.for('hunt', `island ${island}`);
  if (known !== undefined)
    streams.restore([{ ...known.goOn.stream, buffer: Float64Array.from(known.goOn.stream.buffer) }]);
  const until = Math.floor(durationMilliseconds * (1 - QUIET_SHARE));
  const taken = new Set(known?.taken);
  const visited = new Set(known?.visited);
  let parents = [...(known?.goOn.parents ?? [])];
  const archive = [...(known?.goOn.archive ?? [])];
  let runs = known?.runs ?? 0;
  const outcome = (found: readonly Gene[] | null, broken: number, nearest: Individual | undefined): Island => ({
    found,
    broken,
    aim,
    score: nearest?.score ?? 0,
    margin: nearest?.margin ?? null,
    nearest: nearest?.genes ?? [],
    runs,
    taken: sorted(taken),
    visited: sorted(visited),
  });
  while (runs < islandRuns) {
    const children: Individual[] = [];
    for (let child = 0; child < CHILDREN && runs < islandRuns; child += 1) {
      // The first try is the bench left alone: what breaks without any doing is found at once.
      const genes = runs === 0 ? [] : childOf(ground, parents, archive, stream, until);
      const tried = ground.try(genes);
      runs += 1;
      const isNew = tried.taken.some((transition) => !taken.has(transition));
      for (const transition of tried.taken) taken.add(transition);
      for (const mode of tried.visited) visited.add(mode);
      const one: Individual = {
        genes,
        score: tried.scores[aim] ?? 0,
        guide: tried.guides[aim] ?? 0,
        margin: tried.margins[aim] ?? null,
        order: runs,
      };
      if (tried.broken >= 0) {
        await minder.done(children.length + 1);
        return outcome(genes, tried.broken, one);
      }
      children.push(one);
      if (isNew) archive.push(one);
    }
    if (archive.length > ARCHIVE_MOST) archive.splice(0, archive.length - ARCHIVE_MOST);
    parents = [...parents, ...children].sort(nearerFirst).slice(0, PARENTS);
    if ((await minder.done(children.length)) && runs < islandRuns) {
      const [state] = streams.save() as [StreamState];
      const goOn = { parents, archive, stream: { ...state, buffer: [...state.buffer] } };
      return { ...outcome(null, -1, parents[0]), goOn };
    }
  }
  return outcome(null, -1, parents[0]);
}

/** Of equally near ones the shorter, then the newer: the search drifts on where it is level. */
function nearerFirst(a: Individual, b: Individual): number {
  return a.score - b.score || a.guide - b.guide || a.genes.length - b.genes.length || b.order - a.order;
}

function sorted(numbers: ReadonlySet<number>): number[] {
  return [...numbers].sort((a, b) => a - b);
}

/** A new list: at random, or one of the parents with a change or two. */
function childOf(
  { vocabulary }: Ground,
  parents: readonly Individual[],
  archive: readonly Individual[],
  stream: Stream,
  until: number,
): readonly Gene[] {
  const fresh = (): Gene => randomGene(vocabulary, stream, until);
  if (parents.length === 0 || stream.uniform() < 0.3) {
    const count = 1 + Math.floor(stream.uniform() * 4);
    return inOrder(Array.from({ length: count }, fresh));
  }
  const pool = archive.length > 0 && stream.uniform() < 0.5 ? archive : parents;
  let genes = [...oneOf(pool, stream).genes];
  const changes = 1 + Math.floor(stream.uniform() * 3);
  for (let change = 0; change < changes; change += 1) {
    const roll = stream.uniform();
    const place = Math.floor(stream.uniform() * genes.length);
    if (genes.length === 0 || roll < 0.35) genes.push(fresh());
    else if (roll < 0.45) genes.splice(place, 1);
    else if (roll < 0.55) genes = spliced(genes, oneOf(pool, stream).genes, stream, until);
    else genes[place] = changed(genes[place]!, vocabulary, stream, until);
  }
  return inOrder(genes.slice(0, GENES_MOST));
}

/** One up to an instant, the other from there on. */
function spliced(first: readonly Gene[], second: readonly Gene[], stream: Stream, until: number): Gene[] {
  const cut = stream.uniform() * until;
  return [...first.filter(({ at }) => at < cut), ...second.filter(({ at }) => at >= cut)];
}

function changed(gene: Gene, vocabulary: Ground['vocabulary'], stream: Stream, until: number): Gene {
  if (stream.uniform() < 0.5) {
    // Near or far alike: from some milliseconds to some seconds.
    const reach = 10 * (until / 10) ** stream.uniform();
    const at = Math.round(gene.at + reach * stream.normal());
    return { ...gene, at: Math.min(until - 1, Math.max(0, at)) };
  }
  if ('lever' in gene) {
    const { least, most } = vocabulary.levers.find(({ part }) => part === gene.part)!;
    return { ...gene, lever: randomLevel(least, most, stream) };
  }
  if ('fault' in gene) return { ...gene, lasts: randomLasting(stream) };
  if ('choice' in gene) {
    const { among } = vocabulary.choices.find(({ part }) => part === gene.part)!;
    return { ...gene, choice: oneOf(among, stream) };
  }
  return { ...gene, isOn: !gene.isOn };
}

function inOrder(genes: readonly Gene[]): Gene[] {
  return [...genes].sort((a, b) => a.at - b.at);
}
