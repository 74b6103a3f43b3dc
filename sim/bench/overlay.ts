/**
 * A scenario's `with: { board.firmware.output: [47, 62] }` laid over a bench: the values are the bench's from then on, and
 * what is wrong with them is shown in the scenario.
 */
import { type Place, within } from './place.ts';
import { type Problem, problemAt } from './problem.ts';
import {
  excessOf,
  headPlace,
  listNode,
  mapNode,
  merged,
  pathWords,
  type TreeMap,
  type TreeNode,
  treeLimits,
  writtenWords,
} from './tree.ts';

/**
 * `overrides` maps dotted paths (an index counts as a step in a list) to values. A map is merged with the one that is there,
 * all else replaces. What is not there yet is added: whether it means anything is for the schema to say. Laid on in the
 * order written, and before `resolveLikes`, so that a copy follows its overridden original.
 */
export function overlay(
  bench: TreeMap,
  overrides: TreeMap,
): { readonly tree: TreeMap; readonly problems: readonly Problem[] } {
  const problems: Problem[] = [];
  if (overrides.entries.size > maxOverrides) {
    return { tree: bench, problems: [problemAt(headPlace(overrides), 'too-much', { limit: maxOverrides })] };
  }
  let tree = bench;
  for (const [dotted, value] of overrides.entries) {
    const steps = dotted.split('.');
    const named = value.named ?? value.place;
    if (steps.length > treeLimits.height || steps.some((step) => step.trim() === '' || step === '__proto__')) {
      problems.push(problemAt(named, 'override-path', { path: dotted }));
      continue;
    }
    tree = laid(tree, { steps, dotted, named, value, problems }, 0) as TreeMap;
  }
  const excess = excessOf(tree, headPlace(overrides));
  return excess === undefined ? { tree, problems } : { tree: bench, problems: [...problems, excess] };
}

// Each override copies the maps on its way.
const maxOverrides = 1000;

interface Override {
  readonly steps: readonly string[];
  readonly dotted: string;
  readonly named: Place;
  readonly value: TreeNode;
  readonly problems: Problem[];
}

/** `node` with the override in it from step `index` on; `node` itself if that cannot be. */
function laid(node: TreeNode | undefined, override: Override, index: number): TreeNode {
  const { steps, value } = override;
  const step = steps[index];
  const stepPlace = placeOfStep(override, index - 1);
  if (step === undefined) {
    const renamed = { ...value, named: stepPlace };
    return node === undefined ? renamed : merged(node, renamed);
  }
  if (node === undefined || (node.shape === 'leaf' && node.value === null)) {
    // Nothing there: a map grows, as if the scenario had written it.
    return mapNode({ place: value.place, named: stepPlace }, new Map([[step, laid(undefined, override, index + 1)]]));
  }
  const at = steps.slice(0, index).join('.');
  if (node.shape === 'map') {
    const entries = new Map(node.entries);
    entries.set(step, laid(entries.get(step), override, index + 1));
    return mapNode(node, entries, node.likeOf);
  }
  if (node.shape === 'leaf') {
    const facts = { path: override.dotted, at, written: writtenWords(node) };
    override.problems.push(problemAt(placeOfStep(override, index), 'override-into-value', facts));
    return node;
  }
  const item = /^\d{1,6}$/.test(step) ? node.items[Number(step)] : undefined;
  if (item === undefined) {
    const facts = { path: pathWords([override.dotted]), at, itemCount: node.items.length };
    override.problems.push(problemAt(placeOfStep(override, index), 'override-item', facts));
    return node;
  }
  return listNode(node, node.items.with(Number(step), laid(item, override, index + 1)));
}

function placeOfStep({ steps, dotted, named }: Override, index: number): Place {
  const from = steps.slice(0, Math.max(0, index)).reduce((length, step) => length + step.length + 1, 0);
  return within(named, dotted, from, from + (steps[Math.max(0, index)]?.length ?? 0));
}
