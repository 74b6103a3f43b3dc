/**
 * `like: left`: a map that copies the sibling of that name, its own keys on top.
 */
import { type Problem, problemAt } from './problem.ts';
import { suggest } from './suggest.ts';
import {
  excessOf,
  headPlace,
  kindWords,
  listNode,
  mapNode,
  mergedMap,
  pathWords,
  type TreeLeaf,
  type TreeMap,
  type TreeNode,
  treeLimits,
  writtenWords,
} from './tree.ts';

const likeKey = 'like';

// A copy of a copy of a copy ...: nobody writes more, and each link costs stack.
const maxChain = 16;

/**
 * The tree with each `like` carried out. Maps are merged at every level, lists and values of the copy replace those of the
 * original. A sibling that is not there, is no map or copies the copier is a problem, and that map then stays without.
 */
export function resolveLikes(tree: TreeMap): { readonly tree: TreeMap; readonly problems: readonly Problem[] } {
  const problems: Problem[] = [];
  const work: Work = { problems, done: new WeakMap(), copiedSize: 0 };
  const resolved = resolveChildren(tree, [], work) as TreeMap;
  const isCutShort = work.copiedSize > treeLimits.size;
  const excess = isCutShort ? problemAt(headPlace(tree), 'too-much', { limit: treeLimits.size }) : excessOf(resolved);
  return excess === undefined ? { tree: resolved, problems } : { tree, problems: [excess] };
}

interface Work {
  readonly problems: Problem[];
  /** Finished nodes, so that what many copies share is worked through once. */
  readonly done: WeakMap<TreeNode, TreeNode>;
  /** Nodes copied so far. Past the limit no more is copied, since the outcome is refused anyway. */
  copiedSize: number;
}

type Names = readonly (string | number)[];

function resolveChildren(node: TreeNode, path: Names, work: Work): TreeNode {
  if (node.shape === 'leaf') return node;
  const known = work.done.get(node);
  if (known !== undefined) return known;
  const resolved =
    node.shape === 'list' ? resolveItems(node.items, node, path, work) : resolveSiblings(node, path, work);
  work.done.set(node, resolved);
  work.done.set(resolved, resolved);
  return resolved;
}

function resolveItems(items: readonly TreeNode[], list: TreeNode, path: Names, work: Work): TreeNode {
  const resolved = items.map((item, index) => resolveChildren(item, [...path, index], work));
  return resolved.every((item, index) => item === items[index]) ? list : listNode(list, resolved);
}

function resolveSiblings(map: TreeMap, path: Names, work: Work): TreeMap {
  const finished = new Map<string, TreeNode>();
  const open: string[] = [];

  const finish = (name: string): TreeNode => {
    const known = finished.get(name);
    if (known !== undefined) return known;
    open.push(name);
    const node = map.entries.get(name)!;
    const like = node.shape === 'map' ? node.entries.get(likeKey) : undefined;
    const copied = like === undefined ? node : copyOf(node as TreeMap, like, name);
    open.pop();
    const resolved = resolveChildren(copied, [...path, name], work);
    finished.set(name, resolved);
    return resolved;
  };

  const copyOf = (node: TreeMap, like: TreeNode, name: string): TreeMap => {
    const own = new Map(node.entries);
    own.delete(likeKey);
    const original =
      like.shape === 'leaf'
        ? originalOf(like, map, [...path, name, likeKey], open, work)
        : noName(like, map, [...path, name, likeKey], name, work);
    if (original === undefined) return mapNode({ ...node, isReported: true }, own);
    const base = finish(original);
    work.copiedSize += base.size;
    if (base.shape === 'map') return work.copiedSize > treeLimits.size ? node : mergedMap(base, mapNode(node, own));
    work.problems.push(
      problemAt(like.place, 'like-no-map', {
        path: pathWords([...path, name, likeKey]),
        written: writtenWords(like),
        got: kindWords(base),
      }),
    );
    return mapNode({ ...node, isReported: true }, own);
  };

  let isChanged = false;
  const entries = new Map<string, TreeNode>();
  // Each sibling in the order of the file, though one that is copied is finished as soon as it is needed.
  for (const [name, node] of map.entries) {
    const resolved = finish(name);
    isChanged ||= resolved !== node;
    entries.set(name, resolved);
  }
  return isChanged ? mapNode(map, entries, map.likeOf) : map;
}

/** The name of the sibling to copy, or undefined after telling why there is none. */
function originalOf(
  like: TreeLeaf,
  siblings: TreeMap,
  path: Names,
  open: readonly string[],
  work: Work,
): string | undefined {
  const wanted = String(like.value);
  const self = open.at(-1)!;
  const opened = open.indexOf(wanted);
  if (opened !== -1) {
    work.problems.push(problemAt(like.place, 'like-cycle', { names: [...open.slice(opened), wanted] }));
    return undefined;
  }
  if (open.length > maxChain) {
    work.problems.push(problemAt(like.place, 'too-deep', { limit: maxChain }));
    return undefined;
  }
  if (siblings.entries.has(wanted)) return wanted;
  return noName(like, siblings, path, self, work);
}

function noName(like: TreeNode, siblings: TreeMap, path: Names, self: string, work: Work): undefined {
  const allowed = [...siblings.entries]
    .filter(([name, node]) => name !== self && node.shape === 'map')
    .map(([name]) => name);
  const nearest = like.shape === 'leaf' ? suggest(String(like.value), allowed) : undefined;
  work.problems.push(
    problemAt(like.place, 'like-unknown', {
      path: pathWords(path),
      written: writtenWords(like),
      allowed,
      ...(nearest === undefined ? {} : { nearest }),
    }),
  );
  return undefined;
}
