/**
 * A recorded pulse train beside a simulated one: frame for frame, which differ by how much, and where they part first.
 *
 * A frame is a pulse and the time since the one before it. Both trains are laid over each other by one shift; from there
 * on the pairing follows a clock that runs faster or slower, and a frame that only one of them has is told as such.
 */
import type { CapturedPulses } from '../capture/edges.ts';
import type { Column } from './trace.ts';

/** Whole pulses, and the stretch of time in which they would have been seen. */
export interface Train extends CapturedPulses {
  readonly fromSeconds: number;
  readonly untilSeconds: number;
}

export type Alignment = 'best-shift' | 'first-edge' | 'none';

/** How one quantity of the frames differs, recorded less simulated, in seconds. */
export interface Difference {
  readonly meanSeconds: number;
  readonly largest: FramePoint | undefined;
}

export interface FramePoint {
  /** Number of the frame among the simulated ones, from 1. */
  readonly frame: number;
  /** When it rises on the bench. */
  readonly seconds: number;
  readonly simulatedSeconds: number;
  readonly recordedSeconds: number;
}

export interface Parting {
  readonly seconds: number;
  readonly what: 'width' | 'period' | 'only-simulated' | 'only-recorded';
  readonly point?: FramePoint;
}

export interface Comparison {
  readonly alignment: Alignment;
  /** Recorded instants less this are instants on the bench. */
  readonly shiftSeconds: number;
  readonly toleranceSeconds: number;
  /** Frames that both have. */
  readonly frameCount: number;
  readonly onlySimulatedCount: number;
  readonly onlyRecordedCount: number;
  readonly width: Difference;
  readonly period: Difference;
  /** Of the rises, after the shift: on average, at the first frame and at the last. */
  readonly offset: { readonly meanSeconds: number; readonly firstSeconds: number; readonly lastSeconds: number };
  /** Frames beyond the tolerance, in width or period, and those that only one train has. */
  readonly beyondCount: number;
  readonly first: Parting | undefined;
  readonly holds: boolean;
}

/** Only 1 is high: a line may also float. */
export function trainOf(column: Column, untilSeconds: number): Train {
  const riseSeconds: number[] = [];
  const fallSeconds: number[] = [];
  let rise = Number.NaN;
  let wasHigh = true;
  for (const { seconds, value } of column) {
    const isHigh = value === 1;
    if (isHigh && !wasHigh) rise = seconds;
    if (!isHigh && wasHigh && !Number.isNaN(rise)) {
      riseSeconds.push(rise);
      fallSeconds.push(seconds);
    }
    wasHigh = isHigh;
  }
  return {
    riseSeconds: Float64Array.from(riseSeconds),
    fallSeconds: Float64Array.from(fallSeconds),
    fromSeconds: 0,
    untilSeconds,
  };
}

/** Undefined where one of the trains has no whole pulse, or where they have no time in common. */
export function compareTrains(
  simulated: Train,
  recorded: Train,
  toleranceSeconds: number,
  wanted: Alignment,
): Comparison | undefined {
  if (simulated.riseSeconds.length === 0 || recorded.riseSeconds.length === 0) return undefined;
  const shiftSeconds =
    wanted === 'none'
      ? 0
      : wanted === 'first-edge'
        ? firstEdgeShift(simulated, recorded)
        : bestShift(simulated, recorded);
  const pairing = pair(simulated, recorded, shiftSeconds, halfPeriod(simulated, recorded), Number.POSITIVE_INFINITY);
  if (pairing.pairs.length === 0) return undefined;
  return told(simulated, recorded, pairing, { alignment: wanted, shiftSeconds, toleranceSeconds });
}

interface Pairing {
  /** Frames that are the same one, by their numbers. */
  readonly pairs: readonly (readonly [simulated: number, recorded: number])[];
  readonly onlySimulated: readonly number[];
  readonly onlyRecorded: readonly number[];
}

/** Half of the period that is usual: what lies farther off is another frame. */
function halfPeriod(simulated: Train, recorded: Train): number {
  return Math.min(usualPeriod(simulated), usualPeriod(recorded)) / 2;
}

/** Frames in order, each with the one of the other train that comes within half a period of where it is expected. */
function pair(simulated: Train, recorded: Train, shiftSeconds: number, half: number, mostFrames: number): Pairing {
  const pairs: [number, number][] = [];
  const onlySimulated: number[] = [];
  const onlyRecorded: number[] = [];
  const [seenFrom, seenUntil] = [recorded.fromSeconds - shiftSeconds, recorded.untilSeconds - shiftSeconds];
  const rise = (at: number): number => recorded.riseSeconds[at]! - shiftSeconds;
  // How far the recording lags just now: a clock that differs makes it grow.
  let lag = 0;
  const offAt = (one: number, two: number): number => rise(two) - simulated.riseSeconds[one]! - lag;
  let [at, other] = [0, 0];
  while (at < simulated.riseSeconds.length && other < recorded.riseSeconds.length && pairs.length < mostFrames) {
    const off = offAt(at, other);
    // Where the next frame of either train comes nearer, this one is alone.
    const isNearest = !(
      Math.abs(offAt(at, other + 1)) < Math.abs(off) || Math.abs(offAt(at + 1, other)) < Math.abs(off)
    );
    if (Math.abs(off) <= half && isNearest) {
      pairs.push([at, other]);
      lag += off;
      at += 1;
      other += 1;
    } else if (off > 0) {
      if (simulated.riseSeconds[at]! + lag >= seenFrom && simulated.fallSeconds[at]! + lag <= seenUntil)
        onlySimulated.push(at);
      at += 1;
    } else {
      if (
        rise(other) - lag >= simulated.fromSeconds &&
        recorded.fallSeconds[other]! - shiftSeconds - lag <= simulated.untilSeconds
      )
        onlyRecorded.push(other);
      other += 1;
    }
  }
  if (pairs.length >= mostFrames) return { pairs, onlySimulated, onlyRecorded };
  // What is left of one train counts as far as the other was looked at.
  for (; at < simulated.riseSeconds.length; at += 1)
    if (simulated.fallSeconds[at]! + lag <= seenUntil) onlySimulated.push(at);
  for (; other < recorded.riseSeconds.length; other += 1)
    if (recorded.fallSeconds[other]! - shiftSeconds - lag <= simulated.untilSeconds) onlyRecorded.push(other);
  return { pairs, onlySimulated, onlyRecorded };
}

function usualPeriod({ riseSeconds, untilSeconds, fromSeconds }: Train): number {
  const periods = riseSeconds.slice(1).map((rise, index) => rise - riseSeconds[index]!);
  return periods.length === 0 ? untilSeconds - fromSeconds : periods.sort()[Math.floor(periods.length / 2)]!;
}

const firstEdgeShift = (simulated: Train, recorded: Train): number =>
  recorded.riseSeconds[0]! - simulated.riseSeconds[0]!;

/** Shifts that are tried, those nearest to the first edges first, and frames that each is judged by. */
const MOST_SHIFTS = 2000;
const FRAMES_JUDGED = 500;
/** A shift that leaves less than this share of the shorter train in common says little. */
const LEAST_COMMON = 0.5;
/** Differences that are equal to within this are equal: of equally good shifts the one nearest to the first edges counts. */
const EQUAL_SECONDS = 1e-9;

/** The shift by whole frames with the least differences in width and period, then so that the rises agree in the middle. */
function bestShift(simulated: Train, recorded: Train): number {
  const nearest = firstEdgeShift(simulated, recorded);
  const [first, other] = [simulated.riseSeconds, recorded.riseSeconds];
  const shifts = [...other.map((rise) => rise - first[0]!), ...first.map((rise) => other[0]! - rise)]
    .sort((a, b) => Math.abs(a - nearest) - Math.abs(b - nearest))
    .slice(0, MOST_SHIFTS);
  const half = halfPeriod(simulated, recorded);
  let [best, least] = [nearest, Number.POSITIVE_INFINITY];
  for (const shift of shifts) {
    const cost = costOf(simulated, recorded, shift, half);
    if (cost < least - EQUAL_SECONDS) [best, least] = [shift, cost];
  }
  const { pairs } = pair(simulated, recorded, best, half, FRAMES_JUDGED);
  const offsets = pairs.map(([at, with_]) => other[with_]! - best - first[at]!).sort((a, b) => a - b);
  return best + (offsets[Math.floor(offsets.length / 2)] ?? 0);
}

/** Mean difference of a frame in seconds; a frame that only one has costs half a period. */
function costOf(simulated: Train, recorded: Train, shift: number, half: number): number {
  const { pairs, onlySimulated, onlyRecorded } = pair(simulated, recorded, shift, half, FRAMES_JUDGED);
  const shorter = Math.min(simulated.riseSeconds.length, recorded.riseSeconds.length, FRAMES_JUDGED);
  if (pairs.length < LEAST_COMMON * shorter) return Number.POSITIVE_INFINITY;
  const alone = (onlySimulated.length + onlyRecorded.length) * half;
  const differing = pairs.reduce((sum, one, index) => {
    const period = periodsAt(simulated, recorded, pairs, index);
    const width = Math.abs(widthOf(recorded, one[1]) - widthOf(simulated, one[0]));
    return sum + Math.min(half, width + (period === undefined ? 0 : Math.abs(period[1] - period[0])));
  }, 0);
  return (alone + differing) / (pairs.length + onlySimulated.length + onlyRecorded.length);
}

const widthOf = ({ riseSeconds, fallSeconds }: Train, at: number): number => fallSeconds[at]! - riseSeconds[at]!;

/** Periods up to a pair of frames, where the frames before it are a pair too. */
function periodsAt(
  simulated: Train,
  recorded: Train,
  pairs: Pairing['pairs'],
  index: number,
): readonly [simulated: number, recorded: number] | undefined {
  const [at, other] = pairs[index]!;
  const before = pairs[index - 1];
  if (before === undefined || before[0] !== at - 1 || before[1] !== other - 1) return undefined;
  return [
    simulated.riseSeconds[at]! - simulated.riseSeconds[at - 1]!,
    recorded.riseSeconds[other]! - recorded.riseSeconds[other - 1]!,
  ];
}

function told(
  simulated: Train,
  recorded: Train,
  { pairs, onlySimulated, onlyRecorded }: Pairing,
  given: Pick<Comparison, 'alignment' | 'shiftSeconds' | 'toleranceSeconds'>,
): Comparison {
  const point = (at: number, of: readonly [number, number]): FramePoint => ({
    frame: at + 1,
    seconds: simulated.riseSeconds[at]!,
    simulatedSeconds: of[0],
    recordedSeconds: of[1],
  });
  const widths = pairs.map(([at, other]) => point(at, [widthOf(simulated, at), widthOf(recorded, other)]));
  const periods = pairs.map(([at], index) => {
    const both = periodsAt(simulated, recorded, pairs, index);
    return both === undefined ? undefined : point(at, both);
  });
  const isBeyond = (one: FramePoint | undefined): boolean =>
    one !== undefined && Math.abs(differenceOf(one)) > given.toleranceSeconds + SLACK_SECONDS;
  const partings = [
    ...pairs.flatMap((_, index): Parting[] => {
      const what = isBeyond(widths[index]) ? 'width' : isBeyond(periods[index]) ? 'period' : undefined;
      if (what === undefined) return [];
      const of = what === 'width' ? widths[index]! : periods[index]!;
      return [{ seconds: of.seconds, what, point: of }];
    }),
    ...onlySimulated.map((at): Parting => ({ seconds: simulated.riseSeconds[at]!, what: 'only-simulated' })),
    ...onlyRecorded.map(
      (at): Parting => ({ seconds: recorded.riseSeconds[at]! - given.shiftSeconds, what: 'only-recorded' }),
    ),
  ].sort((a, b) => a.seconds - b.seconds);
  const offsets = pairs.map(
    ([at, other]) => recorded.riseSeconds[other]! - given.shiftSeconds - simulated.riseSeconds[at]!,
  );
  return {
    ...given,
    frameCount: pairs.length,
    onlySimulatedCount: onlySimulated.length,
    onlyRecordedCount: onlyRecorded.length,
    width: difference(widths),
    period: difference(periods.filter((one) => one !== undefined)),
    offset: { meanSeconds: mean(offsets), firstSeconds: offsets[0]!, lastSeconds: offsets.at(-1)! },
    beyondCount: partings.length,
    first: partings[0],
    holds: partings.length === 0,
  };
}

/** Below a picosecond nothing was measured: a difference that is the tolerance on paper is not beyond it. */
const SLACK_SECONDS = 1e-12;

export const differenceOf = ({ simulatedSeconds, recordedSeconds }: FramePoint): number =>
  recordedSeconds - simulatedSeconds;

function difference(points: readonly FramePoint[]): Difference {
  let largest: FramePoint | undefined;
  // Of equal ones the first: what rounding adds to a later one makes it no larger.
  for (const one of points)
    if (largest === undefined || Math.abs(differenceOf(one)) > Math.abs(differenceOf(largest)) + SLACK_SECONDS)
      largest = one;
  return { meanSeconds: mean(points.map(differenceOf)), largest };
}

function mean(numbers: readonly number[]): number {
  return numbers.length === 0 ? 0 : numbers.reduce((sum, number) => sum + number, 0) / numbers.length;
}
