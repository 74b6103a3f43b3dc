/** Outcomes to report on: shipped scenarios, and names that nobody sane would choose. */
import { join } from 'node:path';
import type { Outcome } from '../../sim/report/checks.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { folderWith, shipped } from '../cli/capture.ts';

export function outcomeOf(file: string, record: readonly string[] | 'all' = []): Outcome {
  return { run: runScenario(loadScenario(file).value!, { record }), wallSeconds: 0.0125 };
}

export const holding = (): Outcome => outcomeOf(`${shipped}/cold-start.yaml`);

/** Expects an arming sooner than it comes; line 11 of the file. */
export function failing(): Outcome {
  const folder = folderWith({
    'cold-start.yaml': (text) => text.replace('left.mode is armed, within: 2 s', 'left.mode is armed, within: 1 s'),
  });
  return outcomeOf(join(folder, 'cold-start.yaml'));
}

/** The failing run under a hostile title, file name and reason. */
export function hostile(title: string): Outcome {
  const { run, wallSeconds } = failing();
  const scenario = { ...run.scenario, title, file: `${title}.yaml`, benchTitle: title };
  const expectations = run.expectations.map((judged) => ({
    ...judged,
    text: `${judged.text} ${title}`,
    formula: { ...judged.formula, why: title },
    cause: judged.cause.map((link) => ({ ...link, says: title, cure: title })),
  }));
  return { run: { ...run, scenario, expectations }, wallSeconds };
}
