/** Ranges of numbers, and what adding, scaling and dividing them gives: the set of all results, ends included. */
import type { Quantity } from '../../sim/units/index.ts';

export interface Interval {
  readonly least: number;
  readonly most: number;
}

export const exactly = (value: number): Interval => ({ least: value, most: value });

/** Everything within a quantity's tolerance. */
export const within = ({ value, tolerance }: Quantity): Interval => ({
  least: value - tolerance,
  most: value + tolerance,
});

/** The smallest range that holds all of these. */
export const hull = (...all: readonly Interval[]): Interval => ({
  least: Math.min(...all.map(({ least }) => least)),
  most: Math.max(...all.map(({ most }) => most)),
});

/** Signed distance of the worse end of `a` to the inside of `b`: how far `a` is from sticking out, below 0 if it does. */
export const clearance = (a: Interval, b: Interval): number => Math.min(a.least - b.least, b.most - a.most);
