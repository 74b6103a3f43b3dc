/** Where a command writes: results to one stream, messages to the other. Handed in, so that tests can read them. */
export interface Streams {
  readonly out: (text: string) => void;
  readonly err: (text: string) => void;
  /** Escape codes for emphasis may be used on `out`. */
  readonly isColoured: boolean;
  /** Columns of the terminal behind `out`; undefined when it is no terminal. */
  readonly columns: number | undefined;
}

/** Colour is a help, never the only carrier of a meaning. */
export interface Paint {
  readonly good: (text: string) => string;
  readonly bad: (text: string) => string;
  readonly faint: (text: string) => string;
  readonly strong: (text: string) => string;
}

export function paintFor(streams: Streams): Paint {
  const wrap = (code: number, end: number) => (text: string) =>
    streams.isColoured ? `\u001b[${code}m${text}\u001b[${end}m` : text;
  return { good: wrap(32, 39), bad: wrap(31, 39), faint: wrap(2, 22), strong: wrap(1, 22) };
}
