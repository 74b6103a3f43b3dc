/** A real pseudo-terminal to test in: a pane of tmux that keys are sent to and whose screen is read. */
import { execFileSync, spawnSync } from 'node:child_process';

export const hasTmux = spawnSync('tmux', ['-V']).status === 0;
export const skipReason = 'tmux is not installed (apt-get install tmux), so nothing was tried in a terminal';

const PATIENCE_MILLISECONDS = 40_000;

export interface Pane {
  /** Types a command line and ends it. */
  run(command: string): void;
  /** Sends keys by tmux's names. */
  keys(...names: readonly string[]): void;
  type(text: string): void;
  screen(): string;
  /** Waits until the screen shows what is wanted, and gives it. */
  see(wanted: RegExp): Promise<string>;
  resize(columns: number, rows: number): void;
  /** A tmux format, such as `#{alternate_on}`. */
  ask(format: string): string;
  close(): void;
}

let paneCount = 0;

export function openPane(columns: number, rows: number, environment: Readonly<Record<string, string>>): Pane {
  paneCount += 1;
  const socket = `jackstand-test-${process.pid}-${paneCount}`;
  const tmux = (...args: readonly string[]): string =>
    execFileSync('tmux', ['-L', socket, ...args], { encoding: 'utf8' });
  const settings = Object.entries(environment).map(([name, value]) => `${name}=${value}`);
  // `-u`: whatever this test's own locale is, the pane can show every character.
  tmux(
    '-u',
    '-f',
    '/dev/null',
    'new-session',
    '-d',
    '-s',
    'test',
    '-x',
    String(columns),
    '-y',
    String(rows),
    'env',
    '-u',
    'CI',
    ...settings,
    'bash',
    '--norc',
    '--noprofile',
  );
  tmux('set-option', '-g', 'window-size', 'manual');
  tmux('resize-window', '-t', 'test', '-x', String(columns), '-y', String(rows));
  const pane: Pane = {
    run: (command) => {
      pane.type(command);
      pane.keys('Enter');
    },
    keys: (...names) => void tmux('send-keys', '-t', 'test', ...names),
    type: (text) => void tmux('send-keys', '-t', 'test', '-l', text),
    screen: () => tmux('capture-pane', '-p', '-t', 'test'),
    see: async (wanted) => {
      const end = performance.now() + PATIENCE_MILLISECONDS;
      for (;;) {
        const screen = pane.screen();
        if (wanted.test(screen)) return screen;
        if (performance.now() > end) throw new Error(`${wanted} did not come; the screen shows:\n${screen}`);
        await new Promise((resolve) => setTimeout(resolve, 100));
      }
    },
    resize: (width, height) => void tmux('resize-window', '-t', 'test', '-x', String(width), '-y', String(height)),
    ask: (format) => tmux('display-message', '-p', '-t', 'test', format).trim(),
    close: () => {
      spawnSync('tmux', ['-L', socket, 'kill-server']);
    },
  };
  return pane;
}
