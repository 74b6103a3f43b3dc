/**
 * A campaign as a worker sees it: so many rows, each of which can be made by itself from files and a number. That is what
 * makes the result the same whatever the number of workers or shards, and lets a broken-off campaign be taken up again.
 */
export interface Craft {
  readonly count: number;
  /**
   * One row, as plain JSON. The same for the same number, whoever asks and in whatever order. A row of many runs tells its
   * minder after some of them, and when it is no longer wanted gives what there is of it, which it goes on from when it is
   * asked again with that as `begun`.
   */
  row(index: number, minder: Minder, begun?: BegunRow): unknown;
}

/** A row of many runs that was broken off. */
export interface BegunRow {
  /** Runs that are done of it. */
  readonly runs: number;
  /** What it takes to go on, as plain JSON. */
  readonly goOn: unknown;
}

export function isBegun(row: unknown): row is BegunRow {
  return typeof row === 'object' && row !== null && 'goOn' in row;
}

/** Runs of which there is a row, where a whole row has `runsPerRow` of them. */
export function runsIn(rows: RowsMade, runsPerRow: number): number {
  let runs = 0;
  for (const [, row] of rows) runs += isBegun(row) ? row.runs : runsPerRow;
  return runs;
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
