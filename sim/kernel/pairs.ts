/**
 * The arithmetic of a step for pairs of states that work on each other within milliseconds, as a motor's current and speed
 * do: the linear part of their slopes is followed exactly, the rest goes by Kutta's rule in its exponential form (Cox and
 * Matthews, J. Comput. Phys. 176, 2002, ETD3RK). Works on the vectors of the integrator (continuum.ts), which evaluates the
 * slopes between the stages.
 */
import { expandPair, MATRIX_SIZE, PHI_SIZE } from './pair-functions.ts';
import type { Room } from './room.ts';

/** Places in `lengths`. */
const HALF = 0;
const WHOLE = 1;
export const BETWEEN = 2;
/** A pair that the cubic polynomial tells no worse than so many allowed errors is read from it. */
const STRAIGHT_ERRORS = 4;

/** States, slopes and the like of all parts, which a step is made of; A is its start, B its end. */
export interface StepVectors {
  readonly x: Float64Array;
  readonly dx: Float64Array;
  readonly xA: Float64Array;
  readonly kA: Float64Array;
  readonly xB: Float64Array;
  readonly kB: Float64Array;
  /** Slopes in the middle; at the end of an attempt the bend of the slopes, which is its error. */
  readonly k2: Float64Array;
  /** Error that is allowed each state at B. */
  readonly allowed: Float64Array;
  /** Length of the step in seconds. */
  readonly attempted: Float64Array;
}

export class Pairs {
  /** Number of the first state of each pair; the second follows it. */
  readonly firsts: readonly number[];
  /** 1 for each state that belongs to a pair. */
  readonly isPaired: Uint8Array;
  /** The linear part of each pair's slopes: four numbers a pair, row by row. */
  readonly matrix: Float64Array;
  /**
   * Latest [sum over the pairs of how far their first and second states have moved since A, and of the integrals of that],
   * counted in `sizes`: what all pairs together do to the other states.
   */
  readonly moved = new Float64Array(4);
  readonly sizes: Float64Array;
  /** What the rest of the slopes has changed by in the middle and at the end of the step. */
  readonly middle: Float64Array;
  readonly end: Float64Array;
  /** The rest of the slopes over the step: start + turn x share + bow x share^2, less what it starts with. */
  readonly turn: Float64Array;
  readonly bow: Float64Array;
  /** 1 for a pair that the cubic polynomial does not tell well between the ends of the step. */
  readonly isBent: Float64Array;
  /** Seconds: half and whole of the step that is tried, and up to a place within the one under way. */
  readonly lengths = new Float64Array(3);
  private readonly phiHalf: Float64Array;
  private readonly phiWhole: Float64Array;
  private readonly phi = new Float64Array(PHI_SIZE);
  private readonly vectors: StepVectors;

  /** `sizes` has a number for each state of the bench: that in which its way is counted. */
  constructor(firsts: readonly number[], sizes: Float64Array, vectors: StepVectors, room: Room) {
    const stateCount = sizes.length;
    this.firsts = firsts;
    this.sizes = sizes;
    this.vectors = vectors;
    this.isPaired = room.bytes(stateCount);
    for (const first of firsts) this.isPaired.fill(1, first, first + 2);
    this.matrix = room.doubles(MATRIX_SIZE * firsts.length);
    this.middle = room.doubles(stateCount);
    this.end = room.doubles(stateCount);
    this.turn = room.doubles(stateCount);
    this.bow = room.doubles(stateCount);
    this.isBent = room.doubles(firsts.length);
    this.phiHalf = room.doubles(PHI_SIZE * firsts.length);
    this.phiWhole = room.doubles(PHI_SIZE * firsts.length);
  }

  /** The step that is tried has this length now. */
  open(): void {
    const h = this.vectors.attempted[0]!;
    this.lengths[HALF] = 0.5 * h;
    this.lengths[WHOLE] = h;
  }

  /** What a part has put right by a little at the end of a step, without calling it a jump, turns the pair's slopes by so much. */
  nudge(at: number): void {
    const { x, xB, kA } = this.vectors;
    const { matrix } = this;
    const index = this.firsts[at]!;
    const entry = MATRIX_SIZE * at;
    const u = x[index]! - xB[index]!;
    const w = x[index + 1]! - xB[index + 1]!;
    kA[index]! += matrix[entry]! * u + matrix[entry + 1]! * w;
    kA[index + 1]! += matrix[entry + 2]! * u + matrix[entry + 3]! * w;
  }

  /** To the middle of the step as if the rest of the slope stayed: x = A + h/2 phi1(h/2) slope. */
  start(at: number): void {
    const { x, xA, kA } = this.vectors;
    const { matrix, phiHalf, phiWhole, lengths, moved } = this;
    const h = this.vectors.attempted[0]!;
    const index = this.firsts[at]!;
    const entry = MATRIX_SIZE * at;
    const to = PHI_SIZE * at;
    expandPair(matrix, entry, lengths, HALF, phiHalf, to);
    expandPair(matrix, entry, lengths, WHOLE, phiWhole, to);
    const p = 0.5 * h * phiHalf[to]!;
    const q = 0.5 * h * phiHalf[to + 1]!;
    const u = kA[index]!;
    const w = kA[index + 1]!;
    const throughU = matrix[entry]! * u + matrix[entry + 1]! * w;
    const throughW = matrix[entry + 2]! * u + matrix[entry + 3]! * w;
    x[index] = xA[index]! + p * u + q * throughU;
    x[index + 1] = xA[index + 1]! + p * w + q * throughW;
    const square = 0.25 * h * h;
    moved[2]! += (square * (phiHalf[to + 2]! * u + phiHalf[to + 3]! * throughU)) / this.sizes[index]!;
    moved[3]! += (square * (phiHalf[to + 2]! * w + phiHalf[to + 3]! * throughW)) / this.sizes[index + 1]!;
  }

  /** What the rest of a pair's slopes has changed by since A, at the states that were just evaluated; adds its way to the sum of all. */
  note(at: number, into: Float64Array): void {
    const { x, dx, xA, kA } = this.vectors;
    const { matrix } = this;
    const index = this.firsts[at]!;
    const entry = MATRIX_SIZE * at;
    const u = x[index]! - xA[index]!;
    const w = x[index + 1]! - xA[index + 1]!;
    into[index] = dx[index]! - kA[index]! - matrix[entry]! * u - matrix[entry + 1]! * w;
    into[index + 1] = dx[index + 1]! - kA[index + 1]! - matrix[entry + 2]! * u - matrix[entry + 3]! * w;
    this.moved[0]! += u / this.sizes[index]!;
    this.moved[1]! += w / this.sizes[index + 1]!;
  }

  /** To the end of the step with the rest of the slope as it was in the middle, twice as far. */
  reach(at: number): void {
    const { x, xA, kA } = this.vectors;
    const { middle, matrix, phiWhole } = this;
    const h = this.vectors.attempted[0]!;
    const index = this.firsts[at]!;
    const entry = MATRIX_SIZE * at;
    const p = h * phiWhole[PHI_SIZE * at]!;
    const q = h * phiWhole[PHI_SIZE * at + 1]!;
    const u = kA[index]! + 2 * middle[index]!;
    const w = kA[index + 1]! + 2 * middle[index + 1]!;
    const throughU = matrix[entry]! * u + matrix[entry + 1]! * w;
    const throughW = matrix[entry + 2]! * u + matrix[entry + 3]! * w;
    x[index] = xA[index]! + p * u + q * throughU;
    x[index + 1] = xA[index + 1]! + p * w + q * throughW;
    const p2 = h * h * phiWhole[PHI_SIZE * at + 2]!;
    const q2 = h * h * phiWhole[PHI_SIZE * at + 3]!;
    this.moved[2]! += (p2 * u + q2 * throughU) / this.sizes[index]!;
    this.moved[3]! += (p2 * w + q2 * throughW) / this.sizes[index + 1]!;
  }

  /** The pair at B: its rest of the slope runs as a parabola through start, middle and end. */
  close(at: number): void {
    const { middle, end, turn, bow, phiWhole } = this;
    const index = this.firsts[at]!;
    for (let one = index; one < index + 2; one += 1) {
      turn[one] = 4 * middle[one]! - end[one]!;
      bow[one] = 2 * (end[one]! - 2 * middle[one]!);
    }
    const to = PHI_SIZE * at;
    this.place(at, WHOLE, phiWhole, to);
    this.gather(at, WHOLE, phiWhole, to);
  }

  /** Adds the integrals of how far a pair has moved, up to `lengths[which]` seconds into the step under way, to the sum of all. */
  gather(at: number, which: number, phi: Float64Array, from: number): void {
    const { kA } = this.vectors;
    const { turn, bow, matrix } = this;
    const h = this.lengths[which]!;
    const share = h / this.vectors.attempted[0]!;
    const index = this.firsts[at]!;
    const entry = MATRIX_SIZE * at;
    const bowed = 2 * share * share;
    const throughU =
      phi[from + 3]! * kA[index]! + share * phi[from + 5]! * turn[index]! + bowed * phi[from + 7]! * bow[index]!;
    const throughW =
      phi[from + 3]! * kA[index + 1]! +
      share * phi[from + 5]! * turn[index + 1]! +
      bowed * phi[from + 7]! * bow[index + 1]!;
    const first =
      phi[from + 2]! * kA[index]! + share * phi[from + 4]! * turn[index]! + bowed * phi[from + 6]! * bow[index]!;
    const second =
      phi[from + 2]! * kA[index + 1]! +
      share * phi[from + 4]! * turn[index + 1]! +
      bowed * phi[from + 6]! * bow[index + 1]!;
    const area = h * h;
    this.moved[2]! += (area * (first + matrix[entry]! * throughU + matrix[entry + 1]! * throughW)) / this.sizes[index]!;
    this.moved[3]! +=
      (area * (second + matrix[entry + 2]! * throughU + matrix[entry + 3]! * throughW)) / this.sizes[index + 1]!;
  }

  /** The pair at `lengths[which]` seconds into the step under way, from the functions for that length at `phi[from]`. */
  place(at: number, which: number, phi: Float64Array, from: number): void {
    const { x, xA, kA } = this.vectors;
    const { turn, bow, matrix } = this;
    const h = this.lengths[which]!;
    const share = h / this.vectors.attempted[0]!;
    const index = this.firsts[at]!;
    const entry = MATRIX_SIZE * at;
    // p parts go straight, q parts through the matrix.
    const turned = h * share;
    const bowed = 2 * h * share * share;
    const u =
      h * phi[from + 1]! * kA[index]! + turned * phi[from + 3]! * turn[index]! + bowed * phi[from + 5]! * bow[index]!;
    const w =
      h * phi[from + 1]! * kA[index + 1]! +
      turned * phi[from + 3]! * turn[index + 1]! +
      bowed * phi[from + 5]! * bow[index + 1]!;
    x[index] =
      xA[index]! +
      h * phi[from]! * kA[index]! +
      turned * phi[from + 2]! * turn[index]! +
      bowed * phi[from + 4]! * bow[index]! +
      matrix[entry]! * u +
      matrix[entry + 1]! * w;
    x[index + 1] =
      xA[index + 1]! +
      h * phi[from]! * kA[index + 1]! +
      turned * phi[from + 2]! * turn[index + 1]! +
      bowed * phi[from + 4]! * bow[index + 1]! +
      matrix[entry + 2]! * u +
      matrix[entry + 3]! * w;
  }

  /** By how much a pair's slopes may be off: the bend of the rest of them, as it works on the states. */
  bend(at: number): void {
    const { k2 } = this.vectors;
    const { middle, end, matrix, phiWhole } = this;
    const index = this.firsts[at]!;
    const entry = MATRIX_SIZE * at;
    const u = end[index]! - 2 * middle[index]!;
    const w = end[index + 1]! - 2 * middle[index + 1]!;
    const p = phiWhole[PHI_SIZE * at + 4]!;
    const q = phiWhole[PHI_SIZE * at + 5]!;
    k2[index] = p * u + q * (matrix[entry]! * u + matrix[entry + 1]! * w);
    k2[index + 1] = p * w + q * (matrix[entry + 2]! * u + matrix[entry + 3]! * w);
  }

  /** Some pair is not told well by the cubic polynomial; what follows the pairs is not either. */
  isAnyBent(): boolean {
    const { firsts, isBent } = this;
    for (let at = 0; at < firsts.length; at += 1) if (isBent[at] === 1) return true;
    return false;
  }

  /** Notes whether the cubic polynomial between the ends of the step tells the pair as well as `allowed` says. */
  markBent(at: number): void {
    const { x, xA, xB, kA, kB } = this.vectors;
    const h = this.vectors.attempted[0]!;
    this.place(at, HALF, this.phiHalf, PHI_SIZE * at);
    let isBent = 0;
    for (let index = this.firsts[at]!; index < this.firsts[at]! + 2; index += 1) {
      const cubic = 0.5 * (xA[index]! + xB[index]!) + 0.125 * h * (kA[index]! - kB[index]!);
      // At a quarter, beside the parabola through ends and middle: slopes of a stiff state say little of what is between.
      const tilt = 0.125 * h * (kA[index]! + kB[index]!) - 0.25 * (xB[index]! - xA[index]!);
      const most = STRAIGHT_ERRORS * this.vectors.allowed[index]!;
      if (Math.abs(cubic - x[index]!) > most || Math.abs(tilt) > most) isBent = 1;
    }
    this.isBent[at] = isBent;
  }

  /** The pair at `lengths[BETWEEN]` seconds into the step under way. */
  placeBetween(at: number): void {
    expandPair(this.matrix, MATRIX_SIZE * at, this.lengths, BETWEEN, this.phi, 0);
    this.place(at, BETWEEN, this.phi, 0);
  }

  /** After `placeBetween`: adds the integrals of the pair's way up to there to the sum of all. */
  gatherBetween(at: number): void {
    this.gather(at, BETWEEN, this.phi, 0);
  }
}
