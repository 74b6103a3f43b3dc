/**
 * Pairs of states that work on each other within milliseconds, as a motor's current and speed do: the linear part of their
 * slopes, [u', w'] = A [u, w] + the rest, and the functions of A by which a step follows that part exactly:
 *
 *     phi1(Z) = (e^Z - 1) / Z      phi2(Z) = (phi1 - 1) / Z      phi3(Z) = (phi2 - 1/2) / Z
 *     phi4(Z) = (phi3 - 1/6) / Z      Z = h A
 *
 * Every function of a 2 by 2 matrix is p + q A (Cayley and Hamilton), so that each is two numbers. They are taken from their
 * series where Z is small, and doubled from there (any text on matrix exponentials: scaling and squaring). Hot path; see
 * test/speed/power.bench.ts.
 */

/** phi4 in powers of Z: 1 / (n + 4)! for n from 0. */
const SERIES = Float64Array.of(
  1 / 24,
  1 / 120,
  1 / 720,
  1 / 5040,
  1 / 40320,
  1 / 362880,
  1 / 3628800,
  1 / 39916800,
  1 / 479001600,
);
/** Eigenvalues of Z up to this size go into the series, whose last term is then below 1e-11 of its first. */
const SERIES_BELOW = 0.5;
/** Where the numbers of one pair begin in `matrix`, and those of one length of step in `phi`. */
export const MATRIX_SIZE = 4;
export const PHI_SIZE = 8;

/**
 * Writes p and q of phi1 to phi4 of `lengths[which]` seconds times the matrix at `matrix[at]` to `phi[to]` and after.
 * The length is told by its place, since a number with a fraction would be boxed on the way.
 */
export function expandPair(
  matrix: Float64Array,
  at: number,
  lengths: Float64Array,
  which: number,
  phi: Float64Array,
  to: number,
): void {
  const seconds = lengths[which]!;
  const trace = matrix[at]! + matrix[at + 3]!;
  const determinant = matrix[at]! * matrix[at + 3]! - matrix[at + 1]! * matrix[at + 2]!;
  let scale = seconds;
  let doublings = 0;
  for (
    let size = (Math.abs(trace) + Math.sqrt(Math.abs(determinant))) * seconds;
    size > SERIES_BELOW && doublings < 1000;
    size *= 0.5
  ) {
    scale *= 0.5;
    doublings += 1;
  }
  // In powers of Z: Z^2 = t Z - d.
  let t = trace * scale;
  let d = determinant * scale * scale;
  let p4 = SERIES[SERIES.length - 2]!;
  let q4 = SERIES[SERIES.length - 1]!;
  for (let term = SERIES.length - 3; term >= 0; term -= 1) {
    const p = p4;
    p4 = SERIES[term]! - q4 * d;
    q4 = p + q4 * t;
  }
  let p3 = 1 / 6 - q4 * d;
  let q3 = p4 + q4 * t;
  let p2 = 0.5 - q3 * d;
  let q2 = p3 + q3 * t;
  let p1 = 1 - q2 * d;
  let q1 = p2 + q2 * t;
  for (; doublings > 0; doublings -= 1) {
    // phi4(2Z) = (phi1 phi3 + phi2 / 2 + phi3 + 2 phi4) / 16, phi3(2Z) = (phi1 phi2 + phi2 + 2 phi3) / 8, phi2(2Z) = (phi1^2 + 2 phi2) / 4, phi1(2Z) = phi1 + Z phi1^2 / 2.
    const p13 = p1 * p3 - q1 * q3 * d;
    const q13 = p1 * q3 + q1 * p3 + q1 * q3 * t;
    const p12 = p1 * p2 - q1 * q2 * d;
    const q12 = p1 * q2 + q1 * p2 + q1 * q2 * t;
    const p11 = p1 * p1 - q1 * q1 * d;
    const q11 = 2 * p1 * q1 + q1 * q1 * t;
    // The half goes from Z into 2Z: what stands at Z counts half as much at 2Z.
    p4 = 0.0625 * (p13 + 0.5 * p2 + p3 + 2 * p4);
    q4 = 0.03125 * (q13 + 0.5 * q2 + q3 + 2 * q4);
    p3 = 0.125 * (p12 + p2 + 2 * p3);
    q3 = 0.0625 * (q12 + q2 + 2 * q3);
    p2 = 0.25 * (p11 + 2 * p2);
    q2 = 0.125 * (q11 + 2 * q2);
    p1 -= 0.5 * q11 * d;
    q1 = 0.5 * (q1 + 0.5 * (p11 + q11 * t));
    t *= 2;
    d *= 4;
  }
  phi[to] = p1;
  phi[to + 1] = q1 * seconds;
  phi[to + 2] = p2;
  phi[to + 3] = q2 * seconds;
  phi[to + 4] = p3;
  phi[to + 5] = q3 * seconds;
  phi[to + 6] = p4;
  phi[to + 7] = q4 * seconds;
}
