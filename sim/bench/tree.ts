/**
 * What a file says, as a tree whose every node knows where it was written, so that a value copied by `like` or laid
 * over by a scenario still leads back to the line that the user must change.
 */
import { type Place, within, writtenAt } from './place.ts';
import { type Problem, problemAt } from './problem.ts';

interface NodeBase {
  readonly place: Place;
  /** Where the key is written under which this node stands; none for list items and for the top. */
  readonly named?: Place;
  /** Already reported: what a schema says about it is not news. For a map this goes for missing keys only. */
  readonly isReported?: true;
  /** Nodes in it, itself included, each counted as often as it is met. */
  readonly size: number;
  /** Levels in it, itself included. */
  readonly height: number;
}

export interface TreeMap extends NodeBase {
  readonly shape: 'map';
  readonly entries: ReadonlyMap<string, TreeNode>;
  /** The map of which this one is a copy with changes. */
  readonly likeOf?: TreeMap;
}

export interface TreeList extends NodeBase {
  readonly shape: 'list';
  readonly items: readonly TreeNode[];
}

export interface TreeLeaf extends NodeBase {
  readonly shape: 'leaf';
  readonly value: string | number | boolean | null;
}

export type TreeNode = TreeMap | TreeList | TreeLeaf;

/** Keys and list indices from the top. */
export type Path = readonly (string | number)[];

/** A tree may have this many levels and nodes, copies included: far above any bench, far below what would be slow. */
export const treeLimits = { height: 64, size: 20_000 } as const;

type Origin = Pick<NodeBase, 'place' | 'named' | 'isReported'>;

export function mapNode(origin: Origin, entries: ReadonlyMap<string, TreeNode>, likeOf?: TreeMap): TreeMap {
  return {
    ...originOf(origin),
    shape: 'map',
    entries,
    ...extentOf(entries.values()),
    ...(likeOf === undefined ? {} : { likeOf }),
  };
}

export function listNode(origin: Origin, items: readonly TreeNode[]): TreeList {
  return { ...originOf(origin), shape: 'list', items, ...extentOf(items) };
}

export function leafNode(origin: Origin, value: TreeLeaf['value']): TreeLeaf {
  return { ...originOf(origin), shape: 'leaf', value, size: 1, height: 1 };
}

/** True if the tree is within `treeLimits`. */
export function isWithinLimits(node: TreeNode): boolean {
  return node.size <= treeLimits.size && node.height <= treeLimits.height;
}

/** The problem with a tree that is beyond `treeLimits`, shown at its head unless another place is given. */
export function excessOf(node: TreeNode, place: Place = headPlace(node)): Problem | undefined {
  if (isWithinLimits(node)) return undefined;
  return node.size > treeLimits.size
    ? problemAt(place, 'too-much', { limit: treeLimits.size })
    : problemAt(place, 'too-deep', { limit: treeLimits.height });
}

/** The node's value without places, as a schema takes it. The tree must be within the limits. */
export function plainOf(node: TreeNode): unknown {
  switch (node.shape) {
    case 'leaf':
      return node.value;
    case 'list':
      return node.items.map(plainOf);
    case 'map':
      return Object.fromEntries(Array.from(node.entries, ([key, value]) => [key, plainOf(value)]));
  }
}

/** The nodes from the top to where `path` leads, or as far as it goes: all of it is there if there is one more than steps. */
export function nodesAlong(tree: TreeNode, path: Path): TreeNode[] {
  const nodes = [tree];
  for (const step of path) {
    const child = childOf(nodes.at(-1)!, step);
    if (child === undefined) break;
    nodes.push(child);
  }
  return nodes;
}

/** The node to which `path` leads; undefined if there is none. */
export function nodeAt(tree: TreeNode, path: Path): TreeNode | undefined {
  const nodes = nodesAlong(tree, path);
  return nodes.length === path.length + 1 ? nodes.at(-1) : undefined;
}

/** Where to point when something is said about a node as such: at its key if it has one, else at its start. */
export function headPlace({ named, place }: TreeNode): Place {
  return named ?? { ...place, end: place.start };
}

/** Where to point at a node's value; an empty one cannot be seen, so its key is shown. */
export function valuePlace(node: TreeNode): Place {
  return node.place.end > node.place.start ? node.place : headPlace(node);
}

/** The part of a node's text from `from` to `to`, for mistakes within a text (an expectation, a formula). */
export function placeInText(node: TreeNode, from: number, to: number): Place {
  return node.shape === 'leaf' && typeof node.value === 'string'
    ? within(node.place, node.value, from, to)
    : valuePlace(node);
}

/** Copies of `base` with what `over` says on top: maps are merged, all else is replaced, and so is a map of another `kind`. */
export function merged(base: TreeNode, over: TreeNode): TreeNode {
  return base.shape === 'map' && over.shape === 'map' && !differInKind(base, over) ? mergedMap(base, over) : over;
}

/** As `merged`, for two maps, whatever their kinds. */
export function mergedMap(base: TreeMap, over: TreeMap): TreeMap {
  const entries = new Map(base.entries);
  for (const [key, value] of over.entries) {
    const below = entries.get(key);
    entries.set(key, below === undefined ? value : merged(below, value));
  }
  return mapNode(over, entries, base);
}

/** What kind of thing a node is, in the user's words. */
export function kindWords(node: TreeNode): string {
  if (node.shape !== 'leaf') return `a ${node.shape}`;
  if (node.value === null) return 'nothing';
  return typeof node.value === 'string' ? 'text' : typeof node.value === 'number' ? 'a number' : 'true or false';
}

/** A node as its file has it if that is short, else what kind of thing it is. */
export function writtenWords(node: TreeNode): string {
  const text = writtenAt({ ...node.place, end: Math.min(node.place.end, node.place.start + shownLength + 1) });
  return text === '' || text.length > shownLength || /[\r\n]/.test(text) ? kindWords(node) : text;
}

/** `controllers.left.valid[1]` */
export function pathWords(path: Path): string {
  return path.reduce<string>(
    (text, step) => (typeof step === 'number' ? `${text}[${step}]` : text === '' ? step : `${text}.${step}`),
    '',
  );
}

const shownLength = 48;

function childOf(node: TreeNode, step: string | number): TreeNode | undefined {
  if (node.shape === 'map') return node.entries.get(String(step));
  return node.shape === 'list' && typeof step === 'number' ? node.items[step] : undefined;
}

// `kind` is the word by which a file chooses between forms of a part; keys of one form mean nothing in another.
function differInKind(a: TreeMap, b: TreeMap): boolean {
  const kinds = [a, b].map((map) => map.entries.get('kind'));
  return kinds.every((kind) => kind?.shape === 'leaf') && (kinds[0] as TreeLeaf).value !== (kinds[1] as TreeLeaf).value;
}

function originOf({ place, named, isReported }: Origin): Origin {
  return { place, ...(named === undefined ? {} : { named }), ...(isReported === undefined ? {} : { isReported }) };
}

function extentOf(children: Iterable<TreeNode>): { size: number; height: number } {
  let size = 1;
  let height = 0;
  for (const child of children) {
    size += child.size;
    height = Math.max(height, child.height);
  }
  return { size, height: height + 1 };
}
