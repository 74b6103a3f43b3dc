/**
 * How far each number is searched: from a tenth of it to ten times it, as far as the bench file and the rules
 * between its values allow. A number that is 0 has no tenth: it is searched to a reach of its dimension, both ways.
 */
import type { Dimension } from '../../units/index.ts';
import type { QuantityParameter } from './parameters.ts';
import type { Axis } from './turning.ts';

/** Shares of the number, outwards; dense near it, for windows near it are narrow. */
const SHARES_UP = [1.01, 1.03, 1.08, 1.2, 1.5, 2.5, 5, 10];
const SHARES_DOWN = [0.99, 0.97, 0.92, 0.8, 0.6, 0.4, 0.2, 0.1];
const SHARES_OF_REACH = [0.001, 0.01, 0.03, 0.1, 0.3, 1];
/** Integers are also tried one by one near to where they stand. */
const INTEGER_STEPS = [1, 2, 3, 4, 6];

/** How far a number that stands at 0 is searched, in base units; 1 where nothing is said. */
const REACH_FROM_ZERO: Partial<Record<Dimension, number>> = {
  count: 64,
  ratio: 0.5,
  time: 10,
  voltage: 5,
  current: 50,
  resistance: 10e3,
  temperature: 40,
};

/**
 * The numbers to scan; without any beside where it stands, nothing else is allowed. A number must be one that the file
 * `takes` and keep the rules between values, both of which must hold where it stands.
 */
export function axisOf(parameter: QuantityParameter, keepsRules: (value: number) => boolean): Axis {
  const { value: base, isInteger, dimension } = parameter;
  const outwards = ([-1, 1] as const).map((direction) => {
    if (base !== 0) return allowed(pointsBeside(base, direction, isInteger), parameter, keepsRules);
    const reach = allowed([direction * (REACH_FROM_ZERO[dimension] ?? 1)], parameter, keepsRules).at(-1) ?? 0;
    return outwardsFromZero(reach, isInteger);
  });
  const [down, up] = outwards as [number[], number[]];
  return { base, isInteger, points: [...down.reverse(), base, ...up] };
}

/** From the number outwards, in one direction. */
function pointsBeside(base: number, direction: 1 | -1, isInteger: boolean): number[] {
  // Of a number below 0, the larger share lies further down.
  const shares = direction * base > 0 ? SHARES_UP : SHARES_DOWN;
  if (!isInteger) return shares.map((share) => share * base);
  const near = INTEGER_STEPS.map((step) => base + direction * step);
  return inOrder([...shares.map((share) => Math.round(share * base)), ...near], base);
}

function outwardsFromZero(reach: number, isInteger: boolean): number[] {
  if (reach === 0) return [];
  const points = SHARES_OF_REACH.map((share) => share * reach);
  if (!isInteger) return points;
  const near = INTEGER_STEPS.map((step) => Math.sign(reach) * step).filter((step) => Math.abs(step) < Math.abs(reach));
  return inOrder([...points.map(Math.round), ...near], 0);
}

function inOrder(points: readonly number[], base: number): number[] {
  return [...new Set(points)].filter((point) => point !== base).sort((a, b) => Math.abs(a - base) - Math.abs(b - base));
}

/** By these the end of what is allowed is known to a millionth of the way. */
const HALVINGS = 20;

/** Points outwards as far as they are allowed, and the last one that is. */
function allowed(
  outwards: readonly number[],
  parameter: QuantityParameter,
  keepsRules: (value: number) => boolean,
): number[] {
  const { value: base, takes } = parameter;
  const furthest = outwards.at(-1);
  if (furthest === undefined) return [];
  // What the file takes is told by the number alone, and sooner than what goes with the rest of the bench.
  let end = takes(furthest) ? furthest : lastGood(parameter, furthest, takes);
  if (end !== base && !keepsRules(end)) end = lastGood(parameter, end, (value) => takes(value) && keepsRules(value));
  if (end === furthest) return [...outwards];
  const inside = outwards.filter((point) => Math.abs(point - base) < Math.abs(end - base));
  return end === base ? inside : [...inside, end];
}

/** The last number on the way to one that is bad, closed in on by halving. */
function lastGood(
  { value: base, isInteger }: QuantityParameter,
  furthest: number,
  isGood: (value: number) => boolean,
): number {
  let [good, bad] = [base, furthest];
  for (let halvings = 0; halvings < HALVINGS && !(isInteger && Math.abs(bad - good) <= 1); halvings += 1) {
    const middle = isInteger ? Math.round((good + bad) / 2) : Number(((good + bad) / 2).toPrecision(12));
    if (middle === good || middle === bad) break;
    if (isGood(middle)) good = middle;
    else bad = middle;
  }
  return good;
}
