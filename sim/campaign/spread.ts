/**
 * How often does a scenario hold when every part lies anywhere within its tolerance, and which tolerance decides?
 *
 * The pass rate comes with two intervals (statistics/interval.ts). They are those of independent draws; the draws of a
 * Latin hypercube scatter less, so that both err on the safe side there.
 */

import type { Dimension } from '../units/index.ts';
import { runScenario, type Scenario } from '../verdict/run-scenario.ts';
import type { Rows, RowsMade } from './many/craft.ts';
import { type ManyOptions, openPool } from './many/pool.ts';
import { type Shard, shardOf } from './many/shard.ts';
import { type SpreadRequest, type SpreadRow, tolerancesOf } from './spread/craft.ts';
import { DrawTable } from './spread/draw-table.ts';
import { drawsOf, type Law, type Sampling, valueText } from './spread/draws.ts';
import { exactInterval, type Interval, wilsonInterval } from './statistics/interval.ts';
import { failureSplit, quantileOf, ranksOf, spearman } from './statistics/rank.ts';

export interface SpreadChoices {
  readonly draws?: number;
  readonly law?: Law;
  readonly sampling?: Sampling;
  /** Seed of the draws; the scenario's own if not given. */
  readonly seed?: number;
  /** Stops once the Wilson interval is no more than this to either side of its middle, as a share of 1. */
  readonly enough?: number;
}

export interface SpreadOptions extends ManyOptions {
  /** Only every so-many-th draw. */
  readonly shard?: Shard;
  /** Draws already made; new ones are added. */
  readonly rows?: Rows;
}

/** How often something held, and how far the true rate may lie from that. */
export interface Rate {
  readonly passed: number;
  readonly of: number;
  readonly wilson: Interval;
  readonly exact: Interval;
}

/** A toleranced value, and how much hangs on it. */
export interface Decider {
  readonly path: string;
  /** Spearman's rank correlation of the margin with the value. */
  readonly correlation: number;
  /** From -1, all failures lie low in its range, to 1, all lie high. */
  readonly split: number;
}

export interface SpreadExpectation {
  readonly text: string;
  readonly line: number;
  readonly dimension: Dimension | null;
  readonly rate: Rate;
  /** In base units, above 0 where it holds; null where it has none. */
  readonly margin: { readonly least: number; readonly median: number; readonly most: number } | null;
  /** With every value at its middle. */
  readonly nominal: number | null;
  /** Those beyond what chance alone would show, the strongest first. */
  readonly deciders: readonly Decider[];
  /** Of the draws that hold, the one that comes nearest to failing. */
  readonly nearest: DrawnMargin | null;
  /** The draw that fails by most. */
  readonly worst: DrawnMargin | null;
  /** The margins of all draws, in order of the draws; NaN where a draw has none. */
  readonly margins: Float64Array;
}

export interface DrawnMargin {
  readonly draw: number;
  readonly margin: number;
}

export interface SpreadReport {
  readonly scenario: string;
  readonly file: string;
  readonly bench: string;
  readonly plan: SpreadRequest['plan'];
  /** Draws made: fewer than planned when it stopped early. */
  readonly made: number;
  readonly values: readonly { readonly path: string; readonly text: string }[];
  /** Draws in which every expectation holds. */
  readonly rate: Rate;
  readonly expectations: readonly SpreadExpectation[];
  /** Numbers of the draws that fail. */
  readonly failing: readonly number[];
  /** The draw worth looking at first: the worst that fails, else the one nearest to failing. */
  readonly tightest: number | null;
}

export const DRAWS_USUAL = 500;
/** Between two looks at whether the interval is tight enough: fixed, so that the answer does not hang on the workers. */
const BATCH_DRAWS = 100;

/** A plan for a scenario; `spread` in its file says what is not chosen here. */
export function planSpread(scenario: Scenario, choices: SpreadChoices = {}): SpreadRequest {
  const draws = choices.draws ?? scenario.spread?.draws ?? DRAWS_USUAL;
  return {
    kind: 'spread',
    file: scenario.file,
    plan: {
      law: choices.law ?? scenario.spread?.law ?? 'uniform',
      sampling: choices.sampling ?? scenario.spread?.sampling ?? 'latin',
      draws,
      batch: choices.enough === undefined ? draws : Math.min(BATCH_DRAWS, draws),
      seed: choices.seed ?? scenario.seed,
    },
  };
}

/** Makes the draws of a plan. False when it was ended early by the signal. */
export async function makeDraws(
  request: SpreadRequest,
  rows: Rows,
  options: SpreadOptions & { readonly enough?: number } = {},
): Promise<boolean> {
  const { draws, batch } = request.plan;
  const pool = await openPool(options, { rows: shardOf([...Array(draws).keys()], options.shard).length });
  try {
    for (let start = 0; start < draws; start += batch) {
      const all = Array.from({ length: Math.min(batch, draws - start) }, (_, index) => start + index);
      if (!(await pool.rows(request, shardOf(all, options.shard), rows))) return false;
      if (options.enough !== undefined && isTight(rows, options.enough)) return true;
    }
    return true;
  } finally {
    await pool.close();
  }
}

function isTight(rows: RowsMade, enough: number): boolean {
  let passed = 0;
  for (const [, row] of rows) if (!(row as SpreadRow).holds.includes('0')) passed += 1;
  const wilson = wilsonInterval(passed, rows.size);
  return (wilson[1] - wilson[0]) / 2 <= enough;
}

export async function spread(
  scenario: Scenario,
  choices: SpreadChoices = {},
  options: SpreadOptions = {},
): Promise<SpreadReport> {
  const request = planSpread(scenario, choices);
  const rows = options.rows ?? drawTable(scenario, request);
  const { enough } = choices;
  await makeDraws(request, rows, { ...options, ...(enough === undefined ? {} : { enough }) });
  return spreadReport(scenario, request, rows);
}

/** Room for all draws of a plan, with those in it that are made already. */
export function drawTable(
  { expectations }: Scenario,
  { plan }: SpreadRequest,
  rows: Iterable<readonly [number, unknown]> = [],
): DrawTable {
  return new DrawTable(plan.draws, expectations.length, rows);
}

/** What draws say, whoever made them. */
export function spreadReport(scenario: Scenario, request: SpreadRequest, made: RowsMade): SpreadReport {
  const { plan } = request;
  const tolerances = tolerancesOf(scenario.parts);
  const table = made instanceof DrawTable ? made : drawTable(scenario, request, made);
  const draws = table.made();
  const drawn = drawsOf(tolerances, plan);
  const ranks = tolerances.map((_, place) => ranksOf(Float64Array.from(draws, (draw) => drawn(draw, place))));
  const nominal = runScenario(scenario, { causes: false }).expectations;
  const expectations = scenario.expectations.map(({ formula, line }, index): SpreadExpectation => {
    const holds = Array.from(draws, (draw) => table.holds(draw, index));
    const fails = holds.map((one) => !one);
    const margins = Float64Array.from(draws, (draw) => table.margin(draw, index));
    const { unit, margin } = nominal[index]!;
    const finite = margins.filter((one) => !Number.isNaN(one)).sort();
    const marginRanks = ranksOf(ordered(margins, holds));
    const deciders = tolerances.map(
      ({ path }, place): Decider => ({
        path,
        correlation: spearman(ranks[place]!, marginRanks),
        split: failureSplit(ranks[place]!, fails),
      }),
    );
    return {
      text: formula.text,
      line,
      dimension: unit,
      rate: rateOf(holds),
      margin:
        finite.length === 0
          ? null
          : { least: finite[0]!, median: quantileOf(finite, 0.5), most: finite[finite.length - 1]! },
      nominal: Number.isFinite(margin) ? (formula.isExpectedToFail ? -margin : margin) : null,
      deciders: strongest(deciders, draws.length),
      nearest: leastOf(draws, margins, holds, true),
      worst: leastOf(draws, margins, holds, false),
      margins,
    };
  });
  return {
    scenario: scenario.title,
    file: scenario.file,
    bench: scenario.benchTitle,
    plan,
    made: draws.length,
    values: tolerances.map(({ path, quantity }) => ({ path, text: quantity.text })),
    rate: rateOf(Array.from(draws, (draw) => table.holdsAll(draw))),
    expectations,
    failing: [...draws.filter((draw) => !table.holdsAll(draw))],
    tightest: tightestOf(draws, table, expectations),
  };
}

/** The values of one draw as overrides of the bench, in the words of its file. */
export function drawAsOverrides(scenario: Scenario, { plan }: SpreadRequest, draw: number): Record<string, unknown> {
  const tolerances = tolerancesOf(scenario.parts);
  const drawn = drawsOf(tolerances, plan);
  const texts: Record<string, string> = {};
  for (const [place, { path, quantity }] of tolerances.entries())
    texts[path] = valueText(drawn(draw, place), quantity.dimension);
  return windowsJoined(texts);
}

/** A window's two sides are two values here and one in the file: `[-20 us, 21 us]`. */
function windowsJoined(texts: Readonly<Record<string, string>>): Record<string, unknown> {
  const joined: Record<string, unknown> = {};
  for (const [path, text] of Object.entries(texts)) {
    const window = path.replace(/\.(below|above)$/, '');
    const [below, above] = [texts[`${window}.below`], texts[`${window}.above`]];
    if (below === undefined || above === undefined) joined[path] = text;
    else joined[window] = [`-${below}`, above];
  }
  return joined;
}

function rateOf(holds: readonly boolean[]): Rate {
  const passed = holds.filter(Boolean).length;
  return {
    passed,
    of: holds.length,
    wilson: wilsonInterval(passed, holds.length),
    exact: exactInterval(passed, holds.length),
  };
}

/** Where there is no margin, holding ranks above failing. */
function ordered(margins: Float64Array, holds: readonly boolean[]): Float64Array {
  return margins.map((margin, place) =>
    Number.isNaN(margin) ? (holds[place] === true ? Infinity : -Infinity) : margin,
  );
}

/** Without any dependence a rank correlation scatters by 1 / sqrt(n - 1): three of those are seen once in 400 by chance. */
function strongest(deciders: readonly Decider[], count: number): Decider[] {
  const chance = 3 / Math.sqrt(Math.max(1, count - 1));
  return deciders
    .filter(({ correlation }) => Math.abs(correlation) > chance)
    .sort((a, b) => Math.abs(b.correlation) - Math.abs(a.correlation));
}

function leastOf(
  draws: Uint32Array,
  margins: Float64Array,
  holds: readonly boolean[],
  wanted: boolean,
): DrawnMargin | null {
  let best: DrawnMargin | null = null;
  for (const [place, margin] of margins.entries()) {
    if (Number.isNaN(margin) || holds[place] !== wanted) continue;
    if (best === null || margin < best.margin) best = { draw: draws[place]!, margin };
  }
  return best;
}

/** Margins of unlike units are compared as shares of their median or of their own spread, whichever is greater. */
function tightestOf(draws: Uint32Array, table: DrawTable, expectations: readonly SpreadExpectation[]): number | null {
  const scales = expectations.map(({ margin }) =>
    margin === null ? 1 : Math.max(Math.abs(margin.median), margin.most - margin.least, 1e-12),
  );
  let best: DrawnMargin | null = null;
  for (const draw of draws) {
    // One that fails comes before any that holds, however narrowly.
    let share = Infinity;
    for (const [index, scale] of scales.entries()) {
      const margin = table.margin(draw, index);
      share = Math.min(share, Number.isNaN(margin) ? (table.holds(draw, index) ? Infinity : -1) : margin / scale);
    }
    if (!table.holdsAll(draw)) share -= 1e6;
    if (best === null || share < best.margin) best = { draw, margin: share };
  }
  return best?.draw ?? null;
}
