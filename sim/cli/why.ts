/** `jackstand why`: the cause of a failure, the margins of a pass, and the single changes that would turn the verdict. */

import { printProblems } from '../bench/print.ts';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import { suggest } from '../bench/suggest.ts';
import { pathsOf, why as searchWhy } from '../campaign/why.ts';
import { keepInliningNarrow } from '../kernel/inlining.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { Exit } from './exit.ts';
import { INTERRUPTED, interruptible } from './interrupt.ts';
import type { Streams } from './streams.ts';
import { whyJson } from './why-json.ts';
import { whyText } from './why-text.ts';

export interface WhyCommandOptions {
  readonly format?: string;
  /** Only parameters whose path begins so. */
  readonly only?: string;
}

/** Status 0 if the scenario holds and 1 if not, whatever would turn it; 130 if the search was interrupted. */
export async function why(path: string, options: WhyCommandOptions, streams: Streams): Promise<number> {
  const { value: scenario, problems } = loadScenario(path);
  if (scenario === undefined || hasErrors(problems)) {
    streams.err(`${printProblems(problems)}\n`);
    return Exit.badInput;
  }
  const { only } = options;
  const isWanted = (name: string): boolean => only === undefined || name === only || name.startsWith(`${only}.`);
  const paths = pathsOf(scenario);
  if (!paths.some(isWanted)) {
    streams.err(`${printProblems([nothingThere(only!, paths)])}\n`);
    return Exit.badInput;
  }
  keepInliningNarrow();
  const report = await interruptible((signal) =>
    searchWhy(scenario, {
      signal,
      progress: (done, total, name) => streams.status?.(`${done} of ${total} tried: ${name}`),
      only: isWanted,
    }),
  );
  streams.status?.('');
  streams.out(options.format === 'json' ? whyJson(report) : whyText(report, streams));
  if (report.isInterrupted) {
    streams.err('jackstand: interrupted; this is what had been found\n');
    return INTERRUPTED;
  }
  return report.run.holds ? Exit.holds : Exit.failed;
}

function nothingThere(only: string, paths: readonly string[]): Problem {
  const stems = paths.flatMap((path) => path.split('.').map((_, index, steps) => steps.slice(0, index + 1).join('.')));
  const nearest = suggest(only, [...new Set(stems)]);
  return problemAt(only, 'refused', {
    path: '--only',
    says: 'the bench has no number and no choice there',
    ...(nearest === undefined ? {} : { nearest }),
  });
}
