/**
 * Draws from tolerances: for each draw a number for each value that has one.
 *
 *     uniform   anywhere from value - tolerance to value + tolerance
 *     normal    the tolerance taken for three standard deviations, and cut off there
 *     corners   at one end or the other: every combination where there is room for all, else as many as asked for
 *
 * A Latin hypercube splits each value's range into as many equally likely strata as there are draws and uses each once
 * (McKay, Beckman, Conover, Technometrics 21:239, 1979). Each value has a stream of its own: another tolerance on the
 * bench leaves the draws of this one as they are.
 */
import { Streams } from '../../kernel/random.ts';
import { formatQuantity, isPrintedDecimally, parseQuantity, type Quantity } from '../../units/index.ts';
import { normalQuantile } from '../statistics/distribution.ts';

export const laws = ['uniform', 'normal', 'corners'] as const;
export type Law = (typeof laws)[number];
export const samplings = ['latin', 'random'] as const;
export type Sampling = (typeof samplings)[number];

export interface Tolerance {
  /** Where it stands in the bench file, dotted. */
  readonly path: string;
  readonly quantity: Quantity;
}

export interface DrawPlan {
  readonly law: Law;
  readonly sampling: Sampling;
  readonly draws: number;
  /** Draws that make up one hypercube; those of a run that may stop early come in several. */
  readonly batch: number;
  readonly seed: number;
}

/** Below this probability of the cut-off tail lies a normal draw beyond three standard deviations: 1 - Phi(3). */
const TAIL_BEYOND_THREE = 0.0013498980316301;

/** Significant digits of a drawn number. */
const DIGITS = 9;

/** What is drawn for the value at a place among the tolerances. */
export type Drawn = (draw: number, place: number) => number;

/** The draws of a plan; only a number that is asked for is worked out. */
export function drawsOf(tolerances: readonly Tolerance[], plan: DrawPlan): Drawn {
  const isFull = plan.law === 'corners' && 2 ** tolerances.length <= plan.draws;
  const shares = isFull ? [] : tolerances.map(({ path }) => sharesOf(path, plan));
  const rounding = tolerances.map(({ quantity }) => roundingOf(quantity));
  return (draw, place) => {
    // All combinations: the bits of the draw's number, again from the start when there are more draws than corners.
    const share = isFull ? (draw >> place) & 1 : shares[place]![draw]!;
    const { value, tolerance } = tolerances[place]!.quantity;
    return rounding[place]!(value + tolerance * offsetAt(share, plan.law));
  };
}

/** For one value its share of the probability in each draw, from 0 to 1. */
function sharesOf(path: string, { draws, batch, sampling, seed }: DrawPlan): Float64Array {
  const shares = new Float64Array(draws);
  for (let start = 0; start < draws; start += batch) {
    const size = Math.min(batch, draws - start);
    const stream = new Streams(seed).for(path, `spread ${start / batch}`);
    const strata = Array.from({ length: size }, (_, index) => index);
    for (let last = size - 1; last > 0; last -= 1) {
      const other = Math.floor(stream.uniform() * (last + 1));
      [strata[last], strata[other]] = [strata[other]!, strata[last]!];
    }
    for (let index = 0; index < size; index += 1) {
      const within = stream.uniform();
      shares[start + index] = sampling === 'latin' ? (strata[index]! + within) / size : within;
    }
  }
  return shares;
}

/** How a number is rounded to what its text in a file says, so that the file reproduces it to the last bit. */
function roundingOf({ value: middle, dimension }: Quantity): (value: number) => number {
  const asRead = (value: number): number => {
    const parsed = parseQuantity(valueText(value, dimension), dimension);
    return 'quantity' in parsed ? parsed.quantity.value : middle;
  };
  if (dimension === 'count' || !isPrintedDecimally(dimension)) return asRead;
  // The same in a tenth of the time; digits before the point of a great number are not rounded away in its text.
  return (value) => (Math.abs(value) < 10 ** DIGITS ? Number(value.toPrecision(DIGITS)) : asRead(value));
}

function offsetAt(share: number, law: Law): number {
  if (law === 'corners') return share < 0.5 ? -1 : 1;
  if (law === 'uniform') return 2 * share - 1;
  return normalQuantile(TAIL_BEYOND_THREE + share * (1 - 2 * TAIL_BEYOND_THREE)) / 3;
}

/** A drawn number as a file has it. */
export function valueText(value: number, dimension: Quantity['dimension']): string {
  return formatQuantity(value, dimension, { digits: DIGITS });
}
