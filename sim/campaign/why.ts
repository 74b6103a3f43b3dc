/**
 * Why did a scenario end as it did, and what would have turned it? The margins of its expectations, the cause chains of
 * those that were not met, and for each number and choice on the bench the nearest value, up and down, that alone
 * would turn the verdict: found by running the scenario with that value, never by formula.
 *
 * Which verdict is asked about:
 *     some expectations failed                 what turns each of them
 *     all as stated, some stated to fail       what makes those come true (what would arm a controller that refuses)
 *     all came true                            what breaks any of them: how far each number is from breaking it
 */
import { rules } from '../../models/rules.ts';
import { looseEnds } from '../bench/assemble.ts';
import { type DescribedPart, settleParts } from '../bench/schema.ts';
import type { Dimension } from '../units/index.ts';
import { runScenario, type Scenario, type ScenarioRun } from '../verdict/run-scenario.ts';
import { type Choice, type Parameter, parametersOf, type QuantityParameter, withValue } from './why/parameters.ts';
import { axisOf } from './why/range.ts';
import { type Breathe, isSameTrace, type Outcome, trialOf, truthsOf } from './why/trial.ts';
import { type Reading, type Turn, turnsAlong } from './why/turning.ts';

export interface WhyOptions {
  /** Ends the search early; the report then holds what was found so far. */
  readonly signal?: AbortSignal;
  /** Told of each parameter before it is searched. */
  readonly progress?: (done: number, total: number, path: string) => void;
  /** Told of the changes of each parameter as they are found; what else they change is only known at the end. */
  readonly found?: (changes: readonly Change[]) => void;
  /** Parameters to search; without it, all. */
  readonly only?: (path: string) => boolean;
  /** `mend` asks nothing of a scenario in which all came true. */
  readonly question?: 'mend';
  /** False leaves the causes out of the report's run. */
  readonly causes?: boolean;
  /**
   * Called often, in the middle of runs too; the search waits for the promise that it may give. Without it, others get
   * their turn after every few runs.
   */
  readonly breathe?: Breathe;
}

/** Every number and choice that would be tried, by its path. */
export function pathsOf(scenario: Scenario): string[] {
  return parametersOf(scenario.parts).map(({ path }) => path);
}

/** One value that, changed alone, turns expectations in question. */
export interface Change {
  readonly path: string;
  /** Parts that were changed together. */
  readonly members: readonly string[];
  readonly isSymmetric: boolean;
  readonly from: Choice;
  /** A value that turns them: the nearest one, or a rounder one at most a hundredth further off. */
  readonly to: Choice;
  readonly dimension: Dimension | null;
  readonly direction: 'down' | 'up' | 'other';
  /** |to - from| / |from|; for a ratio that stands at 0, `to` itself. Null where neither can be said. */
  readonly relative: number | null;
  /** For numbers: the last value seen not to turn them, and the nearest seen to do so. */
  readonly edge: readonly [same: number, turned: number] | null;
  /** Further off it turns back: a value at which it has. */
  readonly back: number | null;
  /** Places, in the scenario's list, of the expectations asked about that it turns. */
  readonly turns: readonly number[];
  /** Places of those not asked about whose outcome changes along with them: asked for what mends, this is what it breaks. */
  readonly alsoTurns: readonly number[];
}

export interface WhyReport {
  readonly run: ScenarioRun;
  readonly question: 'mend' | 'break';
  /** Places of the expectations asked about. */
  readonly asked: readonly number[];
  /** The smallest first, as a share of the value itself; those without such a share last. */
  readonly changes: readonly Change[];
  /** Parameters that made no difference to any signal in question. */
  readonly inert: readonly string[];
  /** Parameters that made a difference, but turned nothing as far as they were searched. */
  readonly steady: readonly string[];
  readonly runCount: number;
  /** Numbers and choices that were searched to the end, of how many that were to be. */
  readonly triedCount: number;
  readonly parameterCount: number;
  readonly isInterrupted: boolean;
}

export async function why(scenario: Scenario, options: WhyOptions = {}): Promise<WhyReport> {
  const run = runScenario(scenario, { causes: options.causes !== false });
  const { asked, question } = questionOf(run, options.question);
  const search = await Search.begin(scenario, asked, question === 'break', options);
  const changes: Change[] = [];
  const inert: string[] = [];
  const steady: string[] = [];
  const parameters =
    asked.length === 0 ? [] : parametersOf(scenario.parts).filter(({ path }) => options.only?.(path) ?? true);
  let isInterrupted = false;
  let triedCount = 0;
  for (const [index, parameter] of parameters.entries()) {
    options.progress?.(index, parameters.length, parameter.path);
    try {
      const found = await search.changesOf(parameter);
      if (found === 'inert') inert.push(parameter.path);
      else if (found.length === 0) steady.push(parameter.path);
      else {
        const kept = question === 'break' ? nearestOnly(found) : found;
        changes.push(...kept);
        options.found?.(kept);
      }
      triedCount += 1;
    } catch (error) {
      if (options.signal?.aborted !== true) throw error;
      isInterrupted = true;
      break;
    }
  }
  const told = await withBesides(changes, { run, asked }, parameters, options.breathe);
  return {
    run,
    question,
    asked,
    changes: ranked(told, question),
    inert,
    steady,
    runCount: search.runCount,
    triedCount,
    parameterCount: parameters.length,
    isInterrupted,
  };
}

function questionOf(
  { expectations }: ScenarioRun,
  wanted: WhyOptions['question'],
): { asked: readonly number[]; question: 'mend' | 'break' } {
  const placesOf = (wanted: (index: number) => boolean): number[] =>
    expectations.flatMap((_, index) => (wanted(index) ? [index] : []));
  const failed = placesOf((index) => !expectations[index]!.holds);
  if (failed.length > 0) return { asked: failed, question: 'mend' };
  const untrue = placesOf((index) => !expectations[index]!.truth);
  if (untrue.length > 0) return { asked: untrue, question: 'mend' };
  return wanted === 'mend' ? { asked: [], question: 'mend' } : { asked: placesOf(() => true), question: 'break' };
}

type Verdicts = Pick<Outcome, 'truths' | 'margins' | 'ranAway'> & { readonly isAsBase?: boolean };

/** Runs between two looks at the world outside, so that an interrupt is heard. */
const RUNS_PER_BREATH = 16;

class Search {
  runCount = 0;
  private readonly trial: ReturnType<typeof trialOf>;
  private readonly base: Outcome;
  private readonly scenario: Scenario;
  private readonly asked: readonly number[];
  private readonly signal: AbortSignal | undefined;

  private readonly isNearestEnough: boolean;

  /** `isNearestEnough` asks of each number only for the nearest value each way that turns any expectation. */
  static async begin(
    scenario: Scenario,
    asked: readonly number[],
    isNearestEnough: boolean,
    { signal, breathe }: WhyOptions,
  ): Promise<Search> {
    const trial = trialOf(scenario, asked, breathe);
    return new Search(scenario, asked, isNearestEnough, signal, trial, await trial(scenario.parts));
  }

  private constructor(
    scenario: Scenario,
    asked: readonly number[],
    isNearestEnough: boolean,
    signal: AbortSignal | undefined,
    trial: ReturnType<typeof trialOf>,
    base: Outcome,
  ) {
    this.isNearestEnough = isNearestEnough;
    this.scenario = scenario;
    this.asked = asked;
    this.signal = signal;
    this.trial = trial;
    this.base = base;
  }

  async changesOf(parameter: Parameter): Promise<Change[] | 'inert'> {
    return parameter.kind === 'quantity' ? this.ofQuantity(parameter) : this.ofChoice(parameter);
  }

  private async ofQuantity(parameter: QuantityParameter): Promise<Change[] | 'inert'> {
    const { parts } = this.scenario;
    const isInOrder = (value: number): boolean => keepsRules(withValue(parts, parameter, value));
    const axis = axisOf(parameter, isInOrder);
    // The traces are not kept: a search makes thousands.
    const verdicts = new Map<number, Verdicts>([[axis.base, { ...this.base, isAsBase: true }]]);
    const read = async (value: number): Promise<Verdicts> => {
      const known = verdicts.get(value);
      if (known !== undefined) return known;
      const { truths, margins, ranAway, trace } = await this.outcomeOf(withValue(parts, parameter, value));
      const verdict = { truths, margins, ranAway, isAsBase: !ranAway && isSameTrace(trace, this.base.trace) };
      verdicts.set(value, verdict);
      return verdict;
    };
    const ends = [await read(axis.points[0]!), await read(axis.points.at(-1)!)];
    if (ends.every(({ isAsBase }) => isAsBase)) return 'inert';
    const changes: Change[] = [];
    const reaches: { down?: number; up?: number } = {};
    for (const [place, expectation] of this.asked.entries()) {
      const turns = await turnsAlong(axis, async (value) => this.reading(await read(value), place), reaches);
      for (const direction of ['down', 'up'] as const) {
        const turn = turns[direction];
        if (turn === undefined || !parameter.takes(turn.short) || !isInOrder(turn.short)) continue;
        if (this.isNearestEnough) reaches[direction] = turn.turned;
        addTo(changes, changeOf(parameter, turn, direction, expectation));
      }
    }
    return changes;
  }

  private async ofChoice(parameter: Parameter & { kind: 'choice' }): Promise<Change[] | 'inert'> {
    const { parts } = this.scenario;
    const changes: Change[] = [];
    let isInert = true;
    for (const choice of parameter.choices) {
      if (choice === parameter.value) continue;
      const changed = withValue(parts, parameter, choice);
      // A choice may also wire a part to what is not there.
      if (!keepsRules(changed) || looseEnds(settleParts(changed)).length > 0) continue;
      const outcome = await this.outcomeOf(changed);
      if (outcome.ranAway || !isSameTrace(outcome.trace, this.base.trace)) isInert = false;
      const turns = this.asked.filter((_, place) => this.reading(outcome, place).isTurned);
      if (turns.length > 0) changes.push(choiceChange(parameter, choice, turns));
    }
    return isInert ? 'inert' : nearestChoices(changes);
  }

  private reading(outcome: Verdicts, place: number): Reading {
    if (outcome.ranAway) return { isTurned: false, gain: Number.NEGATIVE_INFINITY, isInert: false };
    const isTurned = outcome.truths[place] !== this.base.truths[place];
    const margin = Math.abs(outcome.margins[place]!);
    return { isTurned, gain: isTurned ? margin : -margin, isInert: outcome.isAsBase === true };
  }

  private async outcomeOf(parts: readonly DescribedPart[]): Promise<Outcome> {
    this.runCount += 1;
    if (this.runCount % RUNS_PER_BREATH === 0) await new Promise((resolve) => setImmediate(resolve));
    this.signal?.throwIfAborted();
    return this.trial(parts);
  }
}

/** Whether `check` would take such a bench. */
function keepsRules(parts: readonly DescribedPart[]): boolean {
  return rules(parts).every(({ severity }) => severity !== 'error');
}

function changeOf(parameter: QuantityParameter, turn: Turn, direction: 'down' | 'up', expectation: number): Change {
  const { path, members, isSymmetric, value, dimension } = parameter;
  const distance = Math.abs(turn.short - value);
  return {
    path,
    members,
    isSymmetric,
    from: value,
    to: turn.short,
    dimension,
    direction,
    relative: value !== 0 ? distance / scaleOf(value, dimension) : dimension === 'ratio' ? distance : null,
    edge: [turn.same, turn.turned],
    back: turn.back ?? null,
    turns: [expectation],
    alsoTurns: [],
  };
}

/** A temperature counts from absolute zero: a share of degrees Celsius means nothing. */
function scaleOf(value: number, dimension: Dimension): number {
  return dimension === 'temperature' ? value + 273.15 : Math.abs(value);
}

function choiceChange({ path, members, value }: Parameter, choice: Choice, turns: readonly number[]): Change {
  const isNumber = typeof value === 'number' && typeof choice === 'number';
  return {
    path,
    members,
    isSymmetric: false,
    from: value,
    to: choice,
    dimension: null,
    direction: !isNumber ? 'other' : choice < value ? 'down' : 'up',
    relative: isNumber && value !== 0 ? Math.abs(choice - value) / Math.abs(value) : null,
    edge: null,
    back: null,
    turns,
    alsoTurns: [],
  };
}

/** Of numbers to choose from the nearest each way, for each set of expectations that it turns; of words all. */
function nearestChoices(changes: readonly Change[]): Change[] {
  const nearness = ({ relative }: Change): number => relative ?? Number.POSITIVE_INFINITY;
  const seen = new Set<string>();
  return [...changes]
    .sort((a, b) => nearness(a) - nearness(b))
    .filter(({ direction, turns, relative }) => {
      const key = `${direction} ${turns.join()}`;
      if (relative === null || !seen.has(key)) {
        seen.add(key);
        return true;
      }
      return false;
    });
}

/** Two expectations that turn at one value are one change. */
function addTo(changes: Change[], change: Change): void {
  const twin = changes.findIndex((other) => other.direction === change.direction && other.to === change.to);
  if (twin === -1) changes.push(change);
  else changes[twin] = { ...changes[twin]!, turns: [...changes[twin]!.turns, ...change.turns] };
}

/** Asked what breaks anything, only the first break each way counts. */
function nearestOnly(changes: readonly Change[]): Change[] {
  const distance = ({ from, to }: Change): number => Math.abs(Number(to) - Number(from));
  return (['down', 'up', 'other'] as const).flatMap((direction) => {
    const there = changes.filter((change) => change.direction === direction);
    if (direction === 'other') return there;
    return there.sort((a, b) => distance(a) - distance(b)).slice(0, 1);
  });
}

/** What mends more comes first, then what breaks less by it, then what is nearer; words, which have no distance, last. */
export function ranked(changes: readonly Change[], question: WhyReport['question']): Change[] {
  const rank = ({ relative, from }: Change): number => relative ?? (typeof from === 'number' ? 1e9 : 2e9);
  const reward = ({ turns }: Change): number => (question === 'mend' ? turns.length : 0);
  const harm = ({ alsoTurns }: Change): number => (question === 'mend' ? alsoTurns.length : 0);
  return [...changes].sort((a, b) => reward(b) - reward(a) || harm(a) - harm(b) || rank(a) - rank(b));
}

/** With what else changes when each is changed: told by one more run of all expectations, until the last is decided. */
async function withBesides(
  changes: readonly Change[],
  { run, asked }: Pick<WhyReport, 'run' | 'asked'>,
  parameters: readonly Parameter[],
  breathe: Breathe | undefined,
): Promise<Change[]> {
  const { scenario, expectations } = run;
  const truthsWith = truthsOf(scenario, breathe);
  const told: Change[] = [];
  for (const change of changes) {
    const parameter = parameters.find(({ path }) => path === change.path)!;
    const truths = await truthsWith(withValue(scenario.parts, parameter, change.to));
    const turned = expectations.flatMap(({ truth }, index) => (truth === truths[index]! ? [] : [index]));
    told.push({
      ...change,
      // Others that were asked about may have turned nearer by: at this value they have turned as well.
      turns: asked.filter((index) => change.turns.includes(index) || turned.includes(index)),
      alsoTurns: turned.filter((index) => !asked.includes(index)),
    });
  }
  return told;
}
