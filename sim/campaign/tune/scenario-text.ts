/** A tuned setting as a scenario file that tries it. */
import { Document, isScalar, isSeq, visit } from 'yaml';
import type { Patch } from '../../../models/throttle/patch.ts';
import type { DescribedPart, ThrottlePath } from '../../../models/throttle/path.ts';
import type { Constants } from '../../../models/throttle/standing.ts';
import { trialOf } from '../../../models/throttle/trial.ts';

/** A scenario file with this patch in it. `bench` is the bench file as seen from the scenario's folder. */
export function scenarioText(
  parts: readonly DescribedPart[],
  path: ThrottlePath,
  constants: Constants,
  patch: Patch,
  { bench, title }: { readonly bench: string; readonly title: string },
): string {
  const trial = trialOf(parts, path, constants.output[1] - constants.output[0]);
  const head = {
    scenario: title,
    bench,
    ...(Object.keys(patch).length === 0 ? {} : { with: patch }),
    seed: 1,
    duration: `${trial.durationSeconds} s`,
    steps: trial.steps,
    expect: trial.expect,
  };
  return yamlText(head);
}

/** YAML as the shipped files have it: lists of values, and the entries of a list of steps, on one line each. */
export function yamlText(value: unknown): string {
  const document = new Document(value);
  visit(document, {
    Seq: (_, node) => {
      if (node.items.every(isScalar)) node.flow = true;
    },
    Map: (_, node, ancestors) => {
      if (isSeq(ancestors.at(-1))) node.flow = true;
    },
  });
  return document.toString({ lineWidth: 0 });
}
