/** `jackstand show`: the dashboard over one scenario, or over several that a key switches between. */
import { printProblems } from '../bench/print.ts';
import { hasErrors } from '../bench/problem.ts';
import { openDashboard, printedFrame, wantsAscii } from '../dashboard/open.ts';
import { playOfScenario, Session } from '../dashboard/session.ts';
import { parseQuantity, quantityMistakeWords } from '../units/index.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { Exit } from './exit.ts';
import type { Streams } from './streams.ts';

export interface ShowOptions {
  readonly ascii?: boolean;
  /** Stands paused at this instant instead of playing from the start. */
  readonly at?: string;
}

export async function show(
  files: readonly string[],
  options: ShowOptions,
  streams: Streams,
  program: NodeJS.Process,
): Promise<number> {
  const loaded = files.map((file) => loadScenario(file));
  const problems = loaded.flatMap((scenario) => scenario.problems);
  const scenarios = loaded.flatMap(({ value }) => (value === undefined ? [] : [value]));
  if (hasErrors(problems) || scenarios.length === 0) {
    streams.err(`${printProblems(problems)}\n`);
    return Exit.badInput;
  }
  const session = new Session({ plays: scenarios.map(playOfScenario), clock: () => performance.now() });
  const { stdin, stdout, env } = program;
  const isTerminal = stdin.isTTY === true && stdout.isTTY === true;
  if (options.at !== undefined) {
    const parsed = parseQuantity(options.at, 'time');
    if ('mistake' in parsed) {
      streams.err(`--at: ${quantityMistakeWords(parsed.mistake).says}\n`);
      return Exit.badInput;
    }
    session.player.seek(parsed.quantity.value);
  } else if (!isTerminal) session.player.seek(session.player.endSeconds);
  session.moved();
  const isAscii = wantsAscii(options.ascii === true, env);
  if (!isTerminal) {
    const columns = Number.parseInt(env.COLUMNS ?? '', 10);
    const rows = Number.parseInt(env.LINES ?? '', 10);
    streams.out(printedFrame(session, isAscii, columns || undefined, rows || undefined));
    return Exit.holds;
  }
  session.isPlaying = options.at === undefined;
  await openDashboard(session, { stdin, stdout, program, isAscii });
  return Exit.holds;
}
