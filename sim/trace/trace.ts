/**
 * The recorded signals of one run: a column of instants and a column of values for each signal.
 *
 * A signal is a function of time, right-continuous: at the instant of a sample it already has the new value. Before its
 * first sample it has no value (NaN); after its last one it keeps it.
 *
 * The latest samples of a column lie open, 16 bytes each; the others in blocks, which are packed when a trace is long
 * (pack-store.ts). `append` allocates only when the open part grows or a block is full. Hot path; see
 * test/speed/trace.bench.ts.
 */
import { assert, BrokenInvariant } from '../kernel/assert.ts';
import { BLOCK } from './pack.ts';
import { BlockStore, Blocks } from './pack-store.ts';
import type { SignalInfo } from './signal.ts';

const FIRST_CAPACITY = 64;
/** Room for a block, and for what must stay open after it. */
const LAST_CAPACITY = BLOCK + FIRST_CAPACITY;
export const BYTES_PER_SAMPLE = 16;

/** The samples of one signal, in order of time. */
export class Column {
  readonly signal: SignalInfo;
  length = 0;
  private readonly full: Blocks;
  /** How many samples lie in full blocks. Those after them are open; the last one always is, of a linear signal the last two. */
  private base = 0;
  private instants = new Float64Array(FIRST_CAPACITY);
  private values = new Float64Array(FIRST_CAPACITY);

  constructor(signal: SignalInfo, store = new BlockStore()) {
    this.signal = signal;
    this.full = new Blocks(store);
  }

  /**
   * Adds a sample; instants never go back. A held signal that is told its present value again takes no room. Of two
   * samples at one instant a held signal keeps the later. A linear one keeps both, which is a step; of three it keeps
   * the first, which ends the line before, and the last.
   */
  append(seconds: number, value: number): void {
    const { instants, values } = this;
    const last = this.length - this.base - 1;
    const lastSeconds = last < 0 ? Number.NEGATIVE_INFINITY : instants[last]!;
    if (!(seconds >= lastSeconds && seconds < Number.POSITIVE_INFINITY)) this.refuse(seconds, lastSeconds);
    if (this.signal.shape === 'linear') {
      if (last >= 1 && lastSeconds === seconds && instants[last - 1] === seconds) {
        values[last] = value;
        return;
      }
    } else if (lastSeconds === seconds) {
      this.replaceLastHeld(value);
      return;
    } else if (last >= 0 && isSame(values[last]!, value)) {
      return;
    }
    this.push(seconds, value);
  }

  /** The instant of a sample. */
  secondsAt(index: number): number {
    const { base } = this;
    return index >= base ? this.instants[index - base]! : this.full.open(index >>> BLOCK_BITS)[index & BLOCK_MASK]!;
  }

  /** The value of a sample. */
  valueAt(index: number): number {
    const { base } = this;
    return index >= base
      ? this.values[index - base]!
      : this.full.open(index >>> BLOCK_BITS)[BLOCK + (index & BLOCK_MASK)]!;
  }

  /** The first samples of another column, in place of all of its own. */
  takeOver(other: Column, length: number): void {
    const count = Math.min(length, other.length);
    const blocks = Math.min(other.full.count, Math.max(0, Math.floor((count - 2) / BLOCK)));
    this.full.takeOver(other.full, blocks);
    this.base = blocks * BLOCK;
    this.length = this.base;
    for (let index = this.base; index < count; index += 1) this.push(other.secondsAt(index), other.valueAt(index));
  }

  /** Back to a length that it had once, when the last sample was this one. */
  rewind(length: number, lastSeconds: number, lastValue: number): void {
    // Of a held signal the last sample may have been taken back since.
    this.cutTo(Math.max(0, length - 1));
    if (length > 0) this.push(lastSeconds, lastValue);
  }

  /** Index of the last sample at or before `seconds`, -1 before the first. */
  indexAt(seconds: number): number {
    const { base, length } = this;
    if (base === 0 || this.instants[0]! <= seconds) return base + countUpTo(this.instants, length - base, seconds) - 1;
    const block = this.full.indexAt(seconds);
    return block < 0 ? -1 : block * BLOCK + countUpTo(this.full.open(block), BLOCK, seconds) - 1;
  }

  /** The value at an instant; NaN before the first sample. */
  at(seconds: number): number {
    return this.valueFrom(this.indexAt(seconds), seconds);
  }

  /** The value that the signal comes from at an instant: differs from `at` only where it steps. NaN up to the first sample. */
  before(seconds: number): number {
    let index = this.indexAt(seconds);
    while (index >= 0 && this.secondsAt(index) === seconds) index -= 1;
    return this.valueFrom(index, seconds);
  }

  /** The value at `seconds` of the line that starts at sample `index`. */
  valueFrom(index: number, seconds: number): number {
    if (index < 0) return Number.NaN;
    const value = this.valueAt(index);
    if (this.signal.shape === 'held' || index + 1 >= this.length) return value;
    const start = this.secondsAt(index);
    const end = this.secondsAt(index + 1);
    const next = this.valueAt(index + 1);
    // A line to or from no number is no line; the signal then holds.
    if (seconds === start || !Number.isFinite(next - value)) return value;
    return seconds === end ? next : value + (next - value) * ((seconds - start) / (end - start));
  }

  *[Symbol.iterator](): Generator<{ readonly seconds: number; readonly value: number }> {
    for (let index = 0; index < this.length; index += 1)
      yield { seconds: this.secondsAt(index), value: this.valueAt(index) };
  }

  /** Adds to `held` each piece of memory that it holds. */
  countInto(held: Set<ArrayBufferLike>): void {
    held.add(this.instants.buffer).add(this.values.buffer);
    this.full.countInto(held);
  }

  private push(seconds: number, value: number): void {
    if (this.length - this.base === this.instants.length) this.makeRoom();
    const place = this.length - this.base;
    this.instants[place] = seconds;
    this.values[place] = value;
    this.length += 1;
  }

  private replaceLastHeld(value: number): void {
    const last = this.length - 1;
    // Back to what it was before this instant: there was no change at all.
    if (last >= 1 && isSame(this.valueAt(last - 1), value)) this.cutTo(last);
    else this.values[last - this.base] = value;
  }

  /** Apart from `append`, so that the facts are gathered only when something is wrong. */
  private refuse(seconds: number, lastSeconds: number): never {
    throw new BrokenInvariant('a sample out of order', { signal: this.signal.name, seconds, lastSeconds });
  }

  private makeRoom(): void {
    const { instants, values } = this;
    if (instants.length < LAST_CAPACITY) {
      const capacity = Math.min(2 * instants.length, LAST_CAPACITY);
      this.instants = new Float64Array(capacity);
      this.values = new Float64Array(capacity);
      this.instants.set(instants);
      this.values.set(values);
      return;
    }
    this.full.add(instants, values);
    instants.copyWithin(0, BLOCK);
    values.copyWithin(0, BLOCK);
    this.base += BLOCK;
  }

  /** Forgets the last samples. Where none would stay open, the block of the last one is opened again. */
  private cutTo(length: number): void {
    const { base, instants, values, full } = this;
    this.length = length;
    if (base === 0 || length > base) return;
    const blocks = Math.max(0, Math.floor((length - 1) / BLOCK));
    const opened = full.open(blocks);
    instants.set(opened.subarray(0, BLOCK));
    values.set(opened.subarray(BLOCK));
    full.cutTo(blocks);
    this.base = blocks * BLOCK;
  }
}

const BLOCK_BITS = Math.log2(BLOCK);
const BLOCK_MASK = BLOCK - 1;

/** How many of the first `length` of these rising instants are at or before `seconds`. */
function countUpTo(instants: Float64Array, length: number, seconds: number): number {
  let low = 0;
  let high = length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (instants[middle]! <= seconds) low = middle + 1;
    else high = middle;
  }
  return low;
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
    const store = new BlockStore();
    this.columns = signals.map((signal) => new Column(signal, store));
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
      lasts[index * 3 + 1] = last < 0 ? 0 : column.secondsAt(last);
      lasts[index * 3 + 2] = last < 0 ? 0 : column.valueAt(last);
    });
    return { endSeconds: this.end, lasts };
  }

  /** Forgets what was recorded after the mark. Marks older than it stay good, later ones do not. */
  rewind({ endSeconds, lasts }: TraceMark): void {
    this.end = endSeconds;
    for (const [index, column] of this.columns.entries())
      column.rewind(lasts[index * 3]!, lasts[index * 3 + 1]!, lasts[index * 3 + 2]!);
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

  /** Bytes that the columns hold: samples, room kept for growth, and room to unpack into. */
  get byteCount(): number {
    const held = new Set<ArrayBufferLike>();
    for (const column of this.columns) column.countInto(held);
    return [...held].reduce((sum, { byteLength }) => sum + byteLength, 0);
  }
}

/** Whether two samples say the same: NaN is NaN, and the two zeros are one number. */
function isSame(one: number, other: number): boolean {
  return one === other || (Number.isNaN(one) && Number.isNaN(other));
}
