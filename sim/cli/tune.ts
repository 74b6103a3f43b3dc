/** `jackstand tune`: timer settings and mapping constants that arm and drive with the widest worst-case margin. */
import { writeFileSync } from 'node:fs';
import { dirname, relative } from 'node:path';
import { loadBench } from '../bench/load-bench.ts';
import { printProblems } from '../bench/print.ts';
import { hasErrors, problemAt } from '../bench/problem.ts';
import { scenarioText } from '../campaign/tune/scenario-text.ts';
import { tune as searchTuning, type Tuned, type Tuning } from '../campaign/tune.ts';
import { Exit } from './exit.ts';
import { INTERRUPTED, interruptible } from './interrupt.ts';
import type { Streams } from './streams.ts';
import { tuneJson } from './tune-json.ts';
import { CAUTIONS, tuneText } from './tune-text.ts';

export interface TuneCommandOptions {
  readonly format?: string;
  /** Writes the chosen setting to this file, as a scenario. */
  readonly write?: string;
  /** Which row is chosen, counted from 1. */
  readonly row?: string;
  /** Lists all that fits, not only the first rows. */
  readonly all?: boolean;
}

/** Rows tried by simulation without being asked for. */
const TRIED_ROWS = 3;

/** Status 0 if a setting fits and holds in simulation, 1 if none does, 130 if the search was interrupted. */
export async function tune(path: string, options: TuneCommandOptions, streams: Streams): Promise<number> {
  const { value: bench, problems } = loadBench(path);
  const refuse = (says: string, at: string): number => {
    streams.err(`${printProblems([problemAt(path, 'refused', { path: at, says })])}\n`);
    return Exit.badInput;
  };
  if (bench === undefined || hasErrors(problems)) {
    streams.err(`${printProblems(problems)}\n`);
    return Exit.badInput;
  }
  const row = Number(options.row ?? 1);
  if (!Number.isInteger(row) || row < 1) return refuse(`\`${options.row}\` is no row of the table`, '--row');
  const outcome = await interruptible((signal) =>
    searchTuning(bench, {
      signal,
      // The row that is told in full is always tried.
      confirmCount: Math.max(TRIED_ROWS, row),
      progress: (done, total, what) => streams.status?.(`${done} of ${total}: ${what}`),
    }),
  );
  streams.status?.('');
  if ('says' in outcome) return refuse(outcome.says, 'board.firmware');
  const { tuning } = outcome;
  const chosen = tuning.tuned[row - 1];
  if (chosen === undefined && tuning.tuned.length > 0 && row > 1)
    return refuse(`the table has ${tuning.tuned.length} rows`, '--row');
  streams.out(
    options.format === 'json' ? tuneJson(tuning) : tuneText(tuning, { row, isAll: options.all === true }, streams),
  );
  if (options.write !== undefined) {
    const failure = written(tuning, chosen, options.write);
    if (failure !== undefined) return refuse(failure, '--write');
    streams.err(`written: ${options.write}; try it with \`jackstand run ${options.write}\`\n`);
  }
  if (tuning.isInterrupted) {
    streams.err('jackstand: interrupted; this is what had been found\n');
    return INTERRUPTED;
  }
  return chosen?.fits === true && chosen.confirmation?.holds !== false ? Exit.holds : Exit.failed;
}

/** Writes the scenario, or says why not. */
function written({ bench, path }: Tuning, chosen: Tuned | undefined, file: string): string | undefined {
  if (chosen?.fits !== true) return 'nothing fits, so there is nothing to write';
  const { constants, patch, setup } = chosen;
  const from = relative(dirname(file), bench.file) || bench.file;
  const text = scenarioText(bench.parts, path, constants, patch, {
    bench: from,
    title: `${bench.title}, tuned: ${setup.timer.name} mode ${setup.waveform.number}, divider ${setup.prescaler}`,
  });
  const head = [
    'Timer setting and constants found by jackstand tune. It can say that a design fails; it cannot prove one safe.',
    ...CAUTIONS,
  ];
  try {
    writeFileSync(file, `${head.map((line) => `# ${line}`).join('\n')}\n${text}`);
    return undefined;
  } catch (error) {
    return `${file} cannot be written: ${(error as NodeJS.ErrnoException).code ?? String(error)}`;
  }
}
