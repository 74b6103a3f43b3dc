/**
 * A suite: scenarios that fit any bench, because names, values and limits in them are taken from the bench they are run on.
 *
 *     each: { controller: controllers }        `{controller}` is each name under `controllers` of the bench; a step or an
 *                                              expectation that holds it is written once for each
 *     values: { ready: ['{controllers.*.boot}', '1 s'] }   a list is a sum of times; `*` takes the largest of all
 *     '{ready}', '{controllers.{controller}.pulse.full}'   stand for a value above, or for one of the bench
 *     '{selector.positions.last}'              the last of a list
 *     where: selector                          only on a bench that has this section
 *
 * The scenarios are made as trees whose nodes keep their places, so that what is wrong is shown in the suite's own file.
 */
import { resolve } from 'node:path';
import { z } from 'zod';
import { type Bench, type Loaded, loadBench } from '../bench/load-bench.ts';
import { hasErrors, type Problem, problemAt, sortProblems } from '../bench/problem.ts';
import { readSource } from '../bench/source.ts';
import { headPlace, leafNode, listNode, mapNode, type TreeMap, type TreeNode, valuePlace } from '../bench/tree.ts';
import { validate } from '../bench/validate.ts';
import { formatQuantity, isQuantity, parseQuantity, type Quantity } from '../units/index.ts';
import { scenarioOf } from '../verdict/load-scenario.ts';
import type { Scenario } from '../verdict/run-scenario.ts';

const texts = z.union([z.string(), z.array(z.string()).min(1)]);

export const suiteFileSchema = z.strictObject({
  suite: z.string().min(1).max(200).describe('name of the suite'),
  about: z.string().max(4000).optional().describe('what it is for, and what passing it does not mean'),
  each: z
    .record(z.string().regex(/^[a-z][a-z0-9-]*$/), z.string())
    .optional()
    .describe('names that stand for each member of a section of the bench: { controller: controllers }'),
  values: z
    .record(z.string().regex(/^[a-z][a-z0-9-]*$/), texts)
    .optional()
    .describe('values by name; a list is a sum of times'),
  scenarios: z
    .array(
      z.looseObject({
        scenario: z.string().min(1).max(200),
        after: z.string().max(1000).optional().describe('the published heading that it follows'),
        where: texts.optional().describe('sections or values that the bench must have; else the scenario is left out'),
      }),
    )
    .min(1)
    .max(200),
});

export interface Suite {
  readonly title: string;
  readonly about: string;
  readonly scenarios: readonly Scenario[];
  /** Scenarios that this bench has no use for, and what it lacks. */
  readonly leftOut: readonly { readonly scenario: string; readonly lacks: string }[];
}

interface SuiteSource {
  readonly contents: z.output<typeof suiteFileSchema>;
  readonly tree: TreeMap;
}

/** A suite's file by itself: its form, without the bench that fills it in. */
export function readSuite(suiteFile: string): Loaded<SuiteSource> {
  const { tree, problems } = readSource(suiteFile);
  if (tree === undefined) return { problems };
  const validated = validate(suiteFileSchema, tree);
  if ('problems' in validated) return { problems: sortProblems([...problems, ...validated.problems]) };
  return { value: { contents: validated.value, tree }, problems };
}

/** The scenarios of a suite for a bench, or all that is wrong with either. */
export function loadSuite(suiteFile: string, benchFile: string): Loaded<Suite> {
  const read = readSuite(suiteFile);
  const bench = loadBench(benchFile);
  if (read.value === undefined || bench.value === undefined) {
    return { problems: sortProblems([...read.problems, ...bench.problems]) };
  }
  const { contents, tree: suite } = read.value;
  const expander = new Expander(bench.value, contents.each ?? {}, suite);
  const scenarios: Scenario[] = [];
  const leftOut: { scenario: string; lacks: string }[] = [];
  const problems: Problem[] = [...read.problems];
  const nodes = (suite.entries.get('scenarios') as { readonly items: readonly TreeNode[] }).items;
  for (const [index, node] of nodes.entries()) {
    const { scenario: name, after, where } = contents.scenarios[index]!;
    const lacks = expander.lacking(where);
    if (lacks !== undefined) {
      leftOut.push({ scenario: name, lacks });
      continue;
    }
    const title = `${contents.suite}: ${name}${after === undefined ? '' : ` (after ${after})`}`;
    const tree = expander.scenarioTree(node as TreeMap, title, resolve(benchFile));
    const loaded = scenarioOf(suiteFile, { tree, problems: [] });
    problems.push(...loaded.problems);
    if (loaded.value !== undefined) scenarios.push(loaded.value);
  }
  const found = unlike([...expander.problems, ...problems]);
  if (hasErrors(found)) return { problems: found };
  return { value: { title: contents.suite, about: contents.about ?? '', scenarios, leftOut }, problems: found };
}

/** One mistake in a suite shows up in each scenario and for each controller; it is told once. */
function unlike(problems: readonly Problem[]): readonly Problem[] {
  const seen = new Set<string>();
  return sortProblems(
    problems.filter((problem) => {
      const key = JSON.stringify([problem.file, problem.line, problem.column, problem.code, problem.facts]);
      return !seen.has(key) && seen.add(key);
    }),
  );
}

type Names = Readonly<Record<string, string>>;

/** Steps at which a value may refer to another one: more are a circle. */
const REFERENCES_DEEP = 20;

class Expander {
  readonly problems: Problem[] = [];
  private readonly bench: Bench;
  private readonly each: ReadonlyMap<string, readonly string[]>;
  private readonly values: ReadonlyMap<string, TreeNode>;

  constructor(bench: Bench, each: Names, suite: TreeMap) {
    this.bench = bench;
    this.each = new Map(
      Object.entries(each).map(([name, section]) => {
        const [family] = this.lookUp(section.split('.'));
        return [name, typeof family === 'object' && family !== null ? Object.keys(family) : []];
      }),
    );
    const values = suite.entries.get('values');
    this.values = values?.shape === 'map' ? values.entries : new Map();
  }

  /** The first of these that the bench has not; undefined when it has all. */
  lacking(where: string | readonly string[] | undefined): string | undefined {
    const wanted = where === undefined ? [] : typeof where === 'string' ? [where] : where;
    return wanted.find((path) => this.lookUp(path.split('.')).length === 0);
  }

  scenarioTree(node: TreeMap, title: string, benchFile: string): TreeMap {
    const entries = new Map<string, TreeNode>();
    for (const [key, value] of node.entries) {
      if (key === 'after' || key === 'where') continue;
      entries.set(key, this.expanded(value, {}));
    }
    entries.set('scenario', leafNode(node.entries.get('scenario')!, title));
    entries.set('bench', leafNode(node, benchFile));
    return mapNode(node, entries);
  }

  private expanded(node: TreeNode, names: Names): TreeNode {
    if (node.shape === 'leaf') {
      return typeof node.value === 'string' ? leafNode(node, this.textOf(node.value, names, node, 0)) : node;
    }
    if (node.shape === 'list')
      return listNode(
        node,
        node.items.flatMap((item) => this.itemsOf(item, names)),
      );
    return mapNode(
      node,
      new Map(
        [...node.entries].map(([key, value]) => [this.textOf(key, names, value, 0), this.expanded(value, names)]),
      ),
    );
  }

  /** A list's item: once for each member that it speaks of, and not at all where the bench has no use for it. */
  private itemsOf(item: TreeNode, names: Names): TreeNode[] {
    const where = item.shape === 'map' ? item.entries.get('where') : undefined;
    if (where?.shape === 'leaf' && this.lacking(String(where.value)) !== undefined) return [];
    const open = [...this.each.keys()].find((name) => !(name in names) && speaksOf(item, `{${name}}`));
    if (open === undefined) return [this.expanded(where === undefined ? item : without(item as TreeMap), names)];
    return this.each.get(open)!.flatMap((member) => this.itemsOf(item, { ...names, [open]: member }));
  }

  /** The text with all that stands in braces replaced. */
  private textOf(text: string, names: Names, node: TreeNode, depth: number): string {
    const named = Object.entries(names).reduce((all, [name, member]) => all.replaceAll(`{${name}}`, member), text);
    return named.replace(/\{([^{}]*)\}/g, (whole, reference: string) => {
      if (depth > REFERENCES_DEEP) return this.refuse(node, `the value {${reference}} refers to itself`, whole);
      const value = this.values.get(reference);
      if (value !== undefined) return this.valueOf(value, names, depth + 1);
      const found = this.lookUp(reference.split('.'));
      const quantities = found.filter(isQuantity);
      if (quantities.length > 0) return textOfLargest(quantities);
      if (found.length === 1 && typeof found[0] !== 'object') return String(found[0]);
      return this.refuse(node, `the bench ${this.bench.file} has no value ${reference}`, whole);
    });
  }

  private valueOf(node: TreeNode, names: Names, depth: number): string {
    if (node.shape === 'leaf') return this.textOf(String(node.value), names, node, depth);
    if (node.shape === 'map') return '';
    const sum = node.items.reduce((total, item) => {
      const text = this.textOf(item.shape === 'leaf' ? String(item.value) : '', names, item, depth);
      const parsed = parseQuantity(text, 'time');
      if ('quantity' in parsed) return total + parsed.quantity.value;
      this.refuse(item, `${text} is no time, and a list is a sum of times`, '');
      return total;
    }, 0);
    return textOfSeconds(sum);
  }

  private refuse(node: TreeNode, says: string, instead: string): string {
    this.problems.push(
      problemAt(node.shape === 'leaf' ? valuePlace(node) : headPlace(node), 'refused', { path: '', says }),
    );
    return instead;
  }

  /** What the bench has at a path; several where `*` stands for all members. */
  private lookUp(path: readonly string[]): unknown[] {
    return path.reduce<unknown[]>(
      (nodes, key) =>
        nodes.flatMap((node) => {
          if (typeof node !== 'object' || node === null || isQuantity(node)) return [];
          if (key === '*') return Object.values(node);
          if (key === 'last' && Array.isArray(node)) return node.slice(-1);
          const below = (node as Readonly<Record<string, unknown>>)[key];
          return below === undefined ? [] : [below];
        }),
      [this.bench.contents],
    );
  }
}

function speaksOf(node: TreeNode, mark: string): boolean {
  if (node.shape === 'leaf') return typeof node.value === 'string' && node.value.includes(mark);
  if (node.shape === 'list') return node.items.some((item) => speaksOf(item, mark));
  return [...node.entries].some(([key, value]) => key.includes(mark) || speaksOf(value, mark));
}

function without(item: TreeMap): TreeMap {
  return mapNode(item, new Map([...item.entries].filter(([key]) => key !== 'where')));
}

/** As a file would have it, without its tolerance: limits and instants are numbers. */
function textOfLargest(quantities: readonly Quantity[]): string {
  const largest = quantities.reduce((best, quantity) => (quantity.value > best.value ? quantity : best));
  return formatQuantity(largest.value, largest.dimension, { digits: 15 });
}

/** Whole microseconds: sums of times as people write them are then met exactly. */
function textOfSeconds(seconds: number): string {
  return `${Math.round(seconds * 1e6) / 1e6} s`;
}
