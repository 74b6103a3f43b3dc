/**
 * Is there anything that a foot, a hand or a fault can do at which the vehicle does what it must not? A search of stated
 * length; what it finds is shrunk to the least that does it. That it finds nothing proves nothing: it says what it covered.
 */
import type { Bench } from '../bench/load-bench.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import { secondsText, stepOf, type WrittenStep } from './hunt/gene.ts';
import { type Ground, type HuntRequest, openGround } from './hunt/ground.ts';
import type { Island } from './hunt/island.ts';
import { shrink } from './hunt/shrink.ts';
import { type ManyOptions, openPool } from './many/pool.ts';
import { type Shard, shardOf } from './many/shard.ts';

export interface HuntChoices {
  readonly runs?: number;
  readonly seed?: number;
  /** False leaves faults out: hands and feet only. */
  readonly faults?: boolean;
  /** False leaves out what the scenario's script does. */
  readonly keepsSteps?: boolean;
  /** Hunts the default expectation, that nothing drives with the foot off, instead of the scenario's own. */
  readonly isDefault?: boolean;
  readonly durationSeconds?: number;
}

export interface HuntReport {
  readonly title: string;
  readonly file: string;
  readonly runs: number;
  readonly found: Found | null;
  /** Nearest approach to breaking an expectation, by the hunt's own scale. */
  readonly score: number;
  readonly modes: Coverage;
  readonly transitions: Coverage;
}

export interface Found {
  /** The expectation that breaks. */
  readonly text: string;
  readonly island: number;
  readonly stepsBefore: number;
  /** All that has to happen beside the scenario's own script, in the words of a file. */
  readonly steps: readonly WrittenStep[];
  readonly duration: string;
  readonly expect: readonly unknown[] | undefined;
  readonly shrinkRuns: number;
}

export interface Coverage {
  readonly met: number;
  readonly of: number;
  readonly missing: readonly string[];
}

export const RUNS_USUAL = 2000;
/** An island is this long, and after each wave of so many the hunt looks whether one has found something. */
const ISLAND_RUNS = 250;
const WAVE_ISLANDS = 4;
const BENCH_SECONDS = 10;

/** A plan for a bench or a scenario. */
export function planHunt(on: Bench | Scenario, choices: HuntChoices = {}): HuntRequest {
  const isBench = 'contents' in on;
  const runs = choices.runs ?? RUNS_USUAL;
  const islands = Math.ceil(runs / ISLAND_RUNS);
  const isDefault = choices.isDefault === true || isBench || on.expectations.length === 0;
  const seconds = choices.durationSeconds ?? (isBench ? BENCH_SECONDS : on.durationSeconds);
  return {
    kind: 'hunt',
    file: on.file,
    isBench,
    against: isDefault ? 'default' : 'own',
    keepsSteps: choices.keepsSteps ?? true,
    hasFaults: choices.faults ?? true,
    durationMilliseconds: Math.round(seconds * 1000),
    seed: choices.seed ?? 1,
    islandRuns: Math.ceil(runs / islands),
    islands,
  };
}

/** Searches the islands of a plan, wave by wave until one has found something. False when it was ended early. */
export async function searchIslands(
  request: HuntRequest,
  rows: Map<number, unknown>,
  options: ManyOptions & { readonly shard?: Shard } = {},
): Promise<boolean> {
  const pool = await openPool(options);
  try {
    for (let first = 0; first < request.islands; first += WAVE_ISLANDS) {
      const wave = Array.from({ length: Math.min(WAVE_ISLANDS, request.islands - first) }, (_, index) => first + index);
      if (!(await pool.rows(request, shardOf(wave, options.shard), rows))) return false;
      // A share does not know what the others find, so it searches all of its own.
      if (options.shard === undefined && wave.some((island) => (rows.get(island) as Island).found !== null))
        return true;
    }
    return true;
  } finally {
    await pool.close();
  }
}

export async function hunt(
  on: Bench | Scenario,
  choices: HuntChoices = {},
  options: ManyOptions = {},
): Promise<HuntReport> {
  const request = planHunt(on, choices);
  const rows = new Map<number, unknown>();
  await searchIslands(request, rows, options);
  return huntReport(request, rows);
}

/** What the islands say, whoever searched them; shrinks what was found. */
export function huntReport(request: HuntRequest, rows: ReadonlyMap<number, unknown>): HuntReport {
  const ground = openGround(request);
  const islands = [...rows].sort(([a], [b]) => a - b).map(([number, row]) => ({ number, ...(row as Island) }));
  const winner = islands.find(({ found }) => found !== null);
  // As if the hunt had stopped after the wave that found it, so that shares give what the whole gives.
  const waveEnd =
    winner === undefined ? request.islands : (Math.floor(winner.number / WAVE_ISLANDS) + 1) * WAVE_ISLANDS;
  const counted = islands.filter(({ number }) => number < waveEnd);
  return {
    title: ground.title,
    file: request.file,
    runs: counted.reduce((sum, { runs }) => sum + runs, 0),
    found: winner === undefined ? null : foundOf(ground, winner),
    score: Math.min(...counted.map(({ score }) => score)),
    modes: coverage(
      ground.modes,
      counted.flatMap(({ visited }) => visited),
    ),
    transitions: coverage(
      ground.transitions,
      counted.flatMap(({ taken }) => taken),
    ),
  };
}

function foundOf(ground: Ground, { number, found, broken }: Island & { readonly number: number }): Found {
  const { genes, durationMilliseconds, runs } = shrink(ground, found!, broken);
  return {
    text: ground.formulas[broken]!.text,
    island: number,
    stepsBefore: found!.length,
    steps: [...(ground.baseSteps as readonly WrittenStep[]), ...genes.map((gene) => stepOf(gene, ground.vocabulary))],
    duration: secondsText(durationMilliseconds),
    expect: ground.items,
    shrinkRuns: runs,
  };
}

function coverage(names: readonly string[], met: readonly number[]): Coverage {
  const numbers = new Set(met);
  return { met: numbers.size, of: names.length, missing: names.filter((_, index) => !numbers.has(index)) };
}
