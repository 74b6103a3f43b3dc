/** `jackstand drive`: the dashboard live, with the keyboard for hands and feet; what was done can be saved. */
import { writeFileSync } from 'node:fs';
import { printProblems } from '../bench/print.ts';
import { hasErrors } from '../bench/problem.ts';
import { playOf } from '../dashboard/drive.ts';
import { loadGround } from '../dashboard/ground.ts';
import { openDashboard, wantsAscii } from '../dashboard/open.ts';
import { Session } from '../dashboard/session.ts';
import { Exit } from './exit.ts';
import { kindOf } from './find-files.ts';
import type { Streams } from './streams.ts';

export interface DriveOptions {
  readonly ascii?: boolean;
}

export async function drive(
  file: string,
  options: DriveOptions,
  streams: Streams,
  program: NodeJS.Process,
): Promise<number> {
  const { value: ground, problems } = loadGround(file, kindOf(file) === 'scenario');
  if (ground === undefined || hasErrors(problems)) {
    streams.err(`${printProblems(problems)}\n`);
    return Exit.badInput;
  }
  const { stdin, stdout, env } = program;
  if (stdin.isTTY !== true || stdout.isTTY !== true) {
    streams.err('jackstand drive takes keys and so needs a terminal; jackstand show prints a frame without one\n');
    return Exit.badInput;
  }
  const session = new Session({
    plays: [playOf({ ground, steps: [] })],
    ground,
    clock: () => performance.now(),
    write: writeNew,
  });
  session.isPlaying = true;
  session.say('p switches the power on, up and down work the pedal, ? lists all keys');
  await openDashboard(session, { stdin, stdout, program, isAscii: wantsAscii(options.ascii === true, env) });
  return Exit.holds;
}

/** Writes a file that is not there yet: what somebody drove before is not lost by a default name. */
function writeNew(file: string, text: string): string | undefined {
  try {
    writeFileSync(file, text, { flag: 'wx' });
    return undefined;
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? String(error.code) : 'unknown';
    return code === 'EEXIST' ? 'there is such a file already; give another name' : `it cannot be written (${code})`;
  }
}
