/**
 * The recorded signals of one run: a column of instants and a column of values for each signal.
 *
 * A signal is a function of time, right-continuous: at the instant of a sample it already has the new value. Before its
 * first sample it has no value (NaN); after its last one it keeps it.
 *
 * A sample takes 16 bytes. `append` allocates only when a column doubles. Hot path; see test/speed/trace.bench.ts.
 */
import { assert, BrokenInvariant } from '../kernel/assert.ts';
import type { SignalInfo } from './signal.ts';

const FIRST_CAPACITY = 64;
export const BYTES_PER_SAMPLE = 16;

/** The samples of one signal, in order of time. Only the first `length` entries of the arrays count. */
export class Column {
  readonly signal: SignalInfo;
  times = new Float64Array(FIRST_CAPACITY);
  values = new Float64Array(FIRST_CAPACITY);
  length = 0;

  constructor(signal: SignalInfo) {
    this.signal = signal;
  }

  /**
   * Adds a sample; instants never go back. A held signal that is told its present value again takes no room. Of two
   * samples at one instant a held signal keeps the later. A linear one keeps both, which is a step; of three it keeps
   * the first, which ends the line before, and the last.
   */
  append(seconds: number, value: number): void {
    const { times, values, length } = this;
    const last = length - 1;
    const lastSeconds = last < 0 ? Number.NEGATIVE_INFINITY : times[last]!;
    if (!(seconds >= lastSeconds && seconds < Number.POSITIVE_INFINITY)) this.refuse(seconds, lastSeconds);
    if (this.signal.shape === 'linear') {
      if (last >= 1 && lastSeconds === seconds && times[last - 1] === seconds) {
        values[last] = value;
        return;
      }
    } else if (lastSeconds === seconds) {
      this.replaceLastHeld(value);
      return;
    } else if (last >= 0 && isSame(values[last]!, value)) {
      return;
    }
    if (length === times.length) this.grow();
    this.times[length] = seconds;
    this.values[length] = value;
    this.length = length + 1;
  }

  /** The first samples of another column, in place of all of its own. */
  takeOver({ times, values }: Column, length: number): void {
    while (this.times.length < length) this.grow();
    this.times.set(times.subarray(0, length));
    this.values.set(values.subarray(0, length));
    this.length = length;
  }

  /** Index of the last sample at or before `seconds`, -1 before the first. */
  indexAt(seconds: number): number {
    const { times } = this;
    let low = 0;
    let high = this.length;
    while (low < high) {
      const middle = (low + high) >>> 1;
      if (times[middle]! <= seconds) low = middle + 1;
      else high = middle;
    }
    return low - 1;
  }

  /** The value at an instant; NaN before the first sample. */
  at(seconds: number): number {
    return this.valueFrom(this.indexAt(seconds), seconds);
  }

  /** The value that the signal comes from at an instant: differs from `at` only where it steps. NaN up to the first sample. */
  before(seconds: number): number {
    let index = this.indexAt(seconds);
    while (index >= 0 && this.times[index] === seconds) index -= 1;
    return this.valueFrom(index, seconds);
  }

  /** The value at `seconds` of the line that starts at sample `index`. */
  valueFrom(index: number, seconds: number): number {
    if (index < 0) return Number.NaN;
    const value = this.values[index]!;
    if (this.signal.shape === 'held' || index + 1 >= this.length) return value;
    const start = this.times[index]!;
    const end = this.times[index + 1]!;
    const next = this.values[index + 1]!;
    // A line to or from no number is no line; the signal then holds.
    if (seconds === start || !Number.isFinite(next - value)) return value;
    return seconds === end ? next : value + (next - value) * ((seconds - start) / (end - start));
  }

  *[Symbol.iterator](): Generator<{ readonly seconds: number; readonly value: number }> {
    for (let index = 0; index < this.length; index += 1)
      yield { seconds: this.times[index]!, value: this.values[index]! };
  }

  private replaceLastHeld(value: number): void {
    const last = this.length - 1;
    // Back to what it was before this instant: there was no change at all.
    if (last >= 1 && isSame(this.values[last - 1]!, value)) this.length = last;
    else this.values[last] = value;
  }

  /** Apart from `append`, so that the facts are gathered only when something is wrong. */
  private refuse(seconds: number, lastSeconds: number): never {
    throw new BrokenInvariant('a sample out of order', { signal: this.signal.name, seconds, lastSeconds });
  }

  private grow(): void {
    const times = new Float64Array(this.times.length * 2);
    const values = new Float64Array(times.length);
    times.set(this.times);
    values.set(this.values);
    this.times = times;
    this.values = values;
  }
}

export interface TraceMark {
  readonly endSeconds: number;
  /** For each column its length, and instant and value of its last sample. */
  readonly lasts: Float64Array;
}

export class Trace {
  readonly columns: readonly Column[];
  private readonly byName: ReadonlyMap<string, Column>;
  private end = 0;

  constructor(signals: readonly SignalInfo[]) {
    this.columns = signals.map((signal) => new Column(signal));
    this.byName = new Map(this.columns.map((column) => [column.signal.name, column]));
    assert(this.byName.size === signals.length, 'two signals with one name', {
      names: signals.map((signal) => signal.name),
    });
  }

  /** Adds a sample of the signal with this number, in the order in which the signals were given. */
  append(signalIndex: number, seconds: number, value: number): void {
    this.columns[signalIndex]!.append(seconds, value);
    if (seconds > this.end) this.end = seconds;
  }

  /** Says that the run went on to this instant, whether or not anything changed there. */
  finish(endSeconds: number): void {
    assert(endSeconds >= this.end, 'the run ended before its last sample', { endSeconds, last: this.end });
    this.end = endSeconds;
  }

  /** The end of the run: what `finish` said, or the last sample so far. It starts at 0. */
  get endSeconds(): number {
    return this.end;
  }

  /** Everything needed to forget later what is recorded from now on. */
  mark(): TraceMark {
    const lasts = new Float64Array(this.columns.length * 3);
    this.columns.forEach((column, index) => {
      const last = column.length - 1;
      lasts[index * 3] = column.length;
      // Of a held signal the last sample itself may be taken back later, so that its length alone would not do.
      lasts[index * 3 + 1] = last < 0 ? 0 : column.times[last]!;
      lasts[index * 3 + 2] = last < 0 ? 0 : column.values[last]!;
    });
    return { endSeconds: this.end, lasts };
  }

  /** Forgets what was recorded after the mark. Marks older than it stay good, later ones do not. */
  rewind({ endSeconds, lasts }: TraceMark): void {
    this.end = endSeconds;
    this.columns.forEach((column, index) => {
      column.length = lasts[index * 3]!;
      if (column.length === 0) return;
      column.times[column.length - 1] = lasts[index * 3 + 1]!;
      column.values[column.length - 1] = lasts[index * 3 + 2]!;
    });
  }

  /** Takes over what another trace of the same signals had recorded at a mark; the other one may have gone on since. */
  goOnFrom(other: Trace, mark: TraceMark): void {
    assert(other.columns.length === this.columns.length, 'a trace goes on from one of other signals', {});
    for (const [index, column] of this.columns.entries())
      column.takeOver(other.columns[index]!, mark.lasts[index * 3]!);
    this.rewind(mark);
  }

  column(name: string): Column | undefined {
    return this.byName.get(name);
  }

  get sampleCount(): number {
    return this.columns.reduce((sum, column) => sum + column.length, 0);
  }

  /** Bytes that the columns hold, the room kept for growth included. */
  get byteCount(): number {
    return this.columns.reduce((sum, column) => sum + column.times.byteLength + column.values.byteLength, 0);
  }
}

/** Whether two samples say the same: NaN is NaN, and the two zeros are one number. */
function isSame(one: number, other: number): boolean {
  return one === other || (Number.isNaN(one) && Number.isNaN(other));
}
