/** Tries a tuned setting by simulation, in both corners of the tolerances in which it is nearest to failing. */
import { rules } from '../../../models/rules.ts';
import { type Patch, patchedParts } from '../../../models/throttle/patch.ts';
import type { ThrottlePath } from '../../../models/throttle/path.ts';
import type { Constants } from '../../../models/throttle/standing.ts';
import { CORNERS, cornerValue, trialOf } from '../../../models/throttle/trial.ts';
import { signalsOf } from '../../bench/assemble.ts';
import type { Bench } from '../../bench/load-bench.ts';
import { settleParts } from '../../bench/schema.ts';
import { actsOf, stepSchema } from '../../bench/script.ts';
import { severityOf } from '../../bench/severity.ts';
import { expectationSchema, parseExpectation } from '../../verdict/expectation.ts';
import { runScenario, type Scenario } from '../../verdict/run-scenario.ts';

export interface Confirmation {
  readonly holds: boolean;
  /** What failed, and in which corner. */
  readonly failed: readonly string[];
}

export function confirm(bench: Bench, path: ThrottlePath, constants: Constants, patch: Patch): Confirmation {
  const scenario = scenarioFor(bench, path, constants, patch);
  const refused = rules(scenario.parts).filter(({ severity }) => severity === 'error');
  if (refused.length > 0) return { holds: false, failed: refused.map(({ says }) => `the bench cannot be: ${says}`) };
  const failed = CORNERS.flatMap((corner) =>
    runScenario(scenario, {
      pick: (name, quantity) => cornerValue(path, corner, name, quantity),
      causes: false,
    })
      .expectations.filter(({ holds }) => !holds)
      .map(({ text }) => `${text} (${corner})`),
  );
  return { holds: failed.length === 0, failed };
}

/** The same script that is written to a file, made from the parts at hand: they may differ from what the file says. */
function scenarioFor(bench: Bench, path: ThrottlePath, constants: Constants, patch: Patch): Scenario {
  const parts = patchedParts(bench.parts, patch);
  const { steps, expect, durationSeconds } = trialOf(parts, path, constants.output[1] - constants.output[0]);
  const signals = new Map(signalsOf(settleParts(parts)).map((signal) => [signal.name, signal]));
  const schema = stepSchema(parts);
  return {
    title: 'trial of a tuned setting',
    file: bench.file,
    benchTitle: bench.title,
    parts,
    seed: 1,
    durationSeconds,
    severity: severityOf(),
    acts: actsOf(
      steps.map((step) => schema.parse(step)),
      parts,
    ),
    expectations: expect.map((item, index) => {
      const parsed = parseExpectation(expectationSchema.parse(item), (name) => signals.get(name), [...signals.keys()]);
      // Made from the bench's own names a moment ago: a mistake in it is ours.
      if ('mistakes' in parsed) throw new Error(`the trial's own expectation is not read: ${JSON.stringify(item)}`);
      return { formula: parsed.formula, line: index + 1 };
    }),
  };
}
