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
  const { points, at, isInertBetween } = await scanOf(axis, read);
  const base = points.indexOf(axis.base);
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
      if (index !== base && isOutOfReach(points[index - direction]!, direction)) return undefined;
      const here = await at(index);
      if (here.isTurned) return finished(await at(index - direction), here, index + direction, direction);
      const peak = await turnedNear(index);
      if (peak === undefined || (peak.value - axis.base) * direction <= 0) continue;
      const isBeyond = (peak.value - here.value) * direction > 0;
      const beyond = isBeyond ? index + direction : index;
      return finished(isBeyond ? here : await at(index - direction), peak, beyond, direction);
    }
    return undefined;
  }

  /** Something turned between a point's neighbours, where the margin says that there may be. */
  async function turnedNear(index: number): Promise<Point | undefined> {
    if (index === 0 || index === points.length - 1) return undefined;
    const [before, here, after] = [await at(index - 1), await at(index), await at(index + 1)];
    if (before.isTurned || after.isTurned) return undefined;
    if (!(here.gain >= before.gain && here.gain >= after.gain)) return undefined;
    const [left, right] = [here.value - before.value, after.value - here.value];
    // From no margin at all to some is no slope that could go on.
    const mayReach = (rise: number, run: number, reach: number): boolean =>
      Number.isFinite(rise) && here.gain + (rise / run) * reach > 0;
    const isPossible =
      (mayReach(here.gain - before.gain, left, right) && !isInertBetween(index, index + 1)) ||
      (mayReach(here.gain - after.gain, right, left) && !isInertBetween(index - 1, index));
    return isPossible ? peakWithin(before.value, here, after.value, axis, read) : undefined;
  }

  async function finished(same: Point, turned: Point, beyond: number, direction: 1 | -1): Promise<Turn | undefined> {
    const closed = await closedBracket(same, turned, axis, read, (value) => isOutOfReach(value, direction));
    if (isOutOfReach(closed.same, direction)) return undefined;
    let back: number | undefined;
    for (let index = beyond; points[index] !== undefined && back === undefined; index += direction)
      if (!(await at(index)).isTurned) back = points[index]!;
    const short = await shortNear(closed.same, closed.turned, axis, read);
    return { ...closed, short, ...(back === undefined ? {} : { back }) };
  }
}

/** The points of an axis, each run when it is first asked for. */
interface Scan {
  readonly points: readonly number[];
  at(index: number): Promise<Point>;
  /** Whether two neighbours are both known to make no difference, and so all between them. */
  isInertBetween(index: number, next: number): boolean;
}

/**
 * What makes no difference at one number makes none at those between it and where the number stands: they are taken to
 * read the same and are not run. How far out that goes is found first, by halving.
 */
async function scanOf({ base, points }: Axis, read: Read): Promise<Scan> {
  const middle = points.indexOf(base);
  const known = new Map<number, Point>();
  const readAt = async (index: number): Promise<Point> => {
    const point = known.get(index) ?? { value: points[index]!, ...(await read(points[index]!)) };
    known.set(index, point);
    return point;
  };
  const here = await readAt(middle);
  /** The index furthest from the middle, on the way to `end`, that makes no difference. */
  const inertUntil = async (end: number): Promise<number> => {
    if (end === middle || (await readAt(end)).isInert === true) return end;
    let [inert, other] = [middle, end];
    while (Math.abs(other - inert) > 1) {
      const probe = Math.trunc((inert + other) / 2);
      if ((await readAt(probe)).isInert === true) inert = probe;
      else other = probe;
    }
    return inert;
  };
  const [first, last] = [await inertUntil(0), await inertUntil(points.length - 1)];
  const isInert = (index: number): boolean => index >= first && index <= last;
  return {
    points,
    at: async (index) => (isInert(index) ? { ...here, value: points[index]! } : readAt(index)),
    isInertBetween: (index, next) => isInert(index) && isInert(next),
  };
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

/**
 * Closes a bracket down to neighbouring integers, or to a hundred-thousandth of the way.
 *
 * While a line through the margins foretells what is read, it says where the turn is: a probe just beyond it and one just
 * before it close the bracket at once where the margin is straight. If the turn is missed on the same side again, the
 * next probe goes eight times as far aside. Where the margin is no line, such as a step, halving is best; every fourth
 * probe halves anyway, so that it closes whatever the margin is like.
 */
async function closedBracket(
  from: Point,
  to: Point,
  axis: Axis,
  read: Read,
  isOutOfReach: (value: number) => boolean,
): Promise<{ readonly same: number; readonly turned: number }> {
  let [same, turned] = [from, to];
  let isLine = hasMargins(same, turned);
  let misses = 0;
  let wasTurned = false;
  for (let runs = 0; runs < CLOSE_RUNS; runs += 1) {
    const width = turned.value - same.value;
    const enough = axis.isInteger ? 1 : CLOSED * Math.abs(turned.value - axis.base) + 1e-12 * Math.abs(axis.base);
    if (Math.abs(width) <= enough || isOutOfReach(same.value)) break;
    const isByLine = isLine && runs % 4 !== 3;
    const aside = (Math.sign(width) * enough * 8 ** misses) / 3;
    const wanted: number = isByLine ? besideRoot(same, turned, wasTurned ? -aside : aside) : same.value + width / 2;
    const value = axis.isInteger ? integerBetween(wanted, same.value, turned.value) : wanted;
    if (value === same.value || value === turned.value) break;
    const probe = { value, ...(await read(value)) };
    isLine = isForetold(probe, same, turned);
    if (isByLine) {
      misses = runs > 0 && probe.isTurned === wasTurned ? misses + 1 : 0;
      wasTurned = probe.isTurned;
    }
    if (probe.isTurned) turned = probe;
    else same = probe;
  }
  return { same: same.value, turned: turned.value };
}

/** Whether a line through the two margins has a root between them, and not at an end. */
function hasMargins(same: Point, turned: Point): boolean {
  return same.gain < 0 && turned.gain > 0 && Number.isFinite(turned.gain - same.gain);
}

/** A number a little beside the root of the line through both margins, on the other side if that lies outside; or the middle. */
function besideRoot(same: Point, turned: Point, aside: number): number {
  const width = turned.value - same.value;
  const root = same.value + (width * -same.gain) / (turned.gain - same.gain);
  const isBetween = (value: number): boolean => (value - same.value) * (turned.value - value) > 0;
  return [root + aside, root - aside].find(isBetween) ?? same.value + width / 2;
}

/** Whether a probe reads, to an eighth of the span, what the line through both ends says. */
function isForetold(probe: Point, same: Point, turned: Point): boolean {
  const span = turned.gain - same.gain;
  if (!(Number.isFinite(span) && span > 0)) return false;
  const line = same.gain + (span * (probe.value - same.value)) / (turned.value - same.value);
  return Math.abs(probe.gain - line) <= span / 8;
}

function integerBetween(wanted: number, one: number, other: number): number {
  return Math.min(Math.max(Math.round(wanted), Math.min(one, other) + 1), Math.max(one, other) - 1);
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
