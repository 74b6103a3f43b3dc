/**
 * Borrows the terminal and gives it back as it was: the alternate screen left, the cursor shown, raw mode off. On
 * leaving, on a crash, and on every signal that ends the program.
 */
import type { ReadStream, WriteStream } from 'node:tty';

/** Alternate screen (xterm private mode 1049) and cursor (DEC private mode 25). */
const ENTER = '\u001b[?1049h\u001b[?25l\u001b[2J\u001b[H';
const LEAVE = '\u001b[0m\u001b[?25h\u001b[?1049l';
const SIGNALS = ['SIGINT', 'SIGTERM', 'SIGHUP', 'SIGQUIT'] as const;

export interface Borrowed {
  /** Gives the terminal back; a second call does nothing. */
  readonly giveBack: () => void;
}

export function borrowTerminal(stdin: ReadStream, stdout: WriteStream, program: NodeJS.Process): Borrowed {
  let isBorrowed = true;
  const giveBack = (): void => {
    if (!isBorrowed) return;
    isBorrowed = false;
    for (const signal of SIGNALS) program.off(signal, bySignal);
    program.off('exit', giveBack);
    program.off('uncaughtExceptionMonitor', giveBack);
    if (stdin.isTTY && !stdin.destroyed) stdin.setRawMode(false);
    if (!stdout.destroyed) stdout.write(LEAVE);
  };
  const bySignal = (signal: NodeJS.Signals): void => {
    giveBack();
    // Sent once more with nobody listening, so that the parent sees by what the program ended.
    program.kill(program.pid, signal);
  };
  for (const signal of SIGNALS) program.on(signal, bySignal);
  program.on('exit', giveBack);
  // Before anybody writes what went wrong, since that would be lost with the alternate screen.
  program.on('uncaughtExceptionMonitor', giveBack);
  stdout.write(ENTER);
  return { giveBack };
}
