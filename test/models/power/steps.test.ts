/** A verdict must not hang on how finely time is cut: every shipped scenario with half the step and half the error. */
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { assemble } from '../../../sim/bench/assemble.ts';
import { settleParts } from '../../../sim/bench/schema.ts';
import { STEP_LIMITS, type StepLimits } from '../../../sim/kernel/continuum.ts';
import { record } from '../../../sim/trace/record.ts';
import { signalsRead } from '../../../sim/verdict/expectation.ts';
import { type Judgement, judge } from '../../../sim/verdict/judge.ts';
import { loadScenario } from '../../../sim/verdict/load-scenario.ts';
import type { Scenario } from '../../../sim/verdict/run-scenario.ts';

const FOLDER = 'scenarios/orchard-cart';
const files = readdirSync(FOLDER).filter((file) => file.endsWith('.yaml') && file !== 'bench.yaml');
const HALVED: StepLimits = { tolerance: STEP_LIMITS.tolerance / 2, mostSeconds: STEP_LIMITS.mostSeconds / 2 };

function judged(scenario: Scenario, limits: StepLimits): Judgement[] {
  const assembly = assemble(settleParts(scenario.parts), scenario.seed, scenario.acts, { limits });
  const recorder = record(
    assembly,
    scenario.expectations.flatMap(({ formula }) => signalsRead(formula)),
  );
  recorder.runTo(scenario.durationSeconds);
  return scenario.expectations.map(({ formula }) => judge(formula, recorder.trace));
}

describe('steps: half the greatest step and half the error turn no verdict and move no margin by 0.1 %', () => {
  test.each(files)(
    '%s',
    (file) => {
      const { value: scenario } = loadScenario(join(FOLDER, file));
      if (scenario === undefined) throw new Error(`${file} does not load`);
      const [usual, halved] = [judged(scenario, STEP_LIMITS), judged(scenario, HALVED)];
      usual.forEach((judgement, index) => {
        const other = halved[index]!;
        expect(other.truth, judgement.text).toBe(judgement.truth);
        if (!Number.isFinite(judgement.margin)) {
          expect(other.margin).toBe(judgement.margin);
          return;
        }
        const moved = Math.abs(other.margin - judgement.margin) / Math.max(Math.abs(judgement.margin), 1e-9);
        expect(moved, `${judgement.text}: ${judgement.margin} and ${other.margin}`).toBeLessThan(1e-3);
      });
    },
    60_000,
  );
});
