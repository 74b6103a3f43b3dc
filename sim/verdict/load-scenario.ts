/** From a scenario file to a scenario that can be run, or to all that is wrong with it and with its bench, at once. */
import { dirname, isAbsolute, join } from 'node:path';
import { z } from 'zod';
import { signalsOf } from '../bench/assemble.ts';
import { type Bench, type Loaded, loadBench } from '../bench/load-bench.ts';
import { positionOf } from '../bench/place.ts';
import { hasErrors, type Problem, problemAt, sortProblems } from '../bench/problem.ts';
import { settleParts } from '../bench/schema.ts';
import { actsOf, type Step, stepMistakes, stepSchema } from '../bench/script.ts';
import { severityOf } from '../bench/severity.ts';
import { readSource, type SourceRead } from '../bench/source.ts';
import { headPlace, nodeAt, pathWords, placeInText, type TreeMap, type TreeNode, valuePlace } from '../bench/tree.ts';
import { validate } from '../bench/validate.ts';
import type { SignalInfo } from '../kernel/signal.ts';
import { count, type Quantity, seconds } from '../units/index.ts';
import { type ExpectationItem, expectationSchema, parseExpectation } from './expectation.ts';
import type { Expectation, Scenario } from './run-scenario.ts';
import { expectationMistakeWords } from './words.ts';

/** The schema of a scenario file whose steps have this form. */
export function scenarioFileSchema(step: z.ZodType): z.ZodObject {
  return z.strictObject({
    scenario: z
      .string()
      .min(1)
      .max(200)
      .describe('name of the scenario')
      .meta({ examples: ['cold start, foot off the pedal'] }),
    about: z
      .string()
      .max(4000)
      .optional()
      .describe('why it exists')
      .meta({ examples: ['the first thing that anybody does with it'] }),
    bench: z
      .string()
      .min(1)
      .max(1000)
      .describe('bench file, as seen from this file')
      .meta({ examples: ['bench.yaml'] }),
    with: z.record(z.string(), z.unknown()).optional().describe('values laid over the bench, by dotted path'),
    seed: count({ min: 0, max: 2 ** 31 - 1, means: 'seed of all chance', example: 7 }).prefault(1),
    duration: seconds({ above: 0, max: 1e6, means: 'how long it runs', example: '6 s' }),
    steps: z.array(step).max(10_000).prefault([]).describe('what happens, and when'),
    expect: z.array(expectationSchema).max(1000).prefault([]).describe('what must hold'),
    spread: spreadSchema.optional().describe('how `jackstand spread` draws from the tolerances'),
  });
}

const spreadSchema = z.strictObject({
  draws: z
    .int()
    .min(1)
    .max(1_000_000)
    .optional()
    .describe('how many draws')
    .meta({ examples: [500] }),
  law: z
    .enum(['uniform', 'normal', 'corners'])
    .optional()
    .describe('anywhere in the tolerance; the tolerance as three standard deviations; at its ends'),
  sampling: z
    .enum(['latin', 'random'])
    .optional()
    .describe('a Latin hypercube, which meets each part of each range, or independent draws'),
});

interface ScenarioContents {
  readonly scenario: string;
  readonly bench: string;
  readonly seed: Quantity;
  readonly duration: Quantity;
  readonly steps: readonly Step[];
  readonly expect: readonly ExpectationItem[];
  readonly spread?: z.output<typeof spreadSchema>;
}

export function loadScenario(path: string): Loaded<Scenario> {
  return scenarioOf(path, readSource(path));
}

/** As `loadScenario`, for a file already read, or for a tree that stands for one; `path` is where it looks for its bench. */
export function scenarioOf(path: string, read: SourceRead): Loaded<Scenario> {
  if (read.tree === undefined) return { problems: read.problems };
  const { tree } = read;
  const stranger = tree.entries.get('bench');
  if (stranger !== undefined && !['scenario', 'duration', 'expect'].some((key) => tree.entries.has(key)))
    return {
      problems: [
        problemAt(headPlace(stranger), 'refused', { path: '', says: 'this is a bench; a scenario is wanted here' }),
      ],
    };
  const bench = benchOf(path, tree);
  const step = bench.value === undefined ? z.looseObject({}) : stepSchema(bench.value.parts);
  const validated = validate(scenarioFileSchema(step), tree);
  if ('problems' in validated)
    return { problems: sortProblems([...read.problems, ...bench.problems, ...validated.problems]) };
  if (bench.value === undefined) return { problems: sortProblems([...read.problems, ...bench.problems]) };
  const contents = validated.value as unknown as ScenarioContents;
  const expectations = readExpectations(contents, bench.value, tree);
  const problems = sortProblems([
    ...read.problems,
    ...bench.problems,
    ...stepProblems(contents, tree),
    ...expectations.problems,
  ]);
  if (hasErrors(problems)) return { problems };
  return {
    value: {
      title: contents.scenario,
      file: path,
      benchTitle: bench.value.title,
      parts: bench.value.parts,
      seed: contents.seed.value,
      durationSeconds: contents.duration.value,
      acts: actsOf(contents.steps, bench.value.parts),
      expectations: expectations.list,
      severity: severityOf(bench.value.contents.severity as Parameters<typeof severityOf>[0]),
      ...(contents.spread === undefined ? {} : { spread: contents.spread }),
    },
    problems,
  };
}

/** The bench that the scenario names, with its overrides laid on. Silent where the name itself is missing or wrong. */
function benchOf(path: string, tree: TreeMap): Loaded<Bench> {
  const named = tree.entries.get('bench');
  if (named === undefined || named.shape !== 'leaf' || typeof named.value !== 'string' || named.value === '')
    return { problems: [] };
  const overrides = tree.entries.get('with');
  const file = isAbsolute(named.value) ? named.value : join(dirname(path), named.value);
  const loaded = loadBench(file, overrides?.shape === 'map' ? overrides : undefined);
  // A file that is not there is the scenario's mistake, so the scenario's line is shown.
  const [first] = loaded.problems;
  if (first?.code === 'no-such-file' || first?.code === 'not-a-file')
    return { problems: [{ ...first, ...positionOf(valuePlace(named)) }] };
  return loaded;
}

function stepProblems(contents: ScenarioContents, tree: TreeMap): Problem[] {
  return contents.steps.flatMap((step, index) => {
    const node = nodeAt(tree, ['steps', index])!;
    const problems = stepMistakes(step).map(({ key, says }) => {
      const child = key === undefined ? undefined : nodeAt(node, [key]);
      return problemAt(child === undefined ? headPlace(node) : headPlace(child), 'refused', {
        path: pathWords(['steps', index, ...(key === undefined ? [] : [key])]),
        says,
      });
    });
    if (step.at.value > contents.duration.value) {
      const at = nodeAt(node, ['at'])!;
      problems.push(
        problemAt(
          valuePlace(at),
          'refused',
          { path: `steps[${index}].at`, says: `the scenario ends before this, after ${contents.duration.text}` },
          'warning',
        ),
      );
    }
    return problems;
  });
}

function readExpectations(
  contents: ScenarioContents,
  bench: Bench,
  tree: TreeMap,
): { list: Expectation[]; problems: Problem[] } {
  const signals = new Map<string, SignalInfo>(
    signalsOf(settleParts(bench.parts)).map((signal) => [signal.name, signal]),
  );
  const names = [...signals.keys()];
  const list: Expectation[] = [];
  const problems: Problem[] = [];
  contents.expect.forEach((item, index) => {
    const node = nodeAt(tree, ['expect', index]) as TreeNode;
    const parsed = parseExpectation(item, (name) => signals.get(name), names);
    if ('formula' in parsed) {
      list.push({ formula: parsed.formula, line: positionOf(node.place).line });
      return;
    }
    for (const mistake of parsed.mistakes) {
      const child = nodeAt(node, [mistake.key]);
      const place =
        child === undefined
          ? headPlace(node)
          : mistake.length === 0
            ? headPlace(child)
            : placeInText(child, mistake.offset, mistake.offset + mistake.length);
      const words = expectationMistakeWords(mistake);
      problems.push(
        problemAt(place, 'refused', {
          path: `expect[${index}].${mistake.key}`,
          says: words.says,
          ...(words.allowed === undefined ? {} : { allowed: words.allowed }),
          ...(words.nearest === undefined ? {} : { nearest: words.nearest }),
        }),
      );
    }
  });
  return { list, problems };
}
