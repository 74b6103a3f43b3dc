/**
 * From an issue of the schema library to problems.
 */
import type { z } from 'zod';
import { quantityMistakeOf } from '../units/index.ts';
import { type FactsByCode, type Problem, type ProblemCode, problemAt } from './problem.ts';
import { suggest, suggestNumber } from './suggest.ts';
import {
  headPlace,
  kindWords,
  nodeAt,
  nodesAlong,
  type Path,
  pathWords,
  type TreeNode,
  valuePlace,
  writtenWords,
} from './tree.ts';

/** An issue as it was raised, with the schema that raised it. */
export interface RaisedIssue {
  readonly input?: unknown;
  readonly inst?: {
    readonly _zod: {
      readonly def: {
        readonly type?: string;
        readonly shape?: Readonly<Record<string, unknown>>;
        readonly keyType?: { readonly _zod: { readonly values?: ReadonlySet<unknown> } };
      };
    };
    readonly description?: string;
  };
}

/** What a part's own check may hand to zod as `params` of a custom issue, to be told in its words. */
export interface Refusal {
  readonly says: string;
  readonly allowed?: string;
  readonly nearest?: string;
}

export interface Validation {
  readonly tree: TreeNode;
  /** The tree's own path, which messages begin with. */
  readonly at: Path;
  readonly raised: ReadonlyMap<string, RaisedIssue>;
}

/** Begins the messages that stand for a raised issue; no sentence begins so. */
export const ticketMark = '\0';

type Issue = z.core.$ZodIssue;

/** The problems that an issue stands for; `above` is the path under which the issue's own one begins. */
export function problemsOf(issue: Issue, above: Path, validation: Validation): Problem[] {
  const path = [...above, ...issue.path.map((step) => (typeof step === 'number' ? step : String(step)))];
  const nodes = nodesAlong(validation.tree, path);
  const node = nodes.length === path.length + 1 ? nodes.at(-1) : undefined;
  if (node === undefined) return missing(issue, path, nodes, validation);
  if (node.isReported === true && node.shape === 'leaf') return [];
  const here: Here = { node, path: pathWords([...validation.at, ...path]), written: writtenWords(node) };
  switch (issue.code) {
    case 'unrecognized_keys':
      return unknownKeys(issue.keys, path, validation.raised.get(issue.message), node, validation);
    case 'invalid_union':
      return unionProblems(issue, path, here, validation);
    case 'invalid_key':
      return badName(issue, path, here, validation);
    case 'invalid_element':
      return issue.issues.flatMap((inner) => problemsOf(inner, path, validation));
    default:
      return [valueProblem(issue, here)];
  }
}

const noWords = 'this cannot be right';

/** True if the message is one of ours, by which the raised issue is found, and not the schema's own words. */
function isTicket(message: string): boolean {
  return message.startsWith(ticketMark);
}

/** The node that an issue is about, its path and its value in the user's words. */
interface Here {
  readonly node: TreeNode;
  readonly path: string;
  readonly written: string;
}

function valueProblem(issue: Issue, here: Here): Problem {
  const { path, written } = here;
  // A schema that has words of its own for its rule knows better what it wants.
  if (issue.code !== 'custom' && !isTicket(issue.message))
    return at(here, 'refused', { path, written, says: issue.message });
  switch (issue.code) {
    case 'invalid_type':
      return wrongType([issue.expected], here);
    case 'invalid_value':
      return notAllowed(issue.values, here);
    case 'too_small':
      return outOfRange('below', issue.minimum, issue.inclusive ?? true, issue.origin, here);
    case 'too_big':
      return outOfRange('above', issue.maximum, issue.inclusive ?? true, issue.origin, here);
    case 'not_multiple_of':
      return at(here, 'not-a-multiple', { path, written, divisor: String(issue.divisor) });
    case 'invalid_format':
      return at(here, 'bad-form', { path, written, form: issue.pattern ?? issue.format });
    case 'custom':
      return custom(issue, here);
    default:
      return at(here, 'refused', { path, written, says: noWords });
  }
}

function at<Code extends ProblemCode>({ node }: Here, code: Code, facts: FactsByCode[Code]): Problem {
  return problemAt(valuePlace(node), code, facts);
}

function wrongType(expected: readonly string[], here: Here): Problem {
  const { node, path, written } = here;
  const wanted = [...new Set(expected.map((type) => typeWords[type] ?? type))];
  const nearest = nearestOfType(wanted, node, written);
  return at(here, 'wrong-type', {
    path,
    got: kindWords(node),
    written,
    wanted,
    ...(nearest === undefined ? {} : { nearest }),
  });
}

const typeWords: Readonly<Record<string, string>> = {
  object: 'a map',
  record: 'a map',
  map: 'a map',
  array: 'a list',
  tuple: 'a list',
  string: 'text',
  number: 'a number',
  int: 'a whole number',
  boolean: 'true or false',
  null: 'nothing',
  undefined: 'nothing',
  never: 'nothing',
};

const booleanByWord: Readonly<Record<string, string>> = {
  yes: 'true',
  on: 'true',
  y: 'true',
  no: 'false',
  off: 'false',
  n: 'false',
};

/** What the user most likely meant to write where the type is wrong. */
function nearestOfType(wanted: readonly string[], node: TreeNode, written: string): string | undefined {
  if (node.shape !== 'leaf' || node.value === null) return undefined;
  const value = node.value;
  if (wanted.includes('true or false') && typeof value === 'string') return booleanByWord[value.toLowerCase()];
  if (wanted.includes('a whole number') && typeof value === 'number') return String(Math.round(value));
  const isNumeric = typeof value === 'string' && /^[+-]?[\d.]+$/.test(value) && Number.isFinite(Number(value));
  if (wanted.some((type) => type.endsWith('number')) && isNumeric) return value as string;
  if (wanted.includes('text') && typeof value !== 'string') return `"${written}"`;
  return wanted.includes('a list') ? `[${written}]` : undefined;
}

function notAllowed(values: readonly unknown[], here: Here): Problem {
  const { node, path, written } = here;
  if (node.shape !== 'leaf' || node.value === null)
    return wrongType([...new Set(values.map((value) => typeof value))], here);
  const allowed = values.map(String);
  const numbers = values.filter((value) => typeof value === 'number');
  const nearest =
    typeof node.value === 'number'
      ? suggestNumber(node.value, numbers)?.toString()
      : suggest(String(node.value), allowed);
  return at(here, 'not-allowed', { path, written, allowed, ...(nearest === undefined ? {} : { nearest }) });
}

const countedByOrigin: Readonly<Record<string, 'items' | 'characters' | 'entries'>> = {
  array: 'items',
  set: 'items',
  string: 'characters',
  map: 'entries',
  record: 'entries',
  object: 'entries',
};

function outOfRange(
  side: 'below' | 'above',
  limit: number | bigint,
  isInclusive: boolean,
  origin: string,
  here: Here,
): Problem {
  const { node, path, written } = here;
  const counted = countedByOrigin[origin];
  return at(here, 'out-of-range', {
    path,
    written,
    side,
    limit: String(limit),
    isInclusive,
    ...(counted === undefined ? {} : { counted, count: countOf(node) }),
  });
}

function countOf(node: TreeNode): number {
  if (node.shape === 'list') return node.items.length;
  return node.shape === 'map' ? node.entries.size : String(node.value ?? '').length;
}

function custom(issue: z.core.$ZodIssueCustom, here: Here): Problem {
  const { path, written } = here;
  const mistake = quantityMistakeOf(issue);
  if (mistake !== undefined) return at(here, 'quantity', { path, written, mistake });
  return at(here, 'refused', { path, written, ...refusalOf(issue) });
}

function refusalOf({ params, message }: z.core.$ZodIssueCustom): Refusal {
  const { says, allowed, nearest } = params ?? {};
  const plain = isTicket(message) ? noWords : message;
  return {
    says: typeof says === 'string' ? says : plain,
    ...(allowed === undefined ? {} : { allowed: Array.isArray(allowed) ? allowed.join(', ') : String(allowed) }),
    ...(nearest === undefined ? {} : { nearest: String(nearest) }),
  };
}

function unknownKeys(
  keys: readonly string[],
  path: Path,
  raised: RaisedIssue | undefined,
  node: TreeNode,
  validation: Validation,
): Problem[] {
  const allowed = allowedKeys(raised);
  return keys.slice(0, maxKeys).map((key) => {
    const child = nodeAt(node, [key]);
    // `{rest:0.91 V}` is one long key with no value.
    const [, name, rest] = (child?.shape === 'leaf' && child.value === null && /^([^:]+):(.+)$/.exec(key)) || [];
    const isGlued = name !== undefined && allowed.includes(name);
    const nearest = isGlued ? name : suggest(key, allowed);
    return problemAt(child === undefined ? headPlace(node) : headPlace(child), 'unknown-key', {
      path: pathWords([...validation.at, ...path, key]),
      key,
      allowed,
      ...(nearest === undefined ? {} : { nearest }),
      ...(isGlued ? { cure: `${name}: ${rest}` } : {}),
    });
  });
}

/** The keys of a map with fixed ones, or of one whose keys are words of a set. */
function allowedKeys(raised: RaisedIssue | undefined): string[] {
  const { shape, keyType } = raised?.inst?._zod.def ?? {};
  return shape === undefined ? [...(keyType?._zod.values ?? [])].map(String) : Object.keys(shape);
}

// More are not told anyway.
const maxKeys = 1000;

function unionProblems(issue: z.core.$ZodIssueInvalidUnion, path: Path, here: Here, validation: Validation): Problem[] {
  if (issue.discriminator !== undefined) return [notAllowed(optionsOf(issue), here)];
  // A branch that wants another type altogether is not the one that was meant.
  const meant = issue.errors.filter((branch) => !branch.some((inner) => isOfOtherType(inner, here.node)));
  if (meant.length === 0) {
    const expected = issue.errors
      .flat()
      .flatMap((inner) => (isOfOtherType(inner, here.node) ? typesWanted(inner) : []));
    const { path, written } = here;
    return [expected.length === 0 ? at(here, 'refused', { path, written, says: noWords }) : wrongType(expected, here)];
  }
  const values = meant.map(([first]) =>
    first?.code === 'invalid_value' && first.path.length === 0 ? first.values : [],
  );
  if (values.every((some) => some.length > 0)) return [notAllowed(values.flat(), here)];
  const closest = meant.reduce((least, branch) => (branch.length < least.length ? branch : least));
  return closest.flatMap((inner) => problemsOf(inner, path, validation));
}

function isOfOtherType(inner: Issue, node: TreeNode): boolean {
  if (inner.path.length > 0) return false;
  return inner.code === 'invalid_type' || (inner.code === 'invalid_value' && node.shape !== 'leaf');
}

function typesWanted(inner: Issue): string[] {
  if (inner.code === 'invalid_type') return [inner.expected];
  return inner.code === 'invalid_value' ? inner.values.map((value) => typeof value) : [];
}

function optionsOf(issue: z.core.$ZodIssueInvalidUnion): readonly unknown[] {
  return 'options' in issue ? (issue.options ?? []) : [];
}

function badName(issue: z.core.$ZodIssueInvalidKey, path: Path, { node }: Here, validation: Validation): Problem[] {
  const name = String(path.at(-1) ?? '');
  const parent = pathWords([...validation.at, ...path.slice(0, -1)]);
  return issue.issues.slice(0, 1).map((inner) => {
    if (inner.code === 'invalid_value') {
      const allowed = inner.values.map(String);
      const nearest = suggest(name, allowed);
      const full = pathWords([...validation.at, ...path]);
      return problemAt(headPlace(node), 'unknown-key', {
        path: full,
        key: name,
        allowed,
        ...(nearest === undefined ? {} : { nearest }),
      });
    }
    const form = inner.code === 'invalid_format' ? `it must have the form ${inner.pattern ?? inner.format}` : noWords;
    const says = isTicket(inner.message) ? form : inner.message;
    return problemAt(headPlace(node), 'bad-name', { path: parent, name, says });
  });
}

/** An issue at a path where nothing is written. */
function missing(issue: Issue, path: Path, nodes: readonly TreeNode[], validation: Validation): Problem[] {
  const parent = nodes.at(-1)!;
  const words = pathWords([...validation.at, ...path]);
  if (issue.code === 'custom' && quantityMistakeOf(issue) === undefined) {
    return [problemAt(headPlace(parent), 'refused', { path: words, ...refusalOf(issue) })];
  }
  const gap = gapOf(parent, path[nodes.length - 1]);
  if (gap.isReported === true) return [];
  const allowed =
    issue.code === 'invalid_value' ? issue.values : issue.code === 'invalid_union' ? optionsOf(issue) : [];
  // A quantity's meaning comes with the issue, as what raised it is a reader of texts and not the schema with the meaning.
  const means = (issue as { readonly means?: string }).means ?? validation.raised.get(issue.message)?.inst?.description;
  return [
    problemAt(headPlace(gap), 'missing-key', {
      path: words,
      ...(allowed.length === 0 ? {} : { allowed: allowed.map(String) }),
      ...(means === undefined ? {} : { means }),
    }),
  ];
}

/** What a copy lacks because its original lacks it is missing in the original. */
function gapOf(parent: TreeNode, key: string | number | undefined): TreeNode {
  let gap = parent;
  while (gap.shape === 'map' && gap.likeOf !== undefined && !gap.likeOf.entries.has(String(key))) gap = gap.likeOf;
  return gap;
}
