/** Where a command writes: results to one stream, messages to the other. Handed in, so that tests can read them. */
import { Exit } from './exit.ts';

export interface Streams {
  readonly out: (text: string) => void;
  readonly err: (text: string) => void;
  /** Writes bytes as they are to where `out` writes; absent where that takes text alone. */
  readonly outBytes?: (bytes: Uint8Array) => void;
  /** Escape codes for emphasis may be used on `out`. */
  readonly isColoured: boolean;
  /** Columns of the terminal behind `out`; undefined when it is no terminal. */
  readonly columns: number | undefined;
  /** Columns of the terminal behind `err`, likewise. */
  readonly errColumns?: number | undefined;
  /** Shows on a terminal what is being done just now, in one line; an empty one takes it away. Absent where nobody watches. */
  readonly status?: (line: string) => void;
}

/** Colour is a help, never the only carrier of a meaning. */
export interface Paint {
  readonly good: (text: string) => string;
  readonly bad: (text: string) => string;
  readonly faint: (text: string) => string;
  readonly strong: (text: string) => string;
}

export function paintFor(streams: Pick<Streams, 'isColoured'>): Paint {
  const wrap = (code: number, end: number) => (text: string) =>
    streams.isColoured ? `\u001b[${code}m${text}\u001b[${end}m` : text;
  return { good: wrap(32, 39), bad: wrap(31, 39), faint: wrap(2, 22), strong: wrap(1, 22) };
}

/** What a shell reports of a program that died of a closed pipe: 128 + SIGPIPE. */
const PIPE_CLOSED = 141;

/** The streams of this process. */
export function processStreams({ stdout, stderr, env, exit }: NodeJS.Process): Streams {
  // A reader that has seen enough (`| head`) is no fault of ours, but what was not written was not said either.
  stdout.on('error', ({ code }: NodeJS.ErrnoException) => {
    if (code === 'EPIPE') exit(PIPE_CLOSED);
    stderr.write(`jackstand: the results could not be written (${code})\n`);
    exit(Exit.badInput);
  });
  stderr.on('error', () => {
    // Where messages cannot be written, that cannot be told either; the status still tells.
  });
  const isPlain = env.TERM === 'dumb';
  let isStatusShown = false;
  const clearStatus = (): void => {
    if (isStatusShown) stderr.write('\r\u001b[K');
    isStatusShown = false;
  };
  const status = (line: string): void => {
    clearStatus();
    if (line === '') return;
    // One line that would wrap could not be taken away again.
    stderr.write(line.slice(0, stderr.columns - 1));
    isStatusShown = true;
  };
  return {
    out: (text) => {
      clearStatus();
      stdout.write(text);
    },
    outBytes: (bytes) => {
      clearStatus();
      stdout.write(bytes);
    },
    err: (text) => {
      clearStatus();
      stderr.write(text);
    },
    isColoured: stdout.isTTY === true && !env.NO_COLOR && !isPlain,
    columns: stdout.isTTY === true ? stdout.columns : undefined,
    errColumns: stderr.isTTY === true ? stderr.columns : undefined,
    ...(stderr.isTTY === true && !isPlain ? { status } : {}),
  };
}
