/**
 * A fault table's runs: for each scenario and each fault of each part the fault is put into the healthy run at every instant
 * that matters, for a moment and for good.
 *
 * The healthy run is made once a scenario; each trial goes on from a snapshot of it, so that only what comes after the
 * fault is computed. A trial is to the last bit the run of a scenario whose script has the fault as a step.
 */
import { type Act, type Assembly, assemble, rescript } from '../../bench/assemble.ts';
import { settleParts } from '../../bench/schema.ts';
import { type Severity, severityOf } from '../../bench/severity.ts';
import { assert } from '../../kernel/assert.ts';
import { NumericalBlowUp } from '../../kernel/continuum.ts';
import type { Snapshot } from '../../kernel/kernel.ts';
import { record } from '../../trace/record.ts';
import type { Column, Trace } from '../../trace/trace.ts';
import { loadScenario } from '../../verdict/load-scenario.ts';
import type { Scenario } from '../../verdict/run-scenario.ts';
import type { Craft, CraftRequest } from '../many/craft.ts';
import { signalsWith } from '../roles.ts';
import { injectionSeconds } from './instants.ts';
import { type Outcome, outcomeOf, type Seen } from './outcome.ts';

export interface FaultsRequest extends CraftRequest {
  readonly kind: 'faults';
  readonly files: readonly string[];
  /** Two faults of different parts at once, beside each alone. */
  readonly pairs: boolean;
  /** How long a passing fault lasts. */
  readonly briefSeconds: number;
  /** Evenly spaced instants beside those at which modes change. */
  readonly spacedCount: number;
}

/** One fault, or a pair of them, in one scenario. */
export interface FaultCase {
  readonly file: string;
  readonly faults: readonly { readonly part: string; readonly fault: string }[];
}

/** Outcomes in the order of the trials: by instant, the passing fault before the lasting one. */
export interface FaultRow {
  readonly trials: readonly FaultTrial[];
}

export interface FaultTrial extends Outcome {
  readonly at: number;
  /** Null for one that stays. */
  readonly lasts: number | null;
}

/** Every case of a request, in the order of its rows. */
export function casesOf({ files, pairs }: FaultsRequest, scenarios: readonly Scenario[]): FaultCase[] {
  return scenarios.flatMap(({ parts }, index) => {
    const single = parts.flatMap(({ name, kind }) => Object.keys(kind.faults).map((fault) => ({ part: name, fault })));
    const file = files[index]!;
    const alone = single.map((one) => ({ file, faults: [one] }));
    if (!pairs) return alone;
    const both = single.flatMap((one, place) =>
      single.slice(place + 1).flatMap((other) => (other.part === one.part ? [] : [{ file, faults: [one, other] }])),
    );
    return [...alone, ...both];
  });
}

export function openFaults(request: FaultsRequest): Craft {
  const scenarios = request.files.map((file) => {
    const { value } = loadScenario(file);
    assert(value !== undefined, 'a scenario that was checked before cannot be read', { file });
    return value;
  });
  const cases = casesOf(request, scenarios);
  const byFile = new Map(scenarios.map((scenario) => [scenario.file, scenario]));
  let healthy: Healthy | undefined;
  return {
    count: cases.length,
    row: (index) => {
      const { file, faults } = cases[index]!;
      // Cases come in the order of the scenarios, so that one healthy run serves many in a row.
      if (healthy?.scenario.file !== file) healthy = new Healthy(byFile.get(file)!, request);
      return healthy.row(faults);
    },
  };
}

/** Snapshots are taken this long before the instant, so that the fault comes first of all that happens at it. */
const BEFORE_SECONDS = 1e-9;
const AFTER_SECONDS = 0.5;
/** How long a lasting fault is watched, and a passing one after it has gone. */
const WATCHED_SECONDS = 5;
const WATCHED_AFTER_SECONDS = 3;

/** A scenario without faults, and all that goes on from it with one. */
export class Healthy {
  readonly scenario: Scenario;
  readonly instants: readonly number[];
  readonly acts: readonly Act[];
  private readonly assembly: Assembly;
  private readonly snapshots: readonly Snapshot[];
  private readonly seen: Seen;
  /** Names of what is looked at, as `Seen` has it. */
  private readonly watched: Readonly<Record<keyof Seen, readonly string[]>>;
  private readonly names: readonly string[];
  private readonly severity: Severity;
  private readonly briefSeconds: number;
  /** Past the scenario's end, so that drive which starts at its end has time to stop. */
  readonly endSeconds: number;

  constructor(scenario: Scenario, { briefSeconds, spacedCount }: Pick<FaultsRequest, 'briefSeconds' | 'spacedCount'>) {
    this.scenario = scenario;
    this.briefSeconds = briefSeconds;
    this.severity = scenario.severity ?? severityOf();
    this.endSeconds = scenario.durationSeconds + this.severity.return + AFTER_SECONDS;
    this.watched = {
      drives: signalsWith(scenario.parts, 'drive'),
      brakes: signalsWith(scenario.parts, 'brake'),
      wishes: signalsWith(scenario.parts, 'foot', 'hand'),
      alarms: signalsWith(scenario.parts, 'alarm'),
    };
    this.names = Object.values(this.watched).flat();
    // The script's own faults are left out: what is asked for is told by a run in which nothing fails.
    this.acts = scenario.acts.filter((act) => !('event' in act));
    const parts = settleParts(scenario.parts);
    const first = assemble(parts, scenario.seed, this.acts);
    const modes = first.signals.flatMap(({ name }) => (name.endsWith('.mode') ? [name] : []));
    const recorder = record(first, [...this.names, ...modes]);
    recorder.runTo(this.endSeconds);
    this.seen = this.seenIn(recorder.trace);
    this.instants = injectionSeconds(
      modes.map((name) => recorder.trace.column(name)!),
      scenario.durationSeconds,
      spacedCount,
    );
    this.assembly = assemble(parts, scenario.seed, this.acts);
    const { kernel } = this.assembly;
    this.snapshots = this.instants.map((seconds) => {
      kernel.run(seconds - BEFORE_SECONDS);
      return kernel.save();
    });
  }

  row(faults: FaultCase['faults']): FaultRow {
    return {
      trials: this.instants.flatMap((at, place) =>
        [this.briefSeconds, null].map((lasts): FaultTrial => {
          // What a fault does later than this shows where it comes later.
          const watched = lasts === null ? WATCHED_SECONDS : lasts + WATCHED_AFTER_SECONDS;
          const { until, seen } = this.trial(place, this.actsOf(faults, at, lasts), at + watched);
          return { at, lasts, ...outcomeOf(this.seen, seen, at, until, this.severity) };
        }),
      ),
    };
  }

  /** Goes on from before an instant with more acts; the digest is that of the whole run. */
  trial(
    place: number,
    acts: readonly Act[],
    watchedUntil = this.endSeconds,
  ): { until: number; seen: Seen; digest: string } {
    const { kernel } = this.assembly;
    kernel.restore(this.snapshots[place]!);
    // Acts of one instant keep their order: the fault comes after the script's own steps.
    rescript(
      this.assembly,
      [...this.acts, ...acts].sort((a, b) => a.seconds - b.seconds),
    );
    const recorder = record(this.assembly, this.names);
    let until = Math.min(this.endSeconds, watchedUntil);
    try {
      recorder.runTo(until);
    } catch (error) {
      // Values that no part can have: what was seen up to then counts.
      if (!(error instanceof NumericalBlowUp)) throw error;
      until = kernel.now[0]!;
    }
    return { until, seen: this.seenIn(recorder.trace), digest: kernel.digestText() };
  }

  actsOf(faults: FaultCase['faults'], at: number, lasts: number | null): Act[] {
    return faults.flatMap(({ part, fault: name }) => {
      const fault = this.scenario.parts.find((one) => one.name === part)!.kind.faults[name]!;
      const enter: Act = { seconds: at, part, event: fault.enter, amount: fault.amount?.default ?? 0 };
      return lasts === null ? [enter] : [enter, { seconds: at + lasts, part, event: fault.leave, amount: 0 }];
    });
  }

  private seenIn(trace: Trace): Seen {
    const columns = (names: readonly string[]): Column[] => names.map((name) => trace.column(name)!);
    const { drives, brakes, wishes, alarms } = this.watched;
    return { drives: columns(drives), brakes: columns(brakes), wishes: columns(wishes), alarms: columns(alarms) };
  }
}
