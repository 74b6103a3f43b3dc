/**
 * One run of a scenario with something changed, judged only for the expectations in question: it records only what
 * they read and ends as soon as the last of them is decided.
 */
import { type Assembly, assemble, type SettledPart } from '../../bench/assemble.ts';
import { type DescribedPart, settleParts } from '../../bench/schema.ts';
import { NumericalBlowUp } from '../../kernel/continuum.ts';
import { GRID_PER_SECOND, type Recorder, record } from '../../trace/record.ts';
import type { Trace } from '../../trace/trace.ts';
import { type Formula, signalsRead } from '../../verdict/expectation.ts';
import { judge } from '../../verdict/judge.ts';
import type { Scenario } from '../../verdict/run-scenario.ts';

/** What became of the expectations in question, in their order, and what was recorded to tell. */
export interface Outcome {
  readonly truths: readonly boolean[];
  /** In base units, infinite where there is none. */
  readonly margins: readonly number[];
  readonly trace: Trace;
  /** The numbers ran away before the end: what was judged until then says nothing. */
  readonly ranAway: boolean;
}

/** Asked in the middle of runs; a promise where the world outside is to be let in first. */
export type Breathe = () => Promise<void> | undefined;

/** Simulated seconds between two breaths of a run: with a compiled image, some milliseconds of work. */
const SLICE_SECONDS = 0.05;

/** Runs and judges; `asked` are places in the scenario's list of expectations. */
export function trialOf(
  scenario: Scenario,
  asked: readonly number[],
  breathe?: Breathe,
): (parts: readonly DescribedPart[]) => Promise<Outcome> {
  const formulas = asked.map((index) => scenario.expectations[index]!.formula);
  const names = new Set(formulas.flatMap(signalsRead));
  const untilSeconds = Math.max(0, ...formulas.map((formula) => decidedBy(formula, scenario.durationSeconds)));
  const begin = beginnerOf(scenario, names);
  return async (parts) => {
    const begun = begin(parts);
    const { trace } = begun.recorder;
    const ranAway = await runsAway(begun, untilSeconds, breathe);
    const judgements = formulas.map((formula) => judge(formula, trace));
    return {
      truths: judgements.map(({ truth }) => truth),
      margins: judgements.map(({ margin }) => margin),
      trace,
      ranAway,
    };
  };
}

/** A run is looked at so many times, to end it when all is decided. */
const LOOK_COUNT = 8;

/**
 * Runs and tells of every expectation whether it comes true, and nothing else: the run ends when each is decided. What
 * is wanted for once is decided when it is so, what is wanted always when it is not.
 */
export function truthsOf(
  scenario: Scenario,
  breathe?: Breathe,
): (parts: readonly DescribedPart[]) => Promise<readonly boolean[]> {
  const { durationSeconds } = scenario;
  const formulas = scenario.expectations.map(({ formula }) => formula);
  const begin = beginnerOf(scenario, new Set(formulas.flatMap(signalsRead)));
  return async (parts) => {
    const begun = begin(parts);
    const truths: boolean[] = formulas.map(() => false);
    let open = formulas.map((_, index) => index);
    for (let look = 1; look <= LOOK_COUNT && open.length > 0; look += 1) {
      // At an instant at which flowing signals are read anyway.
      const slice = Math.ceil(((look * durationSeconds) / LOOK_COUNT) * GRID_PER_SECOND) / GRID_PER_SECOND;
      const untilSeconds = look === LOOK_COUNT ? durationSeconds : Math.min(slice, durationSeconds);
      const ranAway = await runsAway(begun, untilSeconds, breathe);
      const isLast = ranAway || untilSeconds === durationSeconds;
      open = open.filter((index) => {
        const formula = formulas[index]!;
        truths[index] = judge(formula, begun.recorder.trace).truth;
        const isDecided = truths[index] === isOnce(formula) || decidedBy(formula, durationSeconds) <= untilSeconds;
        return !isLast && !isDecided;
      });
      if (isLast) break;
    }
    return truths;
  };
}

/** Whether one instant can make it true, and none can make it untrue. */
function isOnce({ claim, premise }: Formula): boolean {
  return claim === 'within' && premise === null;
}

interface Begun {
  readonly assembly: Assembly;
  readonly recorder: Recorder;
}

/** Assembles and begins to record. Most parts are the same ones in every run: they are settled once. */
function beginnerOf({ seed, acts }: Scenario, names: ReadonlySet<string>): (parts: readonly DescribedPart[]) => Begun {
  const settled = new WeakMap<DescribedPart, SettledPart>();
  const settledOf = (part: DescribedPart): SettledPart => {
    const known = settled.get(part);
    if (known !== undefined) return known;
    const [fresh] = settleParts([part]) as [SettledPart];
    settled.set(part, fresh);
    return fresh;
  };
  return (parts) => {
    const assembly = assemble(parts.map(settledOf), seed, acts);
    return { assembly, recorder: record(assembly, names) };
  };
}

/** Runs on, in slices only where somebody wants to breathe between them. True if the numbers ran away. */
async function runsAway(
  { assembly, recorder }: Begun,
  untilSeconds: number,
  breathe: Breathe | undefined,
): Promise<boolean> {
  const { now } = assembly.kernel;
  try {
    let slice = Math.floor(now[0]! / SLICE_SECONDS) + 1;
    for (; breathe !== undefined && slice * SLICE_SECONDS < untilSeconds; slice += 1) {
      recorder.passTo(slice * SLICE_SECONDS);
      const breath = breathe();
      if (breath !== undefined) await breath;
    }
    recorder.runTo(untilSeconds);
    return false;
  } catch (error) {
    if (!(error instanceof NumericalBlowUp)) throw error;
    // What was recorded up to then is judged all the same.
    recorder.trace.finish(Math.max(recorder.trace.endSeconds, now[0]!));
    return true;
  }
}

/** The instant after which nothing changes the truth of a formula any more, or the end of the run. */
function decidedBy(formula: Formula, durationSeconds: number): number {
  const { claim, premise, fromSeconds, untilSeconds, withinSeconds, forSeconds } = formula;
  if (premise !== null) return durationSeconds;
  const last = claim === 'within' ? Math.min(fromSeconds + withinSeconds, untilSeconds) : untilSeconds;
  return Math.min(last + forSeconds, durationSeconds);
}

/** Whether two runs cannot be told apart by the signals in question. */
export function isSameTrace(one: Trace, other: Trace): boolean {
  return one.columns.every((column, index) => {
    const twin = other.columns[index]!;
    if (column.length !== twin.length) return false;
    for (let sample = 0; sample < column.length; sample += 1) {
      if (
        column.secondsAt(sample) !== twin.secondsAt(sample) ||
        !Object.is(column.valueAt(sample), twin.valueAt(sample))
      )
        return false;
    }
    return true;
  });
}
