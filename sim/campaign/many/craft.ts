/**
 * A campaign as a worker sees it: so many rows, each of which can be made by itself from files and a number. That is what
 * makes the result the same whatever the number of workers or shards, and lets a broken-off campaign be taken up again.
 */
export interface Craft {
  readonly count: number;
  /**
   * One row, as plain JSON. The same for the same number, whoever asks and in whatever order. A row of many runs tells its
   * minder after some of them, and gives `undefined` when it is no longer wanted.
   */
  row(index: number, minder: Minder): unknown;
}

/** Whoever waits for a row. */
export interface Minder {
  /** So many more runs are done. True when the row is no longer wanted. */
  done(runs: number): Promise<boolean>;
}

/** What a craft is opened with: plain JSON too, files by their paths. */
export interface CraftRequest {
  readonly kind: string;
}

/** Rows by their numbers; a `Map` is one. */
export interface RowsMade extends Iterable<[number, unknown]> {
  readonly size: number;
  has(index: number): boolean;
  get(index: number): unknown;
}

/** Rows to which those are added that are made. */
export interface Rows extends RowsMade {
  set(index: number, row: unknown): unknown;
}
