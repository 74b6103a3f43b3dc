/**
 * Where does a yes or no along one number turn? A coarse scan outwards from where the number stands, then the bracket
 * that turned is closed, by the margin where there is one and by halving where not.
 *
 * What is true only in a window between two points of the scan is found by its margin: if that rises towards a point
 * and falls after it, steeply enough to pass zero in between, the peak is looked for. A turn so narrow that neither
 * sees it is missed; it would have to lie between two neighbours of the scan and to be invisible in the margin.
 */

/** What one run said. */
export interface Reading {
  readonly isTurned: boolean;
  /** It made no difference at all to what is looked at. */
  readonly isInert?: boolean;
  /** How far from turning (below 0) or beyond it (above 0). -Infinity where there is no margin. */
  readonly gain: number;
}

export interface Axis {
  readonly base: number;
  /** Numbers to scan, rising, `base` among them. */
  readonly points: readonly number[];
  readonly isInteger: boolean;
}

export interface Turn {
  /** The number at which it was last seen not to have turned, and the nearest at which it has: neighbours. */
  readonly same: number;
  readonly turned: number;
  /** A number as short as can be, at `turned` or at most a hundredth of the way beyond it, that turns it too. */
  readonly short: number;
  /** Further out it turns back: the nearest scanned number at which it has. */
  readonly back?: number;
}

export interface Turns {
  readonly down?: Turn;
  readonly up?: Turn;
}

/** Numbers beyond which a turn is of no interest, because a nearer one is known. */
export interface Reaches {
  readonly down?: number;
  readonly up?: number;
}

type Read = (value: number) => Promise<Reading>;

interface Point extends Reading {
  readonly value: number;
}

/** Runs spent on a peak, and on closing a bracket, at most. */
const PEAK_RUNS = 14;
const CLOSE_RUNS = 50;
/** A bracket is closed when it is this small against the distance from where the number stands. */
const CLOSED = 1e-5;

export async function turnsAlong(axis: Axis, read: Read, reaches: Reaches = {}): Promise<Turns> {
  const points = await scanned(axis, read);
  const base = points.findIndex((point) => point.value === axis.base);
  const down = await nearestTurn(-1);
  const up = await nearestTurn(1);
  return { ...(down && { down }), ...(up && { up }) };

  /** Whether a number lies no nearer than one that is known to turn already. */
  function isOutOfReach(value: number, direction: 1 | -1): boolean {
    const reach = direction === 1 ? reaches.up : reaches.down;
    return reach !== undefined && (value - reach) * direction >= 0;
  }

  async function nearestTurn(direction: 1 | -1): Promise<Turn | undefined> {
    for (let index = base; points[index] !== undefined; index += direction) {
      const here = points[index]!;
      if (index !== base && isOutOfReach(points[index - direction]!.value, direction)) return undefined;
      if (here.isTurned) return finished(points[index - direction]!, here, index + direction, direction);
      const peak = await turnedNear(index);
      if (peak === undefined || (peak.value - axis.base) * direction <= 0) continue;
      const isBeyond = (peak.value - here.value) * direction > 0;
      const beyond = isBeyond ? index + direction : index;
      return finished(isBeyond ? here : points[index - direction]!, peak, beyond, direction);
    }
    return undefined;
  }

  /** Something turned between a point's neighbours, where the margin says that there may be. */
  async function turnedNear(index: number): Promise<Point | undefined> {
    const [before, here, after] = [points[index - 1], points[index]!, points[index + 1]];
    if (before === undefined || after === undefined || before.isTurned || after.isTurned) return undefined;
    if (!(here.gain >= before.gain && here.gain >= after.gain)) return undefined;
    const [left, right] = [here.value - before.value, after.value - here.value];
    const mayReach = (slope: number, reach: number): boolean => here.gain + Math.abs(slope) * reach > 0;
    const isPossible =
      mayReach((here.gain - before.gain) / left, right) || mayReach((after.gain - here.gain) / right, left);
    return isPossible ? peakWithin(before.value, here, after.value, axis, read) : undefined;
  }

  async function finished(same: Point, turned: Point, beyond: number, direction: 1 | -1): Promise<Turn | undefined> {
    const closed = await closedBracket(same, turned, axis, read, (value) => isOutOfReach(value, direction));
    if (isOutOfReach(closed.same, direction)) return undefined;
    let back: number | undefined;
    for (let index = beyond; points[index] !== undefined && back === undefined; index += direction)
      if (!points[index]!.isTurned) back = points[index]!.value;
    const short = await shortNear(closed.same, closed.turned, axis, read);
    return { ...closed, short, ...(back === undefined ? {} : { back }) };
  }
}

/**
 * Reads the points of an axis, from both ends inwards. What makes no difference at one number makes none at those
 * between it and where the number stands: they are taken to read the same and are not run.
 */
async function scanned({ base, points }: Axis, read: Read): Promise<Point[]> {
  const here: Point = { value: base, ...(await read(base)) };
  const inwards = async (side: readonly number[]): Promise<Point[]> => {
    const found: Point[] = [];
    let isInert = false;
    for (const value of side) {
      const reading: Reading = isInert ? here : await read(value);
      isInert ||= reading.isInert === true;
      found.push({ ...reading, value });
    }
    return found;
  };
  const below = await inwards(points.filter((value) => value < base));
  const above = await inwards(points.filter((value) => value > base).reverse());
  return [...below, here, ...above.reverse()];
}

/** Golden-section search for a peak that has turned. */
async function peakWithin(low: number, best: Point, high: number, axis: Axis, read: Read): Promise<Point | undefined> {
  const share = (3 - Math.sqrt(5)) / 2;
  let middle = best;
  for (let runs = 0; runs < PEAK_RUNS; runs += 1) {
    const isRightLonger = high - middle.value > middle.value - low;
    const wanted = isRightLonger
      ? middle.value + share * (high - middle.value)
      : middle.value - share * (middle.value - low);
    const value = axis.isInteger ? Math.round(wanted) : wanted;
    if (value === middle.value || value === low || value === high) return undefined;
    const probe = { value, ...(await read(value)) };
    if (probe.isTurned) return probe;
    if (probe.gain > middle.gain) {
      if (isRightLonger) low = middle.value;
      else high = middle.value;
      middle = probe;
    } else if (isRightLonger) high = value;
    else low = value;
  }
  return undefined;
}

/** Closes a bracket down to neighbouring integers, or to a hundred-thousandth of the way. */
async function closedBracket(
  from: Point,
  to: Point,
  axis: Axis,
  read: Read,
  isOutOfReach: (value: number) => boolean,
): Promise<{ readonly same: number; readonly turned: number }> {
  let [same, turned] = [from, to];
  for (let runs = 0; runs < CLOSE_RUNS; runs += 1) {
    const width = turned.value - same.value;
    const enough = axis.isInteger ? 1 : CLOSED * Math.abs(turned.value - axis.base) + 1e-12 * Math.abs(axis.base);
    if (Math.abs(width) <= enough || isOutOfReach(same.value)) break;
    const value = nextProbe(same, turned, runs, enough, axis.isInteger);
    if (value === same.value || value === turned.value) break;
    const probe = { value, ...(await read(value)) };
    if (probe.isTurned) turned = probe;
    else same = probe;
  }
  return { same: same.value, turned: turned.value };
}

/**
 * A line through the margins says where the turn is; probing just beyond it and just before it closes the bracket at
 * once where the margin is straight. Every third probe halves, so that it closes whatever the margin is like.
 */
function nextProbe(same: Point, turned: Point, runs: number, enough: number, isInteger: boolean): number {
  const width = turned.value - same.value;
  const hasMargins = Number.isFinite(same.gain) && Number.isFinite(turned.gain) && turned.gain > same.gain;
  let value = same.value + width / 2;
  if (hasMargins && runs % 3 !== 2) {
    const line = same.value + (width * -same.gain) / (turned.gain - same.gain);
    const aside = (Math.sign(width) * enough) / 3;
    value = line + (runs % 3 === 0 ? aside : -aside);
    const isInside = (value - same.value) * (turned.value - value) > 0;
    if (!isInside) value = same.value + width / 2;
  }
  if (!isInteger) return value;
  const [least, most] = [Math.min(same.value, turned.value) + 1, Math.max(same.value, turned.value) - 1];
  return Math.min(Math.max(Math.round(value), least), most);
}

/** The shortest number near the turn that was seen to turn; one inside the closed bracket may be the exact turn itself. */
async function shortNear(same: number, turned: number, axis: Axis, read: Read): Promise<number> {
  if (axis.isInteger) return turned;
  const furthest = turned + (turned - axis.base) / 100;
  for (const candidate of [shortest(same, furthest), shortest(turned, furthest)])
    if (candidate === turned || (await read(candidate)).isTurned) return candidate;
  return turned;
}

/** The number with the fewest decimal digits that lies after `from` and not after `to`. */
export function shortest(from: number, to: number): number {
  const direction = Math.sign(to - from);
  for (
    let exponent = Math.floor(Math.log10(Math.max(Math.abs(from), Math.abs(to)))) + 1;
    exponent > -30;
    exponent -= 1
  ) {
    const step = Number(`1e${exponent}`);
    const candidate = direction > 0 ? (Math.floor(from / step) + 1) * step : (Math.ceil(from / step) - 1) * step;
    const written = Number(candidate.toPrecision(15));
    if ((written - from) * direction > 0 && (to - written) * direction >= 0) return written;
  }
  return to;
}
