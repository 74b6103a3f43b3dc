/**
 * A campaign as a worker sees it: so many runs, each of which can be made by itself from files and a number. That is what
 * makes the result the same whatever the number of workers or shards, and lets a broken-off campaign be taken up again.
 */
export interface Craft {
  readonly count: number;
  /** The outcome of one run, as plain JSON. The same for the same number, whoever asks and in whatever order. */
  row(index: number): unknown;
}

/** What a craft is opened with: plain JSON too, files by their paths. */
export interface CraftRequest {
  readonly kind: string;
}
