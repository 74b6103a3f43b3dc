/** Where a hunt takes place: a bench with what is done to it anyway, and the expectations that it tries to break. */
import { type Act, assemble, signalsOf } from '../../bench/assemble.ts';
import { loadBench } from '../../bench/load-bench.ts';
import { type DescribedPart, settleParts } from '../../bench/schema.ts';
import { actsOf, type Step, stepSchema } from '../../bench/script.ts';
import { severityOf } from '../../bench/severity.ts';
import { tableOf } from '../../chart/table.ts';
import { assert } from '../../kernel/assert.ts';
import { NumericalBlowUp } from '../../kernel/continuum.ts';
import { record } from '../../trace/record.ts';
import { expectationSchema, type Formula, parseExpectation, signalsRead } from '../../verdict/expectation.ts';
import { judge } from '../../verdict/judge.ts';
import { loadScenario } from '../../verdict/load-scenario.ts';
import type { Scenario } from '../../verdict/run-scenario.ts';
import type { CraftRequest } from '../many/craft.ts';
import { signalsWith } from '../roles.ts';
import { type Gene, stepOf, type Vocabulary, vocabularyOf } from './gene.ts';

export interface HuntRequest extends CraftRequest {
  readonly kind: 'hunt';
  readonly file: string;
  readonly isBench: boolean;
  /** The scenario's own expectations, or the one that nothing drives with the foot off. */
  readonly against: 'own' | 'default';
  /** What the scenario's script does happens beside what the hunt does. */
  readonly keepsSteps: boolean;
  readonly hasFaults: boolean;
  readonly durationMilliseconds: number;
  readonly seed: number;
  readonly islandRuns: number;
  readonly islands: number;
}

/** What one try gave. */
export interface Tried {
  /** Place of the expectation that broke, or -1. */
  readonly broken: number;
  /** How near to breaking, each margin by its unit's own scale: below 0 when broken. */
  readonly score: number;
  /** Chart transitions taken, and modes visited, each by its number on this bench. */
  readonly taken: readonly number[];
  readonly visited: readonly number[];
}

export interface Ground {
  readonly request: HuntRequest;
  readonly title: string;
  readonly parts: readonly DescribedPart[];
  readonly vocabulary: Vocabulary;
  readonly formulas: readonly Formula[];
  /** The default expectations in the words of a file; undefined where the scenario's own are hunted. */
  readonly items: readonly Readonly<Record<string, unknown>>[] | undefined;
  /** Steps that happen anyway, in the words of a file, where the hunt brings them; the scenario's own are in the file. */
  readonly baseSteps: readonly Readonly<Record<string, unknown>>[];
  /** Names of all transitions and modes, by number. */
  readonly transitions: readonly string[];
  readonly modes: readonly string[];
  try(genes: readonly Gene[], durationMilliseconds?: number): Tried;
  /** Of the run in which nothing is done but what happens anyway. */
  digest(): string;
}

/** A millisecond counts like all of the drive or a volt: margins of unlike units are put beside each other by this. */
const TIME_SCALE_SECONDS = 1e-3;

export function openGround(request: HuntRequest): Ground {
  const { file, isBench } = request;
  const bench = isBench ? loadBench(file).value : undefined;
  const scenario = isBench ? undefined : loadScenario(file).value;
  const parts = bench?.parts ?? scenario?.parts;
  assert(parts !== undefined, 'a file that was checked before cannot be read', { file });
  const settled = settleParts(parts);
  const signals = new Map(signalsOf(settled).map((signal) => [signal.name, signal]));
  const vocabulary = vocabularyOf(parts, request.hasFaults);
  const items = request.against === 'default' ? defaultItems(parts, scenario) : undefined;
  const formulas =
    items === undefined
      ? scenario!.expectations.map(({ formula }) => formula)
      : items.map((item) => {
          const parsed = parseExpectation(expectationSchema.parse(item), (name) => signals.get(name), [
            ...signals.keys(),
          ]);
          assert('formula' in parsed, 'the default expectation cannot be read', { item });
          return parsed.formula;
        });
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
  const wanted = [...modeNames, ...formulas.flatMap(signalsRead)];
  const transitions: string[] = [];
  const modes: string[] = [];
  const firsts = parts.map(({ name, kind }) => {
    const table = tableOf(kind.chart);
    const first = { transition: transitions.length, mode: modes.length };
    transitions.push(...table.transitions.map(({ from, to, on }) => `${name}: ${from} to ${to ?? from} on ${on}`));
    modes.push(...table.leaves.map((leaf) => `${name}: ${leaf}`));
    return first;
  });
  // The request's seed shapes the hunt, not the runs: those have the seed that the written scenario will have.
  const runSeed = scenario?.seed ?? SEED_UNSAID;

  return {
    request,
    title: bench?.title ?? scenario!.title,
    parts,
    vocabulary,
    formulas,
    items,
    baseSteps,
    transitions,
    modes,
    digest: () => {
      const { kernel } = assemble(settled, runSeed, baseActs);
      kernel.run(request.durationMilliseconds / 1000);
      return kernel.digestText();
    },
    try: (genes, durationMilliseconds = request.durationMilliseconds) => {
      const acts = [...baseActs, ...written(genes.map((gene) => stepOf(gene, vocabulary)))];
      const assembly = assemble(
        settled,
        runSeed,
        acts.sort((a, b) => a.seconds - b.seconds),
      );
      const recorder = record(assembly, wanted);
      try {
        recorder.runTo(durationMilliseconds / 1000);
      } catch (error) {
        if (!(error instanceof NumericalBlowUp)) throw error;
        recorder.trace.finish(Math.max(recorder.trace.endSeconds, assembly.kernel.now[0]!));
      }
      const judged = formulas.map((formula) => judge(formula, recorder.trace));
      const scores = judged.map(({ margin, holds, unit }, index) => {
        if (!Number.isFinite(margin)) return holds ? 1 : -1;
        const gain = formulas[index]!.isExpectedToFail ? -margin : margin;
        return unit === 'time' ? gain / TIME_SCALE_SECONDS : gain;
      });
      const taken = assembly.parts.flatMap(({ attachments }, rank) =>
        attachments.flatMap(({ taken: counts }) =>
          counts === undefined
            ? []
            : [...counts].flatMap((count, index) => (count > 0 ? [firsts[rank]!.transition + index] : [])),
        ),
      );
      const visited = modeNames.flatMap((name, rank) => {
        const { values, length } = recorder.trace.column(name)!;
        return [...new Set(values.slice(0, length))].map((mode) => firsts[rank]!.mode + mode);
      });
      const broken = judged.findIndex(({ holds }) => !holds);
      return { broken, score: scores.length === 0 ? 0 : Math.min(...scores), taken, visited };
    },
  };
}

/** What a scenario file means that says no seed. */
const SEED_UNSAID = 1;

/** Nothing drives with the foot off, in the words of a file. */
function defaultItems(
  parts: readonly DescribedPart[],
  scenario: Scenario | undefined,
): Readonly<Record<string, unknown>>[] {
  const feet = signalsWith(parts, 'foot').map((name) => `${name} < 2 %`);
  const hands = signalsWith(parts, 'hand').map((name) => `${name} between -2 % and 2 %`);
  const when = [...feet, ...hands].join(' and ');
  const within = `${(scenario?.severity ?? severityOf()).return} s`;
  return signalsWith(parts, 'drive').map((drive) => ({
    when,
    then: `${drive} = 0`,
    within,
    why: 'nothing drives with the foot off',
  }));
}
