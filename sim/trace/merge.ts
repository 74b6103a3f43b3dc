/** All instants at which any of many columns has a sample, in order, each once. Hot path; see test/speed/trace.bench.ts. */
import type { Column } from './trace.ts';

/** A walk over many columns at once. `next` moves to the next instant; `at[c]` is then the last sample of column c up to it. */
export class ColumnWalk {
  /** Index of the last sample at or before the present instant; -1 before the first. */
  readonly at: Int32Array;
  /** The same, before the last call of `next`. */
  readonly before: Int32Array;
  /** The present instant. */
  seconds = Number.NaN;
  private readonly columns: readonly Column[];

  constructor(columns: readonly Column[]) {
    this.columns = columns;
    this.at = new Int32Array(columns.length).fill(-1);
    this.before = new Int32Array(columns.length).fill(-1);
  }

  /** Moves on; false at the end. */
  next(): boolean {
    const { columns, at, before } = this;
    let seconds = Number.POSITIVE_INFINITY;
    for (let index = 0; index < columns.length; index += 1) {
      const column = columns[index]!;
      const following = at[index]! + 1;
      if (following < column.length && column.secondsAt(following) < seconds) seconds = column.secondsAt(following);
    }
    if (seconds === Number.POSITIVE_INFINITY) return false;
    for (let index = 0; index < columns.length; index += 1) {
      const column = columns[index]!;
      before[index] = at[index]!;
      while (at[index]! + 1 < column.length && column.secondsAt(at[index]! + 1) === seconds) at[index]! += 1;
    }
    this.seconds = seconds;
    return true;
  }
}
