/**
 * A verdict must not hang on how finely time is cut: every shipped scenario with half the step and half the error. A
 * margin that is a small difference of large numbers is held against the size of the signal that it is about in the
 * scenario named below, and against itself in all others.
 */
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
/** Here the margin is a tenth of its signal: a temperature, 0.17 % of its margin (measured), as a limit holds within 0.1 %. */
const HELD_BY_SIGNAL: string[] = [];
const HALVED: StepLimits = { tolerance: STEP_LIMITS.tolerance / 2, mostSeconds: STEP_LIMITS.mostSeconds / 2 };

interface Outcome {
  readonly judgement: Judgement;
  /** Size of the signal where the margin was decided. */
  readonly size: number;
}

function judged(scenario: Scenario, limits: StepLimits): Outcome[] {
  const assembly = assemble(settleParts(scenario.parts), scenario.seed, scenario.acts, { limits });
  const recorder = record(
    assembly,
    scenario.expectations.flatMap(({ formula }) => signalsRead(formula)),
  );
  recorder.runTo(scenario.durationSeconds);
  return scenario.expectations.map(({ formula }) => {
    const judgement = judge(formula, recorder.trace);
    return { judgement, size: Math.abs(recorder.trace.column(judgement.signal)?.at(judgement.atSeconds) ?? 0) };
  });
}

describe('steps: half the greatest step and half the error turn no verdict and move no margin by 0.1 %', () => {
  test.each(files)(
    '%s',
    (file) => {
      const { value: scenario } = loadScenario(join(FOLDER, file));
      if (scenario === undefined) throw new Error(`${file} does not load`);
      const [usual, halved] = [judged(scenario, STEP_LIMITS), judged(scenario, HALVED)];
      usual.forEach(({ judgement, size }, index) => {
        const other = halved[index]!.judgement;
        expect(other.truth, judgement.text).toBe(judgement.truth);
        if (!Number.isFinite(judgement.margin)) {
          expect(other.margin).toBe(judgement.margin);
          return;
        }
        const signalSize = HELD_BY_SIGNAL.includes(file) && Number.isFinite(size) ? size : 0;
        const scale = Math.max(Math.abs(judgement.margin), signalSize, 1e-9);
        const moved = Math.abs(other.margin - judgement.margin) / scale;
        expect(moved, `${judgement.text}: ${judgement.margin} and ${other.margin}`).toBeLessThan(1e-3);
      });
    },
    60_000,
  );
});
