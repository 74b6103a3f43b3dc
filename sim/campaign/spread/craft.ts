/** A spread's runs: one for each draw from the tolerances, judged by the scenario's own expectations. */
import { assemble } from '../../bench/assemble.ts';
import { type DescribedPart, type Pick, settleParts } from '../../bench/schema.ts';
import { assert } from '../../kernel/assert.ts';
import { record } from '../../trace/record.ts';
import { listTolerances } from '../../units/index.ts';
import { signalsRead } from '../../verdict/expectation.ts';
import { judge } from '../../verdict/judge.ts';
import { loadScenario } from '../../verdict/load-scenario.ts';
import { runToEnd, type Scenario } from '../../verdict/run-scenario.ts';
import type { Craft, CraftRequest } from '../many/craft.ts';
import { type DrawPlan, drawsOf, type Tolerance } from './draws.ts';

export interface SpreadRequest extends CraftRequest {
  readonly kind: 'spread';
  readonly file: string;
  readonly plan: DrawPlan;
}

/** One draw. A margin that is not finite is null: then only the outcome counts. */
export interface SpreadRow {
  /** For each expectation whether it holds, `1` or `0`. */
  readonly holds: string;
  /** For each how far from turning, in base units: above 0 where it holds, below where it does not. */
  readonly margins: readonly (number | null)[];
  /** The run broke off: a value ran away beyond all numbers. */
  readonly broke?: true;
}

export function openSpread({ file, plan }: SpreadRequest): Craft {
  const scenario = loadScenario(file).value;
  assert(scenario !== undefined, 'a scenario that was checked before cannot be read', { file });
  const tolerances = tolerancesOf(scenario.parts);
  const drawn = drawsOf(tolerances, plan);
  const rowOf = rowsOf(
    scenario,
    tolerances.map(({ path }) => path),
  );
  return { count: plan.draws, row: (draw) => rowOf((place) => drawn(draw, place)) };
}

/**
 * What the scenario gives with the values at these paths in place of their middles: `runScenario` without what a row does not
 * tell. Parts in which none of them stands are the same in all rows.
 */
export function rowsOf(
  scenario: Scenario,
  paths: readonly string[],
): (valueAt: (place: number) => number) => SpreadRow {
  const { parts, seed, acts, expectations } = scenario;
  const names = new Set(expectations.flatMap(({ formula }) => signalsRead(formula)));
  const places = new Map(paths.map((path, place) => [path, place]));
  const isDrawn = parts.map(({ path }) => paths.some((drawn) => drawn.startsWith(`${path.join('.')}.`)));
  const middles = settleParts(parts);
  return (valueAt) => {
    const values = paths.map((_, place) => valueAt(place));
    const pick: Pick = (path, { value }) => values[places.get(path) ?? -1] ?? value;
    const settled = middles.map((middle, rank) => (isDrawn[rank]! ? settleParts([parts[rank]!], pick)[0]! : middle));
    const assembly = assemble(settled, seed, acts, { isDigested: false });
    const recorder = record(assembly, names);
    const isBroken = runToEnd(scenario, assembly, recorder) !== undefined;
    const margins: (number | null)[] = [];
    let holds = '';
    for (const { formula } of expectations) {
      const judged = judge(formula, recorder.trace);
      holds += judged.holds && !isBroken ? '1' : '0';
      // -0 would be read back from a file as 0.
      const margin = (formula.isExpectedToFail ? -judged.margin : judged.margin) + 0;
      margins.push(Number.isFinite(margin) ? margin : null);
    }
    return isBroken ? { holds, margins, broke: true } : { holds, margins };
  };
}

/** Every value on the bench that may differ from its middle, by its path in the file. */
export function tolerancesOf(parts: readonly DescribedPart[]): Tolerance[] {
  return parts.flatMap(({ path, parameters }) =>
    listTolerances(parameters).map((placed) => ({ path: [...path, placed.path].join('.'), quantity: placed.quantity })),
  );
}
