/**
 * Leaves out samples that a straight line tells as well: between two that are kept, none that was left out lies further
 * from the line than a share of the signal's greatest value so far. For flowing signals that nobody judges: a motor that
 * hums along for minutes would else be told a thousand times a second.
 *
 * From the sample kept last a cone is held open that passes within the tolerance of all samples since; a sample outside
 * of it ends the line at the one before. Hot path; see test/speed/kernel.bench.ts.
 */

/** A tenth of the last digit that anything prints of such a signal. */
export const THIN_SHARE = 1e-4;

/** Keeps a sample of the signal with this number; instant and value stand in `instants` and `values` of the thinner. */
export type Keep = (index: number) => void;

export class Thinner {
  /** The sample that `keep` is called for: its instant and value, by signal. Also the latest one, not yet decided. */
  readonly instants: Float64Array;
  readonly values: Float64Array;
  private readonly keep: Keep;
  private readonly anchorInstants: Float64Array;
  private readonly anchorValues: Float64Array;
  private readonly least: Float64Array;
  private readonly most: Float64Array;
  private readonly greatest: Float64Array;
  private readonly isPending: Uint8Array;

  constructor(count: number, keep: Keep) {
    this.keep = keep;
    this.instants = new Float64Array(count);
    this.values = new Float64Array(count);
    this.anchorInstants = new Float64Array(count).fill(Number.NaN);
    this.anchorValues = new Float64Array(count);
    this.least = new Float64Array(count);
    this.most = new Float64Array(count);
    this.greatest = new Float64Array(count);
    this.isPending = new Uint8Array(count);
  }

  /** Takes the present value of a signal as a sample of its line. */
  look(index: number, now: Float64Array, present: Float64Array): void {
    const seconds = now[0]!;
    const value = present[index]!;
    const size = Math.abs(value);
    if (size > this.greatest[index]!) this.greatest[index] = size;
    const elapsed = seconds - this.anchorInstants[index]!;
    const slope = (value - this.anchorValues[index]!) / elapsed;
    if (this.isPending[index] === 1 && !(slope >= this.least[index]! && slope <= this.most[index]!)) {
      this.flush(index);
      this.look(index, now, present);
      return;
    }
    this.instants[index] = seconds;
    this.values[index] = value;
    // The first of all, one at the very instant of the last, and what is no number stand for themselves.
    if (!(elapsed > 0) || !Number.isFinite(slope)) {
      this.isPending[index] = 1;
      this.flush(index);
      return;
    }
    const reach = (THIN_SHARE * this.greatest[index]!) / elapsed;
    if (this.isPending[index] === 0 || slope - reach > this.least[index]!) this.least[index] = slope - reach;
    if (this.isPending[index] === 0 || slope + reach < this.most[index]!) this.most[index] = slope + reach;
    this.isPending[index] = 1;
  }

  /** Keeps the sample that is not yet decided, if there is one; the next line begins at it. */
  flush(index: number): void {
    if (this.isPending[index] === 0) return;
    this.isPending[index] = 0;
    this.anchorInstants[index] = this.instants[index]!;
    this.anchorValues[index] = this.values[index]!;
    this.keep(index);
  }
}
