/**
 * Running integrals that feed nothing back, such as energies: kept only where somebody reads them, and no step hangs on them.
 *
 * A step may hold a whole transient, of which its stages know little. So the rates are summed along the planned step, in more
 * and more parts until the sum stays, by Simpson's rule over the square root of time, as what is quick comes at the start.
 */
import type { Room } from './room.ts';

/** The most parts of a step, even in the square root of time. */
const PARTS = 64;
/** Parts are halved until the sum moves by no more than this share of itself. */
const TOLERANCE = 1e-5;
const LEAST_SIZE = 1e-9;

export class Ledger {
  /** Present sums, and their rates while parts evaluate. */
  readonly sums: Float64Array;
  readonly rates: Float64Array;
  count = 0;
  /** Somebody reads them. */
  isKept = false;
  /** Sums at start and end of the step under way. */
  private readonly first: Float64Array;
  private readonly last: Float64Array;
  /** In each part of the step what came together since its start, and the slope of that; they grow once they are kept. */
  private path = new Float64Array(0);
  private slopes = new Float64Array(0);
  /** Which parts are filled in: every so many. */
  private readonly stride = Float64Array.of(1);
  private readonly share = new Float64Array(1);

  constructor(capacity: number, room: Room) {
    this.sums = room.doubles(capacity);
    this.rates = room.doubles(capacity);
    this.first = room.doubles(capacity);
    this.last = room.doubles(capacity);
  }

  /** A step begins with the present sums. */
  begin(): void {
    this.first.set(this.sums);
  }

  /** The step has ended: its sums are the present ones. */
  end(): void {
    this.sums.set(this.last);
  }

  /** The step under way shrinks to its start, where the present sums are. */
  jump(): void {
    this.first.set(this.sums);
    this.last.set(this.sums);
  }

  /**
   * Sums up the planned step, of `length[0]` seconds. `evaluate` fills the rates at a share of it, which it finds in the
   * array that it is called with.
   */
  close(length: Float64Array, evaluate: (share: Float64Array) => void): void {
    const { count, rates, stride, share } = this;
    const seconds = length[0]!;
    if (this.path.length < (PARTS + 1) * count) {
      this.path = new Float64Array((PARTS + 1) * count);
      this.slopes = new Float64Array((PARTS + 1) * count);
    }
    for (let width = PARTS / 2; width >= 1; width /= 2) {
      for (let part = 0; part <= PARTS; part += width) {
        if (width < PARTS / 2 && part % (2 * width) === 0) continue;
        const root = part / PARTS;
        share[0] = root * root;
        evaluate(share);
        for (let index = 0; index < count; index += 1)
          this.slopes[part * count + index] = 2 * seconds * root * rates[index]!;
      }
      stride[0] = width;
      this.sum();
      if (this.hasSettled(width)) return;
    }
  }

  /** The sums at a share of the step under way. */
  place(shares: Float64Array): void {
    const { sums, first, slopes, path, count } = this;
    if (path.length === 0) return;
    const stride = this.stride[0]!;
    const place = Math.sqrt(Math.max(0, shares[0]!)) * PARTS;
    const part = Math.min(Math.floor(place / stride) * stride, PARTS - stride);
    const from = part * count;
    const to = from + stride * count;
    const s = (place - part) / stride;
    const width = stride / PARTS;
    const b = s * s * (3 - 2 * s);
    const c = s * (1 - s) * (1 - s) * width;
    const d = s * s * (s - 1) * width;
    for (let index = 0; index < count; index += 1)
      sums[index] =
        first[index]! +
        (1 - b) * path[from + index]! +
        b * path[to + index]! +
        c * slopes[from + index]! +
        d * slopes[to + index]!;
  }

  save(): readonly Float64Array[] {
    const { sums, first, last, stride, path, slopes } = this;
    return [sums, first, last, stride, path, slopes].map((array) => array.slice());
  }

  restore([sums, first, last, stride, path, slopes]: readonly Float64Array[]): void {
    this.sums.set(sums!);
    this.first.set(first!);
    this.last.set(last!);
    this.stride.set(stride!);
    this.path = path!.slice();
    this.slopes = slopes!.slice();
  }

  /** From the slopes in each `stride`th part what has come together up to there. */
  private sum(): void {
    const { slopes, path, count } = this;
    const stride = this.stride[0]!;
    const width = stride / PARTS / 12;
    for (let index = 0; index < count; index += 1) {
      let sum = 0;
      path[index] = 0;
      for (let part = 0; part < PARTS; part += 2 * stride) {
        const first = slopes[part * count + index]!;
        const middle = slopes[(part + stride) * count + index]!;
        const last = slopes[(part + 2 * stride) * count + index]!;
        // The parabola through three points, up to the second and up to the third.
        path[(part + stride) * count + index] = sum + width * (5 * first + 8 * middle - last);
        sum += 4 * width * (first + 4 * middle + last);
        path[(part + 2 * stride) * count + index] = sum;
      }
    }
  }

  /** Takes over the sums at the end; true if they moved no more when the parts were halved to this width. */
  private hasSettled(width: number): boolean {
    const { first, last, path, count } = this;
    let moved = 0;
    for (let index = 0; index < count; index += 1) {
      const step = path[PARTS * count + index]!;
      const before = last[index]! - first[index]!;
      moved = Math.max(moved, Math.abs(step - before) / (LEAST_SIZE + Math.abs(step)));
      last[index] = first[index]! + step;
    }
    // Eight parts at least, as fewer may agree by chance.
    return width <= PARTS / 8 && moved <= TOLERANCE;
  }
}
