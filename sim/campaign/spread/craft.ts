/** A spread's runs: one for each draw from the tolerances, judged by the scenario's own expectations. */
import type { DescribedPart } from '../../bench/schema.ts';
import { assert } from '../../kernel/assert.ts';
import { listTolerances } from '../../units/index.ts';
import { loadScenario } from '../../verdict/load-scenario.ts';
import { runScenario, type Scenario } from '../../verdict/run-scenario.ts';
import type { Craft, CraftRequest } from '../many/craft.ts';
import { type DrawPlan, drawnValues, type Tolerance } from './draws.ts';

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
  const values = drawnValues(tolerances, plan);
  const places = new Map(tolerances.map(({ path }, place) => [path, place]));
  return {
    count: plan.draws,
    row: (draw) =>
      rowOf(scenario, (path) => {
        const place = places.get(path);
        return place === undefined ? undefined : values[draw * tolerances.length + place]!;
      }),
  };
}

/** What the scenario gives with these values in place of the middles. */
export function rowOf(scenario: Scenario, valueAt: (path: string) => number | undefined): SpreadRow {
  const run = runScenario(scenario, { pick: (path, { value }) => valueAt(path) ?? value, causes: false });
  const isBroken = run.findings.some(({ code }) => code === 'numerical-blow-up');
  return {
    holds: run.expectations.map(({ holds }) => (holds && !isBroken ? '1' : '0')).join(''),
    margins: run.expectations.map(({ margin, formula }) => {
      if (!Number.isFinite(margin)) return null;
      // -0 would be read back from a file as 0.
      return (formula.isExpectedToFail ? -margin : margin) + 0;
    }),
    ...(isBroken ? { broke: true as const } : {}),
  };
}

/** Every value on the bench that may differ from its middle, by its path in the file. */
export function tolerancesOf(parts: readonly DescribedPart[]): Tolerance[] {
  return parts.flatMap(({ path, parameters }) =>
    listTolerances(parameters).map((placed) => ({ path: [...path, placed.path].join('.'), quantity: placed.quantity })),
  );
}
