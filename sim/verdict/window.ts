/**
 * A statement over a window that moves along: the smallest margin in [t, t + width] for every t (`holds throughout`), or
 * the largest (`holds some time in`). Windows that pass the end of the track are cut there.
 *
 * Exact for margins that run straight between breakpoints: while neither end of the window passes a breakpoint, its
 * smallest margin is the least of three lines: that under the left end, that under the right end, and the constant
 * smallest corner between. That corner comes from a monotonic deque, so that the whole takes O(n) steps.
 * (After Donze, Ferrere and Maler, "Efficient Robust Monitoring for STL", CAV 2013; the deque is Lemire's, 2006.)
 * Hot path; see test/speed/trace.bench.ts.
 */
import { BrokenInvariant } from '../kernel/assert.ts';
import { crossingSeconds, type Place, type Reading, slackAt, Track } from './track.ts';

/** `sense` 1: throughout the window, -1: some time in the window. `widthSeconds` is above 0. */
export function overWindow(track: Track, widthSeconds: number, sense: 1 | -1): Track {
  const result = new Track(2 * track.length);
  const { times } = track;
  const last = track.length - 1;
  const corners = new Corners(track, sense);
  const lines = new LowestLine(result, sense);
  let [left, right] = [0, 0];
  let seconds = times[0]!;
  let isRightOn = true;
  for (;;) {
    const reach = seconds + widthSeconds;
    const slack = slackAt(reach);
    while (right < last && times[right + 1]! <= reach + slack) right += 1;
    isRightOn = right === last || times[right]! >= reach - slack;
    const isLeftOn = times[left] === seconds;

    const [fromCorner, toCorner] = [isLeftOn ? 3 * left : 3 * left + 2, isRightOn ? 3 * right : 3 * right + 1];
    let point = corners.least(fromCorner, toCorner);
    if (!isLeftOn) point = Math.min(point, sense * track.within(left, seconds));
    if (!isRightOn) point = Math.min(point, sense * track.within(right, reach));
    const pointTruth = corners.truth(isLeftOn ? 2 * left : 2 * left + 1, isRightOn ? 2 * right : 2 * right + 1);
    if (left === last) {
      result.close(seconds, sense * point, pointTruth);
      return result;
    }

    const next = nextSeconds(times, left, right, last, widthSeconds);
    if (!(next > seconds)) throw new BrokenInvariant('a window that does not move on', { seconds, next, widthSeconds });
    const isNextLeft = next === times[left + 1];
    const l0 = sense * (isLeftOn ? track.starts[left]! : track.within(left, seconds));
    const l1 = sense * (isNextLeft ? track.ends[left]! : track.within(left, next));
    let r0 = Number.POSITIVE_INFINITY;
    let r1 = Number.POSITIVE_INFINITY;
    let toOpen = 3 * last;
    if (right < last) {
      toOpen = 3 * right + 1;
      r0 = sense * (isRightOn ? track.starts[right]! : track.within(right, reach));
      r1 = sense * track.within(right, next + widthSeconds);
    }
    const middle = corners.least(3 * left + 2, toOpen);
    const truth = corners.truth(2 * left + 1, right < last ? 2 * right + 1 : 2 * last);
    lines.push(seconds, next, point, pointTruth, truth, l0, l1, r0, r1, middle);
    seconds = next;
    if (isNextLeft) left += 1;
  }
}

/** The next instant at which one of the window's ends passes a breakpoint. */
function nextSeconds(times: Float64Array, left: number, right: number, last: number, widthSeconds: number): number {
  const atLeft = times[left + 1]!;
  if (right === last) return atLeft;
  const atRight = times[right + 1]! - widthSeconds;
  const slack = slackAt(times[right + 1]!);
  return atRight < atLeft - slack ? atRight : atLeft;
}

/** The corner margins of a track in order of time (point, just after, just before the next, ...), asked for by ranges that move on. */
class Corners {
  private readonly track: Track;
  private readonly sense: 1 | -1;
  /** Corner numbers with rising margins; the first is the least of the range. */
  private readonly deque: Int32Array;
  private head = 0;
  private tail = 0;
  private pushed = 0;
  /** How many of the truths before an index decide: one false decides `throughout`, one true `some time`. */
  private readonly decisive: Int32Array;

  constructor(track: Track, sense: 1 | -1) {
    this.track = track;
    this.sense = sense;
    this.deque = new Int32Array(3 * track.length);
    this.decisive = new Int32Array(2 * track.length + 1);
    const deciding = sense === 1 ? 0 : 1;
    for (let index = 0; index < track.length; index += 1) {
      const afterPoint = this.decisive[2 * index]! + (track.pointTruths[index] === deciding ? 1 : 0);
      this.decisive[2 * index + 1] = afterPoint;
      this.decisive[2 * index + 2] = afterPoint + (track.openTruths[index] === deciding ? 1 : 0);
    }
  }

  /** Least margin times sense of corners `from` to `to`; neither may go back. Infinity for an empty range. */
  least(from: number, to: number): number {
    const { deque } = this;
    for (; this.pushed <= to; this.pushed += 1) {
      const margin = this.margin(this.pushed);
      while (this.tail > this.head && this.margin(deque[this.tail - 1]!) >= margin) this.tail -= 1;
      deque[this.tail] = this.pushed;
      this.tail += 1;
    }
    while (this.head < this.tail && deque[this.head]! < from) this.head += 1;
    return this.head < this.tail ? this.margin(deque[this.head]!) : Number.POSITIVE_INFINITY;
  }

  /** Truth over the points (even numbers) and stretches (odd ones) `from` to `to`. */
  truth(from: number, to: number): number {
    const isDecided = this.decisive[to + 1]! > this.decisive[from]!;
    return isDecided === (this.sense === -1) ? 1 : 0;
  }

  private margin(corner: number): number {
    const index = Math.floor(corner / 3);
    const { points, starts, ends } = this.track;
    const kind = corner - 3 * index;
    return this.sense * (kind === 0 ? points[index]! : kind === 1 ? starts[index]! : ends[index]!);
  }
}

/** Pushes the lowest of two lines and a constant, in as many pieces as it has. */
class LowestLine {
  private readonly result: Track;
  private readonly sense: 1 | -1;
  private readonly cuts = new Float64Array(3);

  constructor(result: Track, sense: 1 | -1) {
    this.result = result;
    this.sense = sense;
  }

  push(
    from: number,
    to: number,
    point: number,
    pointTruth: number,
    truth: number,
    l0: number,
    l1: number,
    r0: number,
    r1: number,
    middle: number,
  ): void {
    const { cuts, result, sense } = this;
    // NaN, for no crossing, sorts to the end of a Float64Array.
    cuts[0] = crossingSeconds(from, to, l0, l1, r0, r1);
    cuts[1] = crossingSeconds(from, to, l0, l1, middle, middle);
    cuts[2] = crossingSeconds(from, to, r0, r1, middle, middle);
    cuts.sort();
    let seconds = from;
    let margin = Math.min(l0, r0, middle);
    let [at, atTruth] = [point, pointTruth];
    for (let index = 0; index < 3 && cuts[index]! < to; index += 1) {
      const cut = cuts[index]!;
      if (cut === seconds) continue;
      const share = (cut - from) / (to - from);
      const reached = Math.min(mix(l0, l1, share), mix(r0, r1, share), middle);
      result.push(seconds, sense * at, atTruth, sense * margin, sense * reached, truth);
      seconds = cut;
      margin = reached;
      [at, atTruth] = [reached, truth];
    }
    result.push(seconds, sense * at, atTruth, sense * margin, sense * Math.min(l1, r1, middle), truth);
  }
}

function mix(start: number, end: number, share: number): number {
  return start === end ? start : start + (end - start) * share;
}

/**
 * The place that decides between two places, both included: the smallest margin (`sense` 1) or the largest (-1), and
 * among equal ones the earliest. The truth goes first, so that a false at margin 0 outweighs a true at margin 0.
 */
export function extreme(track: Track, fromPlace: Place, toPlace: Place, sense: 1 | -1): Reading {
  const { times } = track;
  const from = track.near(fromPlace);
  const end = track.near(toPlace);
  let best = track.read(from);
  const consider = (seconds: number, side: -1 | 0 | 1, margin: number, truth: number) => {
    const isBetterTruth = (truth === 1) !== best.truth && (truth === 1) === (sense === -1);
    const isSameTruth = (truth === 1) === best.truth;
    if (isBetterTruth || (isSameTruth && sense * margin < sense * best.margin))
      best = { seconds, side, margin, truth: truth === 1 };
  };
  let index = track.indexAt(from.seconds);
  if (from.side === -1 && times[index] === from.seconds) index -= 1;
  for (index = Math.max(0, index); index < track.length; index += 1) {
    const seconds = times[index]!;
    const next = index + 1 < track.length ? times[index + 1]! : Number.POSITIVE_INFINITY;
    if (isBefore(end, seconds, 0)) break;
    if (!isAfter(from, seconds, 0)) consider(seconds, 0, track.points[index]!, track.pointTruths[index]!);
    if (isBefore(end, seconds, 1)) break;
    if (!isAfter(from, seconds, 1)) consider(seconds, 1, track.starts[index]!, track.openTruths[index]!);
    if (isBefore(end, next, -1)) {
      // The window ends inside this stretch.
      const { margin, truth } = track.read(end);
      consider(end.seconds, end.side, margin, truth ? 1 : 0);
      break;
    }
    consider(next, -1, track.ends[index]!, track.openTruths[index]!);
  }
  return best;
}

function isBefore(place: Place, seconds: number, side: -1 | 0 | 1): boolean {
  return place.seconds < seconds || (place.seconds === seconds && place.side < side);
}

function isAfter(place: Place, seconds: number, side: -1 | 0 | 1): boolean {
  return place.seconds > seconds || (place.seconds === seconds && place.side > side);
}
