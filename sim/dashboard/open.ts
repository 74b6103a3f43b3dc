/** Opens a session on a terminal and waits until it is left; without a terminal, its last frame as text. */
import type { ReadStream, WriteStream } from 'node:tty';
import { render } from 'ink';
import { createElement } from 'react';
import { Dashboard } from './Dashboard.tsx';
import { asciiGlyphs, type Glyphs, isUtf8, unicodeGlyphs } from './glyphs.ts';
import { textOf } from './line.ts';
import { LEAST_COLUMNS, screenLines } from './screen.ts';
import type { Session } from './session.ts';
import { borrowTerminal } from './terminal.ts';

export interface Place {
  readonly stdin: ReadStream;
  readonly stdout: WriteStream;
  readonly program: NodeJS.Process;
  readonly isAscii: boolean;
}

/** Rejects with what went wrong inside, the terminal being already given back. */
export async function openDashboard(session: Session, { stdin, stdout, program, isAscii }: Place): Promise<void> {
  const isColoured = !program.env.NO_COLOR && program.env.TERM !== 'dumb';
  const borrowed = borrowTerminal(stdin, stdout, program);
  try {
    const props = { session, glyphs: glyphsFor(isAscii), isColoured };
    const app = render(createElement(Dashboard, props), { stdin, stdout, exitOnCtrlC: false, patchConsole: false });
    await app.waitUntilExit();
  } finally {
    borrowed.giveBack();
  }
}

export function glyphsFor(isAscii: boolean): Glyphs {
  return isAscii ? asciiGlyphs : unicodeGlyphs;
}

/** ASCII where it is asked for, and where the terminal promises no UTF-8. */
export function wantsAscii(flag: boolean, environment: NodeJS.ProcessEnv): boolean {
  return flag || environment.TERM === 'linux' || !isUtf8(environment);
}

const PRINTED_ROWS = 40;

/** The screen as plain text, for a file or a pipe. */
export function printedFrame(session: Session, isAscii: boolean, columns = 100, rows = PRINTED_ROWS): string {
  const lines = screenLines(session, Math.max(columns, LEAST_COLUMNS), rows, glyphsFor(isAscii));
  // The last line lists keys, which a file does not have.
  return `${lines
    .slice(0, -1)
    .map((line) => textOf(line).trimEnd())
    .join('\n')}\n`;
}
