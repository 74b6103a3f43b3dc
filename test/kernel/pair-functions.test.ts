/**
 * The functions of a 2 by 2 matrix by which a step follows a motor's current and speed, held to their definitions (Hochbruck
 * and Ostermann, Acta Numerica 19, 2010, section 2.1: phi_k is 1 / k! at 0, and phi_k+1(z) = (phi_k(z) - 1 / k!) / z).
 */
import * as fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { expandPair, PHI_SIZE } from '../../sim/kernel/pair-functions.ts';

type Matrix = readonly [number, number, number, number];

/** phi1 to phi4 of seconds times the matrix, each as a matrix. */
function functionsOf(matrix: Matrix, seconds: number): Matrix[] {
  const phi = new Float64Array(PHI_SIZE);
  expandPair(Float64Array.from(matrix), 0, Float64Array.of(seconds), 0, phi, 0);
  return [0, 2, 4, 6].map((at): Matrix => {
    const [p, q] = [phi[at]!, phi[at + 1]!];
    return [p + q * matrix[0], q * matrix[1], q * matrix[2], p + q * matrix[3]];
  });
}

/** The definition for a number; below 1 in size by the series, as the quotients then cancel. */
function scalar(z: number): number[] {
  if (Math.abs(z) < 1)
    return [1, 2, 3, 4].map((k) => {
      let term = 1;
      for (let n = 2; n <= k; n += 1) term /= n;
      let sum = 0;
      for (let n = k + 1; n < k + 25; n += 1) {
        sum += term;
        term *= z / n;
      }
      return sum;
    });
  const phi1 = Math.expm1(z) / z;
  const phi2 = (phi1 - 1) / z;
  const phi3 = (phi2 - 1 / 2) / z;
  return [phi1, phi2, phi3, (phi3 - 1 / 6) / z];
}

/** Rates from a hundredth to ten thousand a second, and steps from a microsecond to a tenth of a second. */
const rate = fc.double({ min: -2, max: 4, noNaN: true }).map((power) => -(10 ** power));
const length = fc.double({ min: -6, max: -1, noNaN: true }).map((power) => 10 ** power);
const settings = { seed: 20261125, numRuns: 500 };

describe('pair functions: against their definitions', () => {
  test('of a diagonal matrix they are those of its two numbers', () => {
    fc.assert(
      fc.property(rate, rate, length, (first, second, seconds) => {
        functionsOf([first, 0, 0, second], seconds).forEach((got, index) => {
          expect(got[0] / scalar(first * seconds)[index]!).toBeCloseTo(1, 8);
          expect(got[3] / scalar(second * seconds)[index]!).toBeCloseTo(1, 8);
        });
      }),
      settings,
    );
  });

  test('of a matrix whose square is nothing they end after two terms: 1 / k! and 1 / (k + 1)!', () => {
    const [phi1, phi2, phi3, phi4] = functionsOf([0, 6, 0, 0], 0.5);
    expect(phi1).toEqual([1, 3 / 2, 0, 1]);
    expect(phi2).toEqual([1 / 2, 3 / 6, 0, 1 / 2]);
    expect(phi3![1]).toBeCloseTo(3 / 24, 14);
    expect(phi4![1]).toBeCloseTo(3 / 120, 14);
  });

  test('a turning pair turns: 1 + Z phi1 is e^a times the rotation by b (Euler)', () => {
    fc.assert(
      fc.property(rate, fc.double({ min: 1, max: 3000, noNaN: true }), length, (damping, turns, seconds) => {
        const matrix: Matrix = [damping, turns, -turns, damping];
        const [phi1] = functionsOf(matrix, seconds);
        const whole = 1 + seconds * (matrix[0] * phi1![0] + matrix[1] * phi1![2]);
        const across = seconds * (matrix[0] * phi1![1] + matrix[1] * phi1![3]);
        const size = Math.exp(damping * seconds);
        expect(whole).toBeCloseTo(size * Math.cos(turns * seconds), 8);
        expect(across).toBeCloseTo(size * Math.sin(turns * seconds), 8);
      }),
      settings,
    );
  });

  test('each follows from the one before it, for any matrix of a motor: Z phi_k+1 = phi_k - 1 / k!', () => {
    fc.assert(
      fc.property(rate, rate, rate, rate, length, (own, back, drive, friction, seconds) => {
        const matrix: Matrix = [own, back, -drive, friction];
        const all = functionsOf(matrix, seconds);
        [1, 1 / 2, 1 / 6].forEach((start, index) => {
          const [before, after] = [all[index]!, all[index + 1]!];
          const size = Math.max(...before.map(Math.abs), 1);
          const product = [
            matrix[0] * after[0] + matrix[1] * after[2],
            matrix[0] * after[1] + matrix[1] * after[3],
            matrix[2] * after[0] + matrix[3] * after[2],
            matrix[2] * after[1] + matrix[3] * after[3],
          ];
          product.forEach((value, entry) => {
            const wanted = before[entry]! - (entry % 3 === 0 ? start : 0);
            expect(Math.abs(seconds * value - wanted) / size).toBeLessThan(1e-8);
          });
        });
      }),
      settings,
    );
  });
});
