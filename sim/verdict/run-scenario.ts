/** Runs one scenario on its bench and judges what it expects: the main job of the tool, as a library call. */
import { type Act, type Assembly, assemble, type Finding } from '../bench/assemble.ts';
import { type DescribedPart, type Pick, settleParts } from '../bench/schema.ts';
import type { Severity } from '../bench/severity.ts';
import { NumericalBlowUp } from '../kernel/continuum.ts';
import type { PartKind } from '../kernel/part.ts';
import { listenForBytes } from '../trace/bytes.ts';
import { GRID_PER_SECOND, type Recorder, record } from '../trace/record.ts';
import type { Trace } from '../trace/trace.ts';
import { formatQuantity } from '../units/index.ts';
import { type CauseLink, causeOf } from './cause.ts';
import { type Formula, signalsRead } from './expectation.ts';
import { type Judgement, judge } from './judge.ts';

/** A scenario read from its file, checked, its bench with it. */
export interface Scenario {
  readonly title: string;
  readonly file: string;
  readonly benchTitle: string;
  readonly parts: readonly DescribedPart[];
  readonly seed: number;
  readonly durationSeconds: number;
  readonly acts: readonly Act[];
  readonly expectations: readonly Expectation[];
  /** How bad its bench takes what a vehicle does after a fault to be; the usual ranks where it is not said. */
  readonly severity?: Severity;
  /** How the file asks for its tolerances to be drawn. */
  readonly spread?: SpreadSection;
}

export interface SpreadSection {
  readonly draws?: number | undefined;
  readonly law?: 'uniform' | 'normal' | 'corners' | undefined;
  readonly sampling?: 'latin' | 'random' | undefined;
}

export interface Expectation {
  readonly formula: Formula;
  /** Line of the scenario file on which it stands. */
  readonly line: number;
}

export interface JudgedExpectation extends Judgement {
  readonly formula: Formula;
  readonly line: number;
  /** Why it failed, from effect to root; empty where nothing failed. */
  readonly cause: readonly CauseLink[];
}

export interface ScenarioRun {
  readonly scenario: Scenario;
  readonly holds: boolean;
  readonly digest: string;
  readonly eventCount: number;
  readonly expectations: readonly JudgedExpectation[];
  /** Mode in which each part ended, by signal name. */
  readonly final: Readonly<Record<string, string>>;
  readonly findings: readonly Finding[];
  readonly trace: Trace;
  /** What the next run would find in the file that was asked for with `keep`. */
  readonly kept?: string;
}

export interface RunOptions {
  /** Signals to record beside those that the expectations read. */
  readonly record?: readonly string[] | 'all';
  /** Where all is recorded, flowing signals that no expectation reads are thinned: a tenth or less of the room. */
  readonly isThinned?: boolean;
  /** Chooses numbers for the quantities; without it, their middles. */
  readonly pick?: Pick;
  /** False leaves the causes out, which saves a second run of each failure. */
  readonly causes?: boolean;
  /** Called with each byte that is sent over a serial port, in order: a trace does not tell equal ones in a row apart. */
  readonly takeByte?: (byte: number) => void;
  /** The parameter that names a file which outlasts the power: what stands in it at the end is then in `kept`. */
  readonly keep?: string;
}

export function runScenario(scenario: Scenario, options: RunOptions = {}): ScenarioRun {
  const parts = settleParts(scenario.parts, options.pick);
  const assembly = assemble(parts, scenario.seed, scenario.acts);
  const wanted = scenario.expectations.flatMap(({ formula }) => signalsRead(formula));
  const recorder =
    options.record === 'all'
      ? record(assembly, 'all', GRID_PER_SECOND, undefined, options.isThinned === true ? new Set(wanted) : undefined)
      : record(assembly, [...wanted, ...(options.record ?? [])]);
  if (options.takeByte !== undefined) listenForBytes(assembly, options.takeByte);
  const blowUp = runToEnd(scenario, assembly, recorder);
  const { trace } = recorder;
  const expectations = scenario.expectations.map(({ formula, line }): JudgedExpectation => {
    const judgement = judge(formula, trace);
    // What was expected to fail and did is the point of its scenario: its cause is told all the same.
    const cause =
      judgement.truth || options.causes === false || blowUp !== undefined
        ? []
        : causeOf(parts, scenario.seed, scenario.acts, judgement.signal, judgement.atSeconds);
    return { ...judgement, formula, line, cause };
  });
  const keeper = options.keep === undefined ? undefined : keeperOf(assembly.parts, options.keep);
  return {
    scenario,
    holds: blowUp === undefined && expectations.every((expectation) => expectation.holds),
    digest: assembly.kernel.digestText(),
    eventCount: assembly.kernel.eventCount,
    expectations,
    final: Object.fromEntries(
      assembly.signals
        .filter((signal) => signal.name.endsWith('.mode'))
        .map((signal) => [
          signal.name,
          signal.modes?.[assembly.kernel.values[assembly.signalIndex.get(signal.name)!]!] ?? '',
        ]),
    ),
    findings: blowUp === undefined ? assembly.findings : [...assembly.findings, blowUpFinding(blowUp)],
    trace,
    ...(keeper === undefined ? {} : { kept: keeper.live.kept![options.keep!]!() }),
  };
}

/** The part that has a file of this key which outlasts the power. */
export function keeperOf<P extends { readonly kind: PartKind }>(parts: readonly P[], key: string): P | undefined {
  return parts.find(({ kind }) => kind.files?.kept?.includes(key) === true);
}

/** Runs a scenario to its end; gives the blow-up that ended it before, if one did. What was recorded up to then can be judged. */
export function runToEnd(scenario: Scenario, { kernel }: Assembly, recorder: Recorder): NumericalBlowUp | undefined {
  try {
    recorder.runTo(scenario.durationSeconds);
    return undefined;
  } catch (error) {
    if (!(error instanceof NumericalBlowUp)) throw error;
    const { trace } = recorder;
    trace.finish(Math.max(trace.endSeconds, kernel.now[0]!));
    return error;
  }
}

function blowUpFinding({ part, state, seconds }: NumericalBlowUp): Finding {
  return {
    part,
    code: 'numerical-blow-up',
    says: `its ${state} ran away beyond all numbers at ${formatQuantity(seconds, 'time')}: the run ends there and holds nothing; look for a part value that cannot be`,
    seconds,
  };
}
