/**
 * One run of a scenario with something changed, judged only for the expectations in question: it records only what
 * they read and ends as soon as the last of them is decided.
 */
import { assemble, type SettledPart } from '../../bench/assemble.ts';
import { type DescribedPart, settleParts } from '../../bench/schema.ts';
import { NumericalBlowUp } from '../../kernel/continuum.ts';
import { type Recorder, record } from '../../trace/record.ts';
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
  // Most parts are the same ones in every run.
  const settled = new WeakMap<DescribedPart, SettledPart>();
  const settledOf = (part: DescribedPart): SettledPart => {
    const known = settled.get(part);
    if (known !== undefined) return known;
    const [fresh] = settleParts([part]) as [SettledPart];
    settled.set(part, fresh);
    return fresh;
  };
  return async (parts) => {
    const assembly = assemble(parts.map(settledOf), scenario.seed, scenario.acts);
    const recorder = record(assembly, names);
    let ranAway = false;
    try {
      await runTo(recorder, untilSeconds, breathe);
    } catch (error) {
      if (!(error instanceof NumericalBlowUp)) throw error;
      ranAway = true;
      recorder.trace.finish(Math.max(recorder.trace.endSeconds, assembly.kernel.now[0]!));
    }
    const judgements = formulas.map((formula) => judge(formula, recorder.trace));
    return {
      truths: judgements.map(({ truth }) => truth),
      margins: judgements.map(({ margin }) => margin),
      trace: recorder.trace,
      ranAway,
    };
  };
}

/** In slices only where somebody wants to breathe between them. */
async function runTo(recorder: Recorder, untilSeconds: number, breathe: Breathe | undefined): Promise<void> {
  if (breathe !== undefined) {
    for (let slice = 1; slice * SLICE_SECONDS < untilSeconds; slice += 1) {
      recorder.passTo(slice * SLICE_SECONDS);
      const breath = breathe();
      if (breath !== undefined) await breath;
    }
  }
  recorder.runTo(untilSeconds);
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
