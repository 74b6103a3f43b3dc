/** Which modes and transitions of a part a hunt could come to at all: what it covered is counted against these. */
import type { DescribedPart } from '../../bench/schema.ts';
import { tableOf } from '../../chart/table.ts';

export interface Reach {
  /** Of the whole bench, by number: the parts one after the other. */
  readonly modes: readonly string[];
  readonly transitions: readonly string[];
  /** Numbers of those that count. */
  readonly reachableModes: ReadonlySet<number>;
  readonly reachableTransitions: ReadonlySet<number>;
  /** For each part the number of its first mode and of its first transition. */
  readonly firsts: readonly { readonly mode: number; readonly transition: number }[];
}

/** By the charts alone: whether a guard can ever be met is not asked. Without faults nothing counts that needs one. */
export function reachOf(parts: readonly DescribedPart[], hasFaults: boolean): Reach {
  const modes: string[] = [];
  const transitions: string[] = [];
  const reachableModes = new Set<number>();
  const reachableTransitions = new Set<number>();
  const firsts = parts.map(({ name, kind }) => {
    const table = tableOf(kind.chart);
    const first = { mode: modes.length, transition: transitions.length };
    modes.push(...table.leaves.map((leaf) => `${name}: ${leaf}`));
    transitions.push(...table.transitions.map(({ from, to, on }) => `${name}: ${from} to ${to ?? from} on ${on}`));
    const closed = new Set(hasFaults ? [] : Object.values(kind.faults).map(({ enter }) => table.events.indexOf(enter)));
    const open = [table.initialLeaf];
    for (let leaf = open.pop(); leaf !== undefined; leaf = open.pop()) {
      if (reachableModes.has(first.mode + leaf)) continue;
      reachableModes.add(first.mode + leaf);
      const rows = [
        ...table.eventless[leaf]!,
        ...table.events.flatMap((_, event) =>
          closed.has(event) ? [] : table.rows[leaf * table.events.length + event]!,
        ),
      ];
      for (const { transition, target } of rows) {
        reachableTransitions.add(first.transition + transition);
        if (target >= 0) open.push(target);
      }
    }
    return first;
  });
  return { modes, transitions, reachableModes, reachableTransitions, firsts };
}
