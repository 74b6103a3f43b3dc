/** `jackstand check`: says what is wrong with files, or what they hold, without running anything. */
import { signalsOf } from '../bench/assemble.ts';
import { loadBench } from '../bench/load-bench.ts';
import { hasErrors, type Problem } from '../bench/problem.ts';
import { type DescribedPart, settleParts } from '../bench/schema.ts';
import { readSuite } from '../campaign/suite.ts';
import type { SignalInfo } from '../kernel/signal.ts';
import { unitFor } from '../units/index.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { Exit } from './exit.ts';
import { findFiles, kindOf } from './find-files.ts';
import { tellProblems } from './problems.ts';
import type { Streams } from './streams.ts';

export async function check(
  paths: readonly string[],
  options: { readonly signals?: boolean },
  streams: Streams,
): Promise<number> {
  const found = await findFiles(paths, ['bench', 'scenario']);
  const problems: Problem[] = [...found.problems];
  for (const file of found.files) {
    if (kindOf(file) === 'suite') {
      const suite = readSuite(file);
      problems.push(...suite.problems);
      if (suite.value !== undefined)
        streams.out(
          `${file}: a suite of ${suite.value.contents.scenarios.length} scenarios, no errors in its form; a bench fills it in\n`,
        );
      continue;
    }
    const isScenario = kindOf(file) === 'scenario';
    const loaded = isScenario ? loadScenario(file) : loadBench(file);
    problems.push(...loaded.problems);
    if (loaded.value === undefined) continue;
    const { parts } = loaded.value;
    if (options.signals === true) streams.out(`${file}\n${signalList(parts)}`);
    else streams.out(`${file}: ${isScenario ? 'a scenario' : 'a bench'} of ${parts.length} parts, no errors\n`);
  }
  tellProblems(problems, streams);
  return hasErrors(problems) ? Exit.badInput : Exit.holds;
}

function signalList(parts: readonly DescribedPart[]): string {
  const signals = signalsOf(settleParts(parts));
  const width = Math.max(...signals.map(({ name }) => name.length));
  return signals
    .map((signal) => `  ${signal.name.padEnd(width)}  ${unitWords(signal).padEnd(6)}  ${signal.means}\n`)
    .join('');
}

function unitWords({ modes, dimension }: SignalInfo): string {
  if (modes !== undefined) return 'word';
  const { unit } = unitFor(dimension);
  return unit === '1' ? '-' : unit;
}
