/**
 * From the YAML library's nodes to our tree: aliases followed, keys checked, numbers that are none reported.
 */
import { isAlias, isMap, isScalar, isSeq, type ParsedNode } from 'yaml';
import type { Place, SourceText } from './place.ts';
import { type Problem, problemAt } from './problem.ts';
import { suggest } from './suggest.ts';
import {
  isWithinLimits,
  leafNode,
  listNode,
  mapNode,
  type Path,
  pathWords,
  type TreeLeaf,
  type TreeNode,
  writtenWords,
} from './tree.ts';

/** Above this no quantity of a vehicle lies, and whole numbers soon lose their last digits. */
const maxMagnitude = 1e15;

/** The tree of a document that has no YAML errors and is not too deep. Adds to `problems`. */
export function treeOf(contents: ParsedNode, source: SourceText, problems: Problem[]): TreeNode {
  return nodeOf(contents, undefined, [], { source, problems, anchors: new Map() });
}

interface Reading {
  readonly source: SourceText;
  readonly problems: Problem[];
  /** What each anchor stands for so far; undefined while the node that bears it is being read. */
  readonly anchors: Map<string, TreeNode | undefined>;
}

function nodeOf(node: ParsedNode, named: Place | undefined, path: Path, reading: Reading): TreeNode {
  const { source, problems, anchors } = reading;
  const place: Place = { source, start: node.range[0], end: node.range[1] };
  const origin = { place, ...(named === undefined ? {} : { named }) };
  if (isAlias(node)) return aliased(node.source, origin, reading);
  if (node.tag !== undefined) problems.push(tagProblem(place, node.tag));
  if (node.anchor !== undefined) anchors.set(node.anchor, undefined);

  let read: TreeNode;
  if (isMap(node)) {
    read = mapNode(origin, entriesOf(node.items as readonly Pair[], path, reading));
  } else if (isSeq(node)) {
    const items = node.items.map((item, index) => nodeOf(item as ParsedNode, undefined, [...path, index], reading));
    read = listNode(origin, items);
  } else {
    read = leafOf(node.value, origin, path, problems);
  }
  if (node.anchor !== undefined) anchors.set(node.anchor, read);
  return read;
}

// The library keeps no place for a tag; it stands before its value, and begins with the nearest `!` or `!!` there.
function tagProblem({ source, start }: Place, tag: string): Problem {
  const mark = Math.max(0, source.text.lastIndexOf('!', start - 1));
  const tagStart = source.text[mark - 1] === '!' ? mark - 1 : mark;
  return problemAt({ source, start: tagStart, end: start }, 'tag', { tag: tag.replace('tag:yaml.org,2002:', '!!') });
}

type Origin = Pick<TreeLeaf, 'place' | 'named'>;
type Pair = { readonly key: ParsedNode; readonly value: ParsedNode | null };

function entriesOf(pairs: readonly Pair[], path: Path, reading: Reading): Map<string, TreeNode> {
  const { source, problems } = reading;
  const entries = new Map<string, TreeNode>();
  for (const pair of pairs) {
    const key = isScalar(pair.key) ? String(pair.key.value ?? '') : '';
    const named: Place = { source, start: pair.key.range[0], end: pair.key.range[1] };
    const below = [...path, key];
    const value =
      pair.value === null
        ? leafNode({ place: { ...named, start: named.end }, named }, null)
        : nodeOf(pair.value, named, below, reading);
    const first = entries.get(key);
    // Such a key would set an object's prototype instead of an entry.
    if (key === '__proto__') problems.push(problemAt(named, 'unsafe-key', { path: pathWords(below) }));
    else if (first === undefined) entries.set(key, value);
    else
      problems.push(
        problemAt(named, 'duplicate-key', { path: pathWords(below), firstLine: lineOf(first.named ?? first.place) }),
      );
  }
  return entries;
}

function aliased(alias: string, origin: Origin, { problems, anchors }: Reading): TreeNode {
  const original = anchors.get(alias);
  // A bomb is defused here: what has grown too large is not copied any further.
  if (original !== undefined)
    return isWithinLimits(original) && origin.named !== undefined ? { ...original, named: origin.named } : original;
  if (anchors.has(alias)) {
    problems.push(problemAt(origin.place, 'alias-in-itself', { alias }));
  } else {
    const nearest = suggest(alias, [...anchors.keys()]);
    problems.push(problemAt(origin.place, 'unknown-alias', { alias, ...(nearest === undefined ? {} : { nearest }) }));
  }
  return { ...leafNode(origin, null), isReported: true };
}

function leafOf(value: unknown, origin: Origin, path: Path, problems: Problem[]): TreeLeaf {
  const leaf = leafNode(origin, value as TreeLeaf['value']);
  if (typeof value !== 'number' || Math.abs(value) <= maxMagnitude) return leaf;
  const facts = { path: pathWords(path), written: writtenWords(leaf) };
  // `1e999` is a number to its writer, `.inf` and `.nan` are words for none.
  if (/\d/.test(facts.written))
    problems.push(problemAt(origin.place, 'number-too-large', { ...facts, limit: maxMagnitude }));
  else problems.push(problemAt(origin.place, 'not-a-number', facts));
  return { ...leafNode(origin, null), isReported: true };
}

function lineOf({ source, start }: Place): number {
  return source.lines.linePos(start).line;
}
