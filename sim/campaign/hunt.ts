/**
 * Is there anything that a foot, a hand or a fault can do at which the vehicle does what it must not? A search of stated
 * length; what it finds is shrunk to the least that does it. That it finds nothing proves nothing: it says what it covered.
 */
import type { Bench } from '../bench/load-bench.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import { secondsText, stepOf, type WrittenStep } from './hunt/gene.ts';
import { type Ground, type HuntRequest, type Margin, openGround } from './hunt/ground.ts';
import type { Island } from './hunt/island.ts';
import { shrink } from './hunt/shrink.ts';
import type { Rows, RowsMade } from './many/craft.ts';
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
  /** Hunts only the expectation on this line of the scenario. */
  readonly line?: number;
  readonly durationSeconds?: number;
}

export interface HuntReport {
  readonly title: string;
  readonly file: string;
  readonly seed: number;
  readonly runs: number;
  readonly found: Found | null;
  /** For each expectation that was aimed at how near it came to breaking, while nothing was found. */
  readonly nearest: readonly Approach[];
  readonly modes: Coverage;
  readonly transitions: Coverage;
}

export interface Found {
  /** The expectation that breaks. */
  readonly text: string;
  readonly island: number;
  /** What the hunt did when it was found, and what is left of that: the last of `steps`. */
  readonly stepsBefore: number;
  readonly huntSteps: number;
  /** All that has to happen beside the scenario's own script, in the words of a file. */
  readonly steps: readonly WrittenStep[];
  readonly duration: string;
  readonly expect: readonly unknown[] | undefined;
  readonly shrinkRuns: number;
}

export interface Approach {
  readonly text: string;
  /** Above 0 where it holds; null where it has none. */
  readonly margin: Margin | null;
  readonly steps: readonly WrittenStep[];
}

/** How many of those that the charts lead to were met. */
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
    line: isDefault ? null : (choices.line ?? null),
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
  rows: Rows,
  options: ManyOptions & { readonly shard?: Shard } = {},
): Promise<boolean> {
  const pool = await openPool(options, {
    rows: shardOf(islandsOf(request), options.shard).length,
    runsPerRow: request.islandRuns,
  });
  try {
    for (let first = 0; first < request.islands; first += WAVE_ISLANDS) {
      const wave = islandsOf(request).slice(first, first + WAVE_ISLANDS);
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

function islandsOf({ islands }: HuntRequest): number[] {
  return Array.from({ length: islands }, (_, island) => island);
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
export function huntReport(request: HuntRequest, rows: RowsMade): HuntReport {
  const ground = openGround(request);
  const islands = [...rows].sort(([a], [b]) => a - b).map(([number, row]) => ({ number, ...(row as Island) }));
  const winner = islands.find(({ found }) => found !== null);
  // As if the hunt had stopped after the wave that found it, so that shares give what the whole gives.
  const waveEnd =
    winner === undefined ? request.islands : (Math.floor(winner.number / WAVE_ISLANDS) + 1) * WAVE_ISLANDS;
  const counted = islands.filter(({ number }) => number < waveEnd);
  const { reach } = ground;
  return {
    title: ground.title,
    file: request.file,
    seed: request.seed,
    runs: counted.reduce((sum, { runs }) => sum + runs, 0),
    found: winner === undefined ? null : foundOf(ground, winner),
    nearest: winner === undefined ? approaches(ground, counted) : [],
    modes: coverage(
      reach.modes,
      reach.reachableModes,
      counted.flatMap(({ visited }) => visited),
    ),
    transitions: coverage(
      reach.transitions,
      reach.reachableTransitions,
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
    huntSteps: genes.length,
    steps: [...(ground.baseSteps as readonly WrittenStep[]), ...genes.map((gene) => stepOf(gene, ground.vocabulary))],
    duration: secondsText(durationMilliseconds),
    expect: ground.items,
    shrinkRuns: runs,
  };
}

/** The nearest of all islands to each expectation. */
function approaches(ground: Ground, islands: readonly Island[]): Approach[] {
  return ground.formulas.flatMap((formula, aim): Approach[] => {
    const [nearest] = islands.filter((island) => island.aim === aim).sort((a, b) => a.score - b.score);
    if (nearest === undefined) return [];
    return [
      {
        text: formula.text,
        margin: nearest.margin,
        steps: nearest.nearest.map((gene) => stepOf(gene, ground.vocabulary)),
      },
    ];
  });
}

function coverage(names: readonly string[], reachable: ReadonlySet<number>, met: readonly number[]): Coverage {
  const numbers = new Set(met);
  const missing = names.filter((_, index) => reachable.has(index) && !numbers.has(index));
  return { met: reachable.size - missing.length, of: reachable.size, missing };
}
