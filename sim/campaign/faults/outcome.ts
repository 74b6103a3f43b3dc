/**
 * What did the vehicle do after a fault? Told from its drives beside those of the same run without the fault: that run is
 * what was asked for.
 *
 *     allowed(t)   the greatest healthy drive in the same direction over the last moments before t
 *     excess(t)    how far the drive goes beyond that, or all of it where it goes the other way
 *
 * A drive moves by itself while its excess is above the limit. "The last moments" are a control pass and a few frames, so
 * that a step that comes one frame later is no fault. Whether it has stopped within the time allowed is counted from the
 * first instant of excess: for a fault while driving that is the release, or the fault itself if it drives harder.
 */
import type { OutcomeName, Severity } from '../../bench/severity.ts';
import type { Column } from '../../trace/trace.ts';

/** What one drive did after a fault, or the worst of several. */
export interface Outcome {
  readonly name: OutcomeName;
  readonly rank: number;
  /** Greatest drive beyond what was asked for, as a share of full. */
  readonly uncommanded: number;
  /** From the first instant of such drive to its last; null when it still went on at the end. */
  readonly safeSeconds: number | null;
  /** When a person could see, hear or feel that something was wrong: before it drove by itself, only along with it, or never. */
  readonly noticed: 'before' | 'with-it' | 'never';
}

export interface Seen {
  readonly drives: readonly Column[];
  readonly brakes: readonly Column[];
  /** What is asked for by foot and hand. */
  readonly wishes: readonly Column[];
  readonly alarms: readonly Column[];
}

/** A step that comes this much later is the same step: some frames of the slowest usual train. */
const MOMENT_SECONDS = 0.06;
/** While it drives anyway, a difference as small as this is a step of the timer, not a fault. */
const DRIVING_SLACK = 0.1;

export function outcomeOf(healthy: Seen, faulty: Seen, from: number, until: number, severity: Severity): Outcome {
  const span = { from, until };
  const alarmSeconds = firstDifference(healthy.alarms, faulty.alarms, span, 0);
  const outcomes = faulty.drives.map((drive, index) => {
    const before = healthy.drives[index]!;
    const brake = faulty.brakes[index];
    const changed = firstDifference([before], [drive], span, DRIVING_SLACK);
    const braked =
      brake === undefined ? Infinity : firstDifference([healthy.brakes[index]!], [brake], span, DRIVING_SLACK);
    return {
      ...driveOutcome(before, drive, healthy.wishes, span, severity, braked),
      changed: Math.min(changed, braked),
    };
  });
  const worst = outcomes.reduce((a, b) => (isWorse(b, a) ? b : a));
  // Drive that goes missing is felt; drive that comes by itself is what one should have been warned of.
  const start = Math.min(...outcomes.map(({ startSeconds }) => startSeconds));
  const perceived = Math.min(alarmSeconds, ...outcomes.map(({ changed }) => changed));
  const noticed =
    perceived < start - MOMENT_SECONDS
      ? 'before'
      : perceived === Infinity
        ? 'never'
        : start === Infinity
          ? 'before'
          : 'with-it';
  return {
    name: worst.name,
    rank: worst.rank,
    uncommanded: Math.max(...outcomes.map(({ uncommanded }) => uncommanded)),
    safeSeconds: outcomes.some(({ safeSeconds }) => safeSeconds === null)
      ? null
      : Math.max(...outcomes.map(({ safeSeconds }) => safeSeconds!)),
    noticed,
  };
}

/** A greater rank; of equal ones more drive by itself, then longer. */
export function isWorse(one: Omit<Outcome, 'noticed'>, other: Omit<Outcome, 'noticed'>): boolean {
  if (one.rank !== other.rank) return one.rank > other.rank;
  if (one.uncommanded !== other.uncommanded) return one.uncommanded > other.uncommanded;
  return (one.safeSeconds ?? Infinity) > (other.safeSeconds ?? Infinity);
}

interface Span {
  readonly from: number;
  readonly until: number;
}

interface DriveOutcome {
  readonly name: OutcomeName;
  readonly rank: number;
  readonly uncommanded: number;
  readonly safeSeconds: number | null;
  /** First instant of drive by itself; Infinity if there is none. */
  readonly startSeconds: number;
}

function driveOutcome(
  healthy: Column,
  faulty: Column,
  wishes: readonly Column[],
  span: Span,
  severity: Severity,
  brakedSeconds: number,
): DriveOutcome {
  let uncommanded = 0;
  let startSeconds = Infinity;
  let endSeconds = 0;
  let isReversed = false;
  const times = instantsOf([healthy, faulty, ...wishes], span, MOMENT_SECONDS);
  for (const [place, seconds] of times.entries()) {
    const drive = faulty.at(seconds);
    const recent = greatest(healthy, Math.sign(drive), seconds - MOMENT_SECONDS, seconds);
    const allowed = recent > 0 ? recent : stillAsked(healthy, faulty, wishes, Math.sign(drive), seconds);
    const excess = Math.abs(drive) - allowed;
    if (excess <= (allowed > 0 ? DRIVING_SLACK : severity.drive)) continue;
    uncommanded = Math.max(uncommanded, excess);
    if (startSeconds === Infinity) startSeconds = seconds;
    endSeconds = times[place + 1] ?? span.until;
    // The other way than it is asked for, or than it was asked for when the fault came.
    const asked = healthy.at(seconds) || healthy.at(span.from);
    if (asked !== 0 && Math.sign(drive) === -Math.sign(asked)) isReversed = true;
  }
  // A step of the timer for less than a moment is felt by nobody.
  if (uncommanded <= DRIVING_SLACK && endSeconds - startSeconds < MOMENT_SECONDS) {
    uncommanded = 0;
    startSeconds = Infinity;
  }
  const safeSeconds = startSeconds === Infinity ? 0 : endSeconds >= span.until ? null : endSeconds - startSeconds;
  const isLate = safeSeconds === null || safeSeconds > severity.return;
  const name =
    startSeconds === Infinity
      ? calmName(healthy, faulty, wishes, span, brakedSeconds)
      : isReversed
        ? isLate
          ? 'reversed'
          : 'jolted'
        : wildName(healthy, faulty, startSeconds, safeSeconds, isLate);
  return { name, rank: severity.ranks[name], uncommanded, safeSeconds, startSeconds };
}

/**
 * A healthy vehicle may have stopped by itself, cut off by its battery, with the foot where it was. One that then drives on
 * does what is asked: up to what the healthy one gave for it. Only without a stop in between, and only while foot and
 * hand have not moved.
 */
function stillAsked(
  healthy: Column,
  faulty: Column,
  wishes: readonly Column[],
  direction: number,
  seconds: number,
): number {
  const before = faulty.before(seconds);
  if (direction === 0 || Number.isNaN(before) || Math.sign(before) !== direction) return 0;
  let last = healthy.indexAt(seconds);
  while (last >= 0 && Math.sign(healthy.valueAt(last)) !== direction) last -= 1;
  if (last < 0) return 0;
  const stopped = healthy.secondsAt(last + 1);
  const isSteady = wishes.every((wish) => {
    const from = wish.at(stopped - MOMENT_SECONDS);
    return wish.at(seconds) === from && wish.indexAt(seconds) === wish.indexAt(stopped - MOMENT_SECONDS);
  });
  return isSteady ? greatest(healthy, direction, 0, stopped) : 0;
}

/** The name of drive that nobody asked for. */
function wildName(
  healthy: Column,
  faulty: Column,
  startSeconds: number,
  safeSeconds: number | null,
  isLate: boolean,
): OutcomeName {
  if (healthy.at(startSeconds) !== 0) return isLate ? 'sped-up' : 'jolted';
  // What drove when the foot was taken off, and still does, was not started by the fault.
  const wasDriving = faulty.before(startSeconds) !== 0;
  if (!wasDriving) return isLate ? 'started' : 'jolted';
  if (safeSeconds === null) return 'kept-driving';
  return isLate ? 'late-return' : 'returned';
}

/** The name of what a vehicle did that never drove by itself. */
function calmName(
  healthy: Column,
  faulty: Column,
  wishes: readonly Column[],
  span: Span,
  brakedSeconds: number,
): OutcomeName {
  let lostSeconds = Infinity;
  let isWeaker = false;
  let hasDriven = faulty.at(span.from) !== 0;
  let isRestarted = false;
  for (const seconds of instantsOf([healthy, faulty], span, MOMENT_SECONDS)) {
    const drive = faulty.at(seconds);
    const asked = healthy.at(seconds);
    const least = leastDrive(healthy, seconds - MOMENT_SECONDS, seconds);
    if (drive !== 0) {
      const since = lostSeconds;
      if (since < Infinity && hasDriven && leastWish(wishes, since, seconds) > 0.02) isRestarted = true;
      hasDriven = true;
      lostSeconds = Infinity;
    }
    if (least > DRIVING_SLACK && drive === 0 && asked !== 0) lostSeconds = Math.min(lostSeconds, seconds);
    else if (Math.abs(drive) < least - DRIVING_SLACK) isWeaker = true;
    if (asked === 0 && drive === 0) lostSeconds = Infinity;
    if (lostSeconds < Infinity) isWeaker = true;
  }
  if (isRestarted) return 'restarted';
  if (brakedSeconds < Infinity) return 'braked';
  if (!isWeaker) return 'as-before';
  if (!hasDriven) return 'no-start';
  return hasLost(healthy, faulty, span) ? 'coasted' : 'weaker';
}

function hasLost(healthy: Column, faulty: Column, span: Span): boolean {
  return instantsOf([healthy, faulty], span, MOMENT_SECONDS).some(
    (seconds) => faulty.at(seconds) === 0 && leastDrive(healthy, seconds - MOMENT_SECONDS, seconds) > DRIVING_SLACK,
  );
}

/** Every instant of the span at which a held column, or what is remembered of it, may change. */
function instantsOf(columns: readonly Column[], { from, until }: Span, memory: number): number[] {
  const found = new Set([from]);
  for (const column of columns) {
    for (let index = 0; index < column.length; index += 1) {
      const seconds = column.secondsAt(index);
      for (const at of [seconds, seconds + memory]) if (at > from && at <= until) found.add(at);
    }
  }
  return [...found].sort((a, b) => a - b);
}

/** Greatest drive in a direction over a stretch, as a size. */
function greatest(column: Column, direction: number, from: number, to: number): number {
  let most = Math.max(0, direction * column.at(Math.max(0, from)));
  for (let index = column.indexAt(from) + 1; index < column.length && column.secondsAt(index) <= to; index += 1)
    most = Math.max(most, direction * column.valueAt(index));
  return most;
}

/** Smallest size of the drive over a stretch. */
function leastDrive(column: Column, from: number, to: number): number {
  let least = Math.abs(column.at(Math.max(0, from)));
  for (let index = column.indexAt(from) + 1; index < column.length && column.secondsAt(index) <= to; index += 1)
    least = Math.min(least, Math.abs(column.valueAt(index)));
  return least;
}

/** The least that was asked for over a stretch, by whoever asked for most. */
function leastWish(wishes: readonly Column[], from: number, to: number): number {
  const least = (column: Column): number => {
    let smallest = Math.min(Math.abs(column.at(from)), Math.abs(column.at(to)));
    for (let index = column.indexAt(from) + 1; index < column.length && column.secondsAt(index) <= to; index += 1)
      smallest = Math.min(smallest, Math.abs(column.valueAt(index)));
    return smallest;
  };
  return Math.max(0, ...wishes.map(least));
}

/** First instant of the span from which two runs differ for longer than a moment; Infinity if they do not. */
function firstDifference(healthy: readonly Column[], faulty: readonly Column[], span: Span, slack: number): number {
  let first = Infinity;
  for (const [index, one] of healthy.entries()) {
    const other = faulty[index]!;
    let since = Infinity;
    const times = [...instantsOf([one, other], span, 0), span.until];
    for (const seconds of times) {
      if (seconds - since > MOMENT_SECONDS) {
        first = Math.min(first, since);
        break;
      }
      const differs = Math.abs(other.at(seconds) - one.at(seconds)) > slack;
      since = differs ? Math.min(since, seconds) : Infinity;
    }
  }
  return first;
}
