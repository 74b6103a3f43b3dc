/**
 * What does the vehicle do when something fails? Every fault of every part, in every scenario, at every instant that matters,
 * for a moment and for good; the worst first, and what has got worse since a saved table.
 *
 * Faults with an amount are tried at their usual one. The limits are those of the bench's section `severity`.
 */
import { type OutcomeName, outcomes, severityOf } from '../bench/severity.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import { casesOf, type FaultCase, type FaultRow, type FaultsRequest, type FaultTrial } from './faults/craft.ts';
import { isWorse } from './faults/outcome.ts';
import type { Rows, RowsMade } from './many/craft.ts';
import { type ManyOptions, openPool } from './many/pool.ts';
import { type Shard, shardOf } from './many/shard.ts';

export interface FaultsChoices {
  readonly pairs?: boolean;
  readonly briefSeconds?: number;
  readonly spacedCount?: number;
}

/** One fault (or a pair) in one scenario. */
export interface FaultEntry extends FaultCase {
  readonly scenario: string;
  readonly trialCount: number;
  /** How often each outcome was met. */
  readonly counts: Readonly<Partial<Record<OutcomeName, number>>>;
  readonly worst: FaultTrial;
  /** Rank from which its bench takes it for a failure. */
  readonly failAt: number;
}

export interface FaultsReport {
  /** The worst first. */
  readonly entries: readonly FaultEntry[];
  readonly trialCount: number;
}

export const BRIEF_SECONDS = 0.2;
const SPACED_COUNT = 8;

export function planFaults(files: readonly string[], choices: FaultsChoices = {}): FaultsRequest {
  return {
    kind: 'faults',
    files,
    pairs: choices.pairs ?? false,
    briefSeconds: choices.briefSeconds ?? BRIEF_SECONDS,
    spacedCount: choices.spacedCount ?? SPACED_COUNT,
  };
}

/** Makes the trials of a plan. False when it was ended early by the signal. */
export async function makeFaults(
  request: FaultsRequest,
  scenarios: readonly Scenario[],
  rows: Rows,
  options: ManyOptions & { readonly shard?: Shard } = {},
): Promise<boolean> {
  const all = casesOf(request, scenarios).map((_, index) => index);
  const wanted = shardOf(all, options.shard);
  const pool = await openPool(options, { rows: wanted.length });
  try {
    return await pool.rows(request, wanted, rows);
  } finally {
    await pool.close();
  }
}

export async function faults(
  scenarios: readonly Scenario[],
  choices: FaultsChoices = {},
  options: ManyOptions = {},
): Promise<FaultsReport> {
  const request = planFaults(
    scenarios.map(({ file }) => file),
    choices,
  );
  const rows = new Map<number, unknown>();
  await makeFaults(request, scenarios, rows, options);
  return faultsReport(scenarios, request, rows);
}

/** What trials say, whoever made them. */
export function faultsReport(scenarios: readonly Scenario[], request: FaultsRequest, rows: RowsMade): FaultsReport {
  const byFile = new Map(scenarios.map((scenario) => [scenario.file, scenario]));
  const entries = casesOf(request, scenarios).flatMap((one, index): FaultEntry[] => {
    const row = rows.get(index) as FaultRow | undefined;
    if (row === undefined || row.trials.length === 0) return [];
    const { title, severity } = byFile.get(one.file)!;
    const counts: Partial<Record<OutcomeName, number>> = {};
    for (const { name } of row.trials) counts[name] = (counts[name] ?? 0) + 1;
    return [
      {
        ...one,
        scenario: title,
        trialCount: row.trials.length,
        counts,
        worst: row.trials.reduce((worst, trial) => (isWorse(trial, worst) ? trial : worst)),
        failAt: (severity ?? severityOf())['fail-at'],
      },
    ];
  });
  return {
    entries: entries.sort((a, b) => (isWorse(a.worst, b.worst) ? -1 : isWorse(b.worst, a.worst) ? 1 : 0)),
    trialCount: entries.reduce((sum, { trialCount }) => sum + trialCount, 0),
  };
}

/** What is kept of a table to compare a later one with. */
export interface SavedEntry {
  readonly file: string;
  readonly faults: readonly { readonly part: string; readonly fault: string }[];
  readonly outcome: string;
  readonly rank: number;
  readonly uncommanded: number;
  readonly safeSeconds: number | null;
}

export interface Worsening {
  readonly entry: FaultEntry;
  /** What it was; undefined where the saved table has not got this fault. */
  readonly before: SavedEntry | undefined;
  readonly says: string;
}

/** Less than this is a step of the timer, or a frame: not worse. */
const UNCOMMANDED_SLACK = 0.02;
const SAFE_SLACK_SECONDS = 0.02;

/** What got worse since a saved table. A fault that it has not got counts if it is bad enough by itself. */
export function worsenings({ entries }: FaultsReport, saved: readonly SavedEntry[]): Worsening[] {
  const known = new Map(saved.map((entry) => [keyOf(entry), entry]));
  return entries.flatMap((entry): Worsening[] => {
    const before = known.get(keyOf(entry));
    const { worst } = entry;
    if (before === undefined)
      return worst.rank >= entry.failAt ? [{ entry, before, says: `new: ${outcomes[worst.name]}` }] : [];
    if (worst.rank !== before.rank) {
      if (worst.rank < before.rank) return [];
      const was = outcomes[before.outcome as OutcomeName] ?? before.outcome;
      return [{ entry, before, says: `now ${outcomes[worst.name]}; before, it ${was}` }];
    }
    if (worst.uncommanded > before.uncommanded + UNCOMMANDED_SLACK)
      return [
        {
          entry,
          before,
          says: `drives by itself up to ${percent(worst.uncommanded)}; before, up to ${percent(before.uncommanded)}`,
        },
      ];
    const safe = (seconds: number | null): number => seconds ?? Number.POSITIVE_INFINITY;
    if (safe(worst.safeSeconds) > safe(before.safeSeconds) + SAFE_SLACK_SECONDS)
      return [{ entry, before, says: 'takes longer to stop than before' }];
    return [];
  });
}

function keyOf({ file, faults: list }: Pick<SavedEntry, 'file' | 'faults'>): string {
  return JSON.stringify([file, list.map(({ part, fault }) => [part, fault])]);
}

function percent(share: number): string {
  return `${(100 * share).toFixed(0)} %`;
}
