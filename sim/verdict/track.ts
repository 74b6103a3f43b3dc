/**
 * How true a statement is over time: its margin, which runs straight between breakpoints and may step at them, and its
 * truth, which is constant between breakpoints.
 *
 * Margin and truth are kept apart because at margin 0 only the statement itself knows: `x < 5` is false at 5, `x <= 5`
 * true. The instant of a breakpoint and the stretch after it are kept apart for the same reason.
 * Invariant: where the truth is true the margin is 0 or more, where false 0 or less.
 * Hot path; see test/speed/trace.bench.ts.
 */
import { assert } from '../kernel/assert.ts';
import { Room } from '../kernel/room.ts';

const FIRST_CAPACITY = 64;
/** Four numbers and two truths; and what is left free between arrays. */
const BYTES_A_BREAKPOINT = 4 * 8 + 2;
const BYTES_BESIDE = 16;
/** Whole numbers below this have no more than 15 digits. */
const WHOLE_MOST = 1e15;

/** A place in time: an instant (side 0), or the limit just before it (-1) or just after it (1). */
export interface Place {
  readonly seconds: number;
  readonly side: -1 | 0 | 1;
}

/** A margin and a truth at a place. */
export interface Reading extends Place {
  readonly margin: number;
  readonly truth: boolean;
}

/** Breakpoint `k` and the open stretch from it to breakpoint `k + 1`. The last breakpoint has no stretch after it. */
export class Track {
  length = 0;
  times: Float64Array<ArrayBuffer>;
  /** Margin at the breakpoint itself. */
  points: Float64Array<ArrayBuffer>;
  /** Margin just after the breakpoint, and just before the next one. */
  starts: Float64Array<ArrayBuffer>;
  ends: Float64Array<ArrayBuffer>;
  pointTruths: Uint8Array<ArrayBuffer>;
  openTruths: Uint8Array<ArrayBuffer>;

  /** `capacity` is how many breakpoints it will have, as far as that is known. */
  constructor(capacity: number = FIRST_CAPACITY) {
    const room = new Room(BYTES_A_BREAKPOINT * capacity + BYTES_BESIDE);
    this.times = room.doubles(capacity);
    this.points = room.doubles(capacity);
    this.starts = room.doubles(capacity);
    this.ends = room.doubles(capacity);
    this.pointTruths = room.bytes(capacity);
    this.openTruths = room.bytes(capacity);
  }

  /** Adds a breakpoint with the stretch after it; breakpoints come in order of time. */
  push(seconds: number, point: number, pointTruth: number, start: number, end: number, openTruth: number): void {
    const index = this.length;
    if (index === this.times.length) this.grow();
    this.times[index] = seconds;
    this.points[index] = point;
    this.pointTruths[index] = pointTruth;
    this.starts[index] = start;
    this.ends[index] = end;
    this.openTruths[index] = openTruth;
    this.length = index + 1;
  }

  /** Adds the last breakpoint. */
  close(seconds: number, point: number, pointTruth: number): void {
    this.push(seconds, point, pointTruth, point, point, pointTruth);
  }

  get firstSeconds(): number {
    return this.times[0]!;
  }

  get lastSeconds(): number {
    return this.times[this.length - 1]!;
  }

  /** Index of the last breakpoint at or before `seconds`. */
  indexAt(seconds: number): number {
    let low = 0;
    let high = this.length;
    while (low < high) {
      const middle = (low + high) >>> 1;
      if (this.times[middle]! <= seconds) low = middle + 1;
      else high = middle;
    }
    return low - 1;
  }

  /** Margin in the stretch after breakpoint `index`, at an instant within it or at one of its ends. */
  within(index: number, seconds: number): number {
    const start = this.starts[index]!;
    const end = this.ends[index]!;
    if (start === end) return start;
    const from = this.times[index]!;
    return between(start, end, (seconds - from) / (this.times[index + 1]! - from));
  }

  /** The place, moved onto the breakpoint that it means, and into the track. */
  near(place: Place): Place {
    const { seconds, side } = place;
    if (seconds > this.lastSeconds) return { seconds: this.lastSeconds, side: 0 };
    const index = this.indexAt(seconds + slackAt(seconds));
    assert(index >= 0, 'a place before the track', { seconds, first: this.firstSeconds });
    const at = this.times[index]!;
    return at >= seconds - slackAt(seconds) ? { seconds: at, side } : place;
  }

  read(place: Place): Reading {
    const { seconds, side } = this.near(place);
    const index = this.indexAt(seconds);
    const isOn = this.times[index] === seconds;
    if (isOn && side === -1 && index > 0) {
      return { seconds, side, margin: this.ends[index - 1]!, truth: this.openTruths[index - 1] === 1 };
    }
    if (isOn && side <= 0) {
      return { seconds, side: 0, margin: this.points[index]!, truth: this.pointTruths[index] === 1 };
    }
    const margin = isOn ? this.starts[index]! : this.within(index, seconds);
    return { seconds, side, margin, truth: this.openTruths[index] === 1 };
  }

  /** The opposite statement. */
  negated(): Track {
    const result = new Track(0);
    const { length } = this;
    result.length = length;
    result.times = this.times;
    result.points = this.points.map(negative);
    result.starts = this.starts.map(negative);
    result.ends = this.ends.map(negative);
    result.pointTruths = this.pointTruths.map(opposite);
    result.openTruths = this.openTruths.map(opposite);
    return result;
  }

  /** The same track with margin and truth overwritten from a place on to the end. The place is at a breakpoint. */
  overwrittenFrom(place: Place, margin: number, truth: number): Track {
    const result = new Track(0);
    const index = this.indexAt(place.seconds);
    assert(this.times[index] === place.seconds && place.side >= 0, 'not at a breakpoint', { ...place });
    const pointIndex = place.side === 0 ? index : index + 1;
    result.length = this.length;
    result.times = this.times;
    result.points = this.points.slice().fill(margin, pointIndex);
    result.pointTruths = this.pointTruths.slice().fill(truth, pointIndex);
    result.starts = this.starts.slice().fill(margin, index);
    result.ends = this.ends.slice().fill(margin, index);
    result.openTruths = this.openTruths.slice().fill(truth, index);
    return result;
  }

  private grow(): void {
    const capacity = Math.max(FIRST_CAPACITY, this.times.length * 2);
    this.times = enlarged(this.times, capacity);
    this.points = enlarged(this.points, capacity);
    this.starts = enlarged(this.starts, capacity);
    this.ends = enlarged(this.ends, capacity);
    this.pointTruths = enlargedBytes(this.pointTruths, capacity);
    this.openTruths = enlargedBytes(this.openTruths, capacity);
  }
}

/** Reads a track at instants that only go forward. A breakpoint that is nearly at the instant is at the instant. */
export class Cursor {
  private readonly track: Track;
  private index = 0;
  private isOn = true;

  constructor(track: Track) {
    this.track = track;
  }

  moveTo(seconds: number): void {
    const { times, length } = this.track;
    const slack = slackAt(seconds);
    while (this.index + 1 < length && times[this.index + 1]! <= seconds + slack) this.index += 1;
    this.isOn = times[this.index]! >= seconds - slack;
  }

  /** The next breakpoint, Infinity after the last. */
  get nextSeconds(): number {
    return this.index + 1 < this.track.length ? this.track.times[this.index + 1]! : Number.POSITIVE_INFINITY;
  }

  /** Margin and truth at the instant that the cursor was moved to. */
  point(seconds: number): number {
    return this.isOn ? this.track.points[this.index]! : this.track.within(this.index, seconds);
  }

  get pointTruth(): number {
    return this.isOn ? this.track.pointTruths[this.index]! : this.track.openTruths[this.index]!;
  }

  /** Margin just after that instant. */
  start(seconds: number): number {
    return this.isOn ? this.track.starts[this.index]! : this.track.within(this.index, seconds);
  }

  /** Margin just before `seconds`, which lies in the present stretch or at its end. */
  end(seconds: number): number {
    const isAtEnd = this.nextSeconds <= seconds + slackAt(seconds);
    return isAtEnd ? this.track.ends[this.index]! : this.track.within(this.index, seconds);
  }

  get openTruth(): number {
    return this.track.openTruths[this.index]!;
  }
}

/** How far apart two floats near `seconds` may be and still mean one instant: `t + width` is not always the float that a file means. */
export function slackAt(seconds: number): number {
  return 16 * Number.EPSILON * Math.max(1, Math.abs(seconds));
}

/** A sum of decimal numbers as one would write it: 0.7 + 0.1 is the float nearest to 0.8. */
export function onPaper(sum: number): number {
  // Most are whole seconds, which need no printing to be as they are written.
  return Number.isInteger(sum) && Math.abs(sum) < WHOLE_MOST ? sum : Number(sum.toPrecision(15));
}

/** Whether one instant is after another by more than the rounding of a sum. */
export function isLater(one: number, other: number): boolean {
  return one > other + slackAt(other);
}

/** Both statements (`sense` 1: the smaller margin) or either of them (`sense` -1: the larger), over the same stretch of time. */
export function combine(one: Track, other: Track, sense: 1 | -1): Track {
  const result = new Track(one.length + other.length);
  const first = new Cursor(one);
  const second = new Cursor(other);
  const last = one.lastSeconds;
  assert(one.firstSeconds === other.firstSeconds && last === other.lastSeconds, 'tracks over unlike stretches', {
    last,
  });
  const pick = sense === 1 ? Math.min : Math.max;
  const join = sense === 1 ? (a: number, b: number) => a & b : (a: number, b: number) => a | b;
  let seconds = one.firstSeconds;
  for (;;) {
    first.moveTo(seconds);
    second.moveTo(seconds);
    const point = pick(first.point(seconds), second.point(seconds));
    const pointTruth = join(first.pointTruth, second.pointTruth);
    if (isLast(seconds, last)) {
      result.close(last, point, pointTruth);
      return result;
    }
    const next = Math.min(first.nextSeconds, second.nextSeconds);
    const [a0, b0] = [first.start(seconds), second.start(seconds)];
    const [a1, b1] = [first.end(next), second.end(next)];
    const truth = join(first.openTruth, second.openTruth);
    const crossing = crossingSeconds(seconds, next, a0, a1, b0, b1);
    if (Number.isNaN(crossing)) {
      result.push(seconds, point, pointTruth, pick(a0, b0), pick(a1, b1), truth);
    } else {
      const shared = between(a0, a1, (crossing - seconds) / (next - seconds));
      result.push(seconds, point, pointTruth, pick(a0, b0), shared, truth);
      result.push(crossing, shared, truth, shared, pick(a1, b1), truth);
    }
    seconds = next;
  }
}

/** Whether an instant is the last one of a track, or nearly so. */
export function isLast(seconds: number, last: number): boolean {
  return seconds >= last - slackAt(last);
}

/** Where two lines over (from, to) cross strictly inside it; NaN where they do not. */
export function crossingSeconds(from: number, to: number, a0: number, a1: number, b0: number, b1: number): number {
  if (!((a0 < b0 && a1 > b1) || (a0 > b0 && a1 < b1))) return Number.NaN;
  const seconds = from + (to - from) * ((a0 - b0) / (a0 - b0 - (a1 - b1)));
  return seconds > from && seconds < to ? seconds : Number.NaN;
}

/** The value a `share` of the way from one to the other. It never leaves the side of 0 on which both are. */
export function between(start: number, end: number, share: number): number {
  if (start === end || share <= 0) return start;
  return share >= 1 ? end : start + (end - start) * share;
}

function negative(margin: number): number {
  return -margin;
}

function opposite(truth: number): number {
  return 1 - truth;
}

function enlarged(array: Float64Array<ArrayBuffer>, capacity: number): Float64Array<ArrayBuffer> {
  const result = new Float64Array(capacity);
  result.set(array);
  return result;
}

function enlargedBytes(array: Uint8Array<ArrayBuffer>, capacity: number): Uint8Array<ArrayBuffer> {
  const result = new Uint8Array(capacity);
  result.set(array);
  return result;
}
