/** Where a hunt takes place: a bench with what is done to it anyway, and the expectations that it tries to break. */
import { type Act, assemble, signalsOf } from '../../bench/assemble.ts';
import { loadBench } from '../../bench/load-bench.ts';
import { type DescribedPart, settleParts } from '../../bench/schema.ts';
import { actsOf, type Step, stepSchema } from '../../bench/script.ts';
import { severityOf } from '../../bench/severity.ts';
import { assert } from '../../kernel/assert.ts';
import type { SignalInfo } from '../../kernel/signal.ts';
import type { Dimension } from '../../units/index.ts';
import { expectationSchema, type Formula, parseExpectation, signalsRead } from '../../verdict/expectation.ts';
import { judge } from '../../verdict/judge.ts';
import { loadScenario } from '../../verdict/load-scenario.ts';
import type { CraftRequest } from '../many/craft.ts';
import { defaultItems, guidance, guideOf, scoreOf } from './aims.ts';
import { type ForkStep, openForks } from './forks.ts';
import { type Gene, stepOf, type Vocabulary, vocabularyOf } from './gene.ts';
import { type Reach, reachOf } from './reach.ts';

export interface HuntRequest extends CraftRequest {
  readonly kind: 'hunt';
  readonly file: string;
  readonly isBench: boolean;
  /** The scenario's own expectations, or the one that nothing drives with the foot off. */
  readonly against: 'own' | 'default';
  /** Only the expectation on this line of the scenario; null for all. */
  readonly line: number | null;
  /** What the scenario's script does happens beside what the hunt does. */
  readonly keepsSteps: boolean;
  readonly hasFaults: boolean;
  readonly durationMilliseconds: number;
  readonly seed: number;
  readonly islandRuns: number;
  readonly islands: number;
}

/** How far from breaking, in the base unit of a dimension. */
export interface Margin {
  readonly value: number;
  readonly dimension: Dimension;
}

/** What one try gave. */
export interface Tried {
  /** Place of the expectation that broke, or -1. */
  readonly broken: number;
  /** For each expectation how near to breaking, by the hunt's own scale: below 0 when broken. */
  readonly scores: readonly number[];
  readonly margins: readonly (Margin | null)[];
  /** For each what tells of coming nearer where the score is level: see aims.ts. */
  readonly guides: readonly number[];
  /** Chart transitions taken, and modes visited, each by its number on this bench. */
  readonly taken: readonly number[];
  readonly visited: readonly number[];
  readonly digest: string;
}

export interface Ground {
  readonly request: HuntRequest;
  readonly title: string;
  readonly parts: readonly DescribedPart[];
  readonly signals: ReadonlyMap<string, SignalInfo>;
  readonly vocabulary: Vocabulary;
  readonly formulas: readonly Formula[];
  /** The default expectations in the words of a file; undefined where the scenario's own are hunted. */
  readonly items: readonly Readonly<Record<string, unknown>>[] | undefined;
  /** Steps that happen anyway, in the words of a file, where the hunt brings them; the scenario's own are in the file. */
  readonly baseSteps: readonly Readonly<Record<string, unknown>>[];
  readonly reach: Reach;
  try(genes: readonly Gene[], durationMilliseconds?: number): Tried;
  /** Each try from the start, as if there were no snapshots: for comparison. */
  tryAnew(genes: readonly Gene[], durationMilliseconds?: number): Tried;
  /** Of the run in which nothing is done but what happens anyway. */
  digest(): string;
}

export function openGround(request: HuntRequest): Ground {
  const { file, isBench } = request;
  const bench = isBench ? loadBench(file).value : undefined;
  const scenario = isBench ? undefined : loadScenario(file).value;
  const parts = bench?.parts ?? scenario?.parts;
  assert(parts !== undefined, 'a file that was checked before cannot be read', { file });
  const settled = settleParts(parts);
  const signals = new Map(signalsOf(settled).map((signal) => [signal.name, signal]));
  const vocabulary = vocabularyOf(parts, request.hasFaults);
  const severity = scenario?.severity ?? severityOf(bench?.contents.severity as Parameters<typeof severityOf>[0]);
  const items = request.against === 'default' ? defaultItems(parts, severity) : undefined;
  const formulas =
    items === undefined
      ? scenario!.expectations.flatMap(({ formula, line }) => (line === (request.line ?? line) ? [formula] : []))
      : items.map((item) => read(item, signals));
  const guides = formulas.map((formula) => guideOf(formula, signals));
  const schema = stepSchema(parts);
  const written = (steps: readonly unknown[]): Act[] =>
    actsOf(
      steps.map((step): Step => schema.parse(step)),
      parts,
    );
  const isKept = scenario !== undefined && request.keepsSteps;
  // With nothing switched on nothing could happen.
  const baseSteps = isKept ? [] : vocabulary.switches.map(({ part, on }) => ({ at: '0 s', [part]: on }));
  const baseActs = isKept ? scenario.acts : written(baseSteps);
  const modeNames = parts.map(({ name }) => `${name}.mode`);
  const reach = reachOf(parts, request.hasFaults);
  // The request's seed shapes the hunt, not the runs: those have the seed that the written scenario will have.
  const runSeed = scenario?.seed ?? SEED_UNSAID;
  const gauges = guides.flatMap((guide) => (guide === undefined ? [] : [guide.signal]));
  const wanted = [...new Set([...modeNames, ...formulas.flatMap(signalsRead), ...gauges])];
  const forks = openForks(settled, runSeed, baseActs, wanted, request.durationMilliseconds / 1000);
  const forkStepOf = (gene: Gene): ForkStep => ({
    seconds: gene.at / 1000,
    key: JSON.stringify(gene),
    acts: written([stepOf(gene, vocabulary)]),
  });
  const attempt = (genes: readonly Gene[], durationMilliseconds = request.durationMilliseconds): Tried => {
    const steps = genes.map(forkStepOf).sort((a, b) => a.seconds - b.seconds);
    const { trace, taken, digest } = forks.run(steps, durationMilliseconds / 1000);
    const judged = formulas.map((formula) => judge(formula, trace));
    return {
      broken: judged.findIndex(({ holds }) => !holds),
      scores: judged.map((judgement, index) => scoreOf(judgement, formulas[index]!)),
      margins: judged.map(({ margin, unit }, index) => {
        if (!Number.isFinite(margin) || unit === null) return null;
        return { value: (formulas[index]!.isExpectedToFail ? -margin : margin) + 0, dimension: unit };
      }),
      guides: guides.map((guide) => (guide === undefined ? 0 : guidance(guide, trace))),
      taken: taken.flatMap(({ rank, counts }) =>
        [...counts].flatMap((count, index) => (count > 0 ? [reach.firsts[rank]!.transition + index] : [])),
      ),
      visited: modeNames.flatMap((name, rank) => {
        const modes = new Set([...trace.column(name)!].map(({ value }) => value));
        return [...modes].map((mode) => reach.firsts[rank]!.mode + mode);
      }),
      digest,
    };
  };
  return {
    request,
    title: bench?.title ?? scenario!.title,
    parts,
    signals,
    vocabulary,
    formulas,
    items,
    baseSteps,
    reach,
    digest: () => {
      const { kernel } = assemble(settled, runSeed, baseActs);
      kernel.run(request.durationMilliseconds / 1000);
      return kernel.digestText();
    },
    try: attempt,
    tryAnew: (genes, durationMilliseconds) => {
      forks.isForking = false;
      const tried = attempt(genes, durationMilliseconds);
      forks.isForking = true;
      return tried;
    },
  };
}

/** What a scenario file means that says no seed. */
const SEED_UNSAID = 1;

function read(item: Readonly<Record<string, unknown>>, signals: ReadonlyMap<string, SignalInfo>): Formula {
  const names = [...signals.keys()];
  const parsed = parseExpectation(expectationSchema.parse(item), (name) => signals.get(name), names);
  assert('formula' in parsed, 'the default expectation cannot be read', { item });
  return parsed.formula;
}
