/**
 * Judges a formula straight from the published definition, by brute force, for the tests to compare with: no sliding,
 * no crossings, no cleverness. It works on traces all of whose breakpoints, values, slopes and windows are such that
 * every margin is a straight line within each cell of a grid; where that turns out untrue it throws.
 *
 * Donze A., Maler O., "Robust Satisfaction of Temporal Logic over Real-Valued Signals", FORMATS 2010: rho of x >= c is
 * x - c, of not p the negative, of and the smaller, of or the larger, of always the infimum, of eventually the supremum.
 */
import type { Formula } from '../../sim/verdict/expectation.ts';
import type { Predicate } from '../../sim/verdict/predicate.ts';

/** Cells in one second. */
export const FINENESS = 32;

/** One signal of a test: what it is at an instant, and the limits before and after. */
export interface Plain {
  readonly shape: 'held' | 'linear';
  readonly samples: readonly (readonly [seconds: number, value: number])[];
  readonly modes?: readonly string[];
}

export type PlainTrace = Readonly<Record<string, Plain>>;

/** Margin at an instant (`point`), and just after and just before the ends of the open cell that follows it. */
interface Cell {
  readonly point: number;
  readonly isTrue: boolean;
  readonly start: number;
  readonly end: number;
  readonly isOpenTrue: boolean;
}

interface Line {
  readonly point: number;
  readonly start: number;
  readonly end: number;
}

export interface Verdict {
  readonly truth: boolean;
  readonly margin: number;
  readonly judgedCount: number;
  readonly unjudgedCount: number;
  /** Margins of the body at each cell, to look up the instant that decides. */
  readonly body: readonly Cell[];
}

export function judgeByDefinition(formula: Formula, trace: PlainTrace, runSeconds: number): Verdict {
  const cellCount = runSeconds * FINENESS;
  const span = { from: formula.fromSeconds * FINENESS, until: Math.min(formula.untilSeconds, runSeconds) * FINENESS };
  const within = formula.withinSeconds * FINENESS;
  const body = cells(formula.body, trace, cellCount, span.from);
  const premise = formula.premise ? cells(formula.premise, trace, cellCount, span.from) : null;
  const hold = formula.forSeconds * FINENESS;
  const held = hold === 0 ? body : body.map((_, index) => overWindow(body, index, hold, 'all'));
  // Unknown: the window is cut and true so far.
  const isUnknown = (index: number, isOpen: boolean) => {
    const isCut = isOpen ? index + hold >= cellCount : index + hold > cellCount;
    return hold > 0 && isCut && (isOpen ? held[index]!.isOpenTrue : held[index]!.isTrue);
  };
  const readings: { margin: number; truth: boolean; index: number; isOpen: boolean; isUnknown: boolean }[] = [];
  held.forEach((cell, index) => {
    if (index < span.from) return;
    readings.push({ margin: cell.point, truth: cell.isTrue, index, isOpen: false, isUnknown: isUnknown(index, false) });
    if (index === cellCount) return;
    for (const margin of [cell.start, cell.end]) {
      readings.push({ margin, truth: cell.isOpenTrue, index, isOpen: true, isUnknown: isUnknown(index, true) });
    }
  });
  const isIn = (reading: { index: number; isOpen: boolean }, until: number) =>
    reading.isOpen ? reading.index < until : reading.index <= until;
  const least = (list: readonly { margin: number }[]) =>
    list.reduce((found, { margin }) => Math.min(found, margin), Infinity);
  const most = (list: readonly { margin: number }[]) =>
    list.reduce((found, { margin }) => Math.max(found, margin), -Infinity);

  if (!premise && formula.claim === 'within') {
    const list = readings.filter(
      (reading) => isIn(reading, Math.min(span.until, span.from + within)) && !reading.isUnknown,
    );
    return { truth: list.some(({ truth }) => truth), margin: most(list), judgedCount: 1, unjudgedCount: 0, body };
  }
  if (!premise && formula.claim === 'never') {
    const asked = readings.filter((reading) => isIn(reading, span.until));
    const list = asked.filter((reading) => !reading.isUnknown);
    const unjudgedCount = list.length < asked.length ? 1 : 0;
    return {
      truth: !list.some(({ truth }) => truth),
      margin: -most(list),
      judgedCount: list.length > 0 ? 1 : 0,
      unjudgedCount,
      body,
    };
  }
  if (!premise) {
    // A cut window counts as far as it goes.
    const list = readings.filter((reading) => isIn(reading, span.until));
    return { truth: list.every(({ truth }) => truth), margin: least(list), judgedCount: 1, unjudgedCount: 0, body };
  }

  const sure = held.map((cell, index) => ({
    point: isUnknown(index, false) ? -Infinity : cell.point,
    isTrue: cell.isTrue && !isUnknown(index, false),
    start: isUnknown(index, true) ? -Infinity : cell.start,
    end: isUnknown(index, true) ? -Infinity : cell.end,
    isOpenTrue: cell.isOpenTrue && !isUnknown(index, true),
  }));
  const answer = within === 0 ? sure : sure.map((_, index) => overWindow(sure, index, within, 'some'));
  const judged: { margin: number; truth: boolean }[] = [];
  const triggers: { judged: boolean; unjudged: boolean }[] = [];
  let trigger: { judged: boolean; unjudged: boolean } | null = null;
  for (let index = span.from; index <= span.until; index += 1) {
    for (const isOpen of [false, true]) {
      if (isOpen && index === span.until) continue;
      const isAsked = isOpen ? premise[index]!.isOpenTrue : premise[index]!.isTrue;
      if (!isAsked) {
        trigger = null;
        continue;
      }
      if (!trigger) {
        trigger = { judged: false, unjudged: false };
        triggers.push(trigger);
      }
      const truth = isOpen ? answer[index]!.isOpenTrue : answer[index]!.isTrue;
      const isCut = within > 0 && (isOpen ? index + within >= cellCount : index + within > cellCount);
      const isOpenEnded = !truth && (isCut || meetsUnknown(index, isOpen, within, cellCount, isUnknown));
      if (isOpenEnded) {
        trigger.unjudged = true;
        continue;
      }
      trigger.judged = true;
      if (isOpen) judged.push({ margin: answer[index]!.start, truth }, { margin: answer[index]!.end, truth });
      else judged.push({ margin: answer[index]!.point, truth });
    }
  }
  return {
    truth: judged.every(({ truth }) => truth),
    margin: least(judged),
    judgedCount: triggers.filter(({ judged }) => judged).length,
    unjudgedCount: triggers.filter(({ unjudged }) => unjudged).length,
    body,
  };
}

/** Whether the window from a place on has an unknown place in it. */
function meetsUnknown(
  index: number,
  isOpen: boolean,
  width: number,
  cellCount: number,
  isUnknown: (index: number, isOpen: boolean) => boolean,
): boolean {
  for (let at = index; at <= Math.min(index + width, cellCount); at += 1) {
    if (!(isOpen && at === index) && isUnknown(at, false)) return true;
    const isOpenIn = isOpen || at < index + width;
    if (isOpenIn && at < cellCount && isUnknown(at, true)) return true;
  }
  return false;
}

/** All, or some, of a window of `width` cells that starts at cell `index`; it is cut at the end. */
function overWindow(list: readonly Cell[], index: number, width: number, mode: 'all' | 'some'): Cell {
  const pick = mode === 'all' ? Math.min : Math.max;
  const neutral = mode === 'all' ? Infinity : -Infinity;
  const join = (truths: readonly boolean[]) => (mode === 'all' ? truths.every(Boolean) : truths.some(Boolean));
  const last = list.length - 1;

  let point = neutral;
  const pointTruths: boolean[] = [];
  for (let at = index; at <= Math.min(index + width, last); at += 1) {
    point = pick(point, list[at]!.point);
    pointTruths.push(list[at]!.isTrue);
    if (at === Math.min(index + width, last)) break;
    point = pick(point, list[at]!.start, list[at]!.end);
    pointTruths.push(list[at]!.isOpenTrue);
  }
  if (index === last)
    return { point, isTrue: join(pointTruths), start: point, end: point, isOpenTrue: join(pointTruths) };

  // From an instant inside the open cell `index` to one inside the open cell `index + width`, or to the end.
  const first = list[index]!;
  let middle = neutral;
  const openTruths = [first.isOpenTrue];
  for (let at = index + 1; at <= Math.min(index + width, last); at += 1) {
    middle = pick(middle, list[at]!.point);
    openTruths.push(list[at]!.isTrue);
    if (at === last) break;
    openTruths.push(list[at]!.isOpenTrue);
    if (at < index + width) middle = pick(middle, list[at]!.start, list[at]!.end);
  }
  const isCut = index + width >= last;
  const right = isCut ? { start: neutral, end: neutral } : list[index + width]!;
  // The limits of the cells at the two ends that stay inside the window all the time.
  middle = pick(middle, first.end, isCut ? neutral : right.start);
  requireStraight([first.start, first.end], [right.start, right.end]);
  requireStraight([first.start, first.end], [middle, middle]);
  requireStraight([right.start, right.end], [middle, middle]);
  return {
    point,
    isTrue: join(pointTruths),
    start: pick(first.start, right.start, middle),
    end: pick(first.end, right.end, middle),
    isOpenTrue: join(openTruths),
  };
}

function cells(predicate: Predicate, trace: PlainTrace, cellCount: number, from: number): Cell[] {
  switch (predicate.kind) {
    case 'not':
      return cells(predicate.of, trace, cellCount, from).map(({ point, isTrue, start, end, isOpenTrue }) => ({
        point: -point,
        isTrue: !isTrue,
        start: -start,
        end: -end,
        isOpenTrue: !isOpenTrue,
      }));
    case 'and':
    case 'or': {
      const isAnd = predicate.kind === 'and';
      const pick = isAnd ? Math.min : Math.max;
      return predicate.of
        .map((of) => cells(of, trace, cellCount, from))
        .reduce((one, other) =>
          one.map((a, index) => {
            const b = other[index]!;
            requireStraight([a.start, a.end], [b.start, b.end]);
            return {
              point: pick(a.point, b.point),
              isTrue: isAnd ? a.isTrue && b.isTrue : a.isTrue || b.isTrue,
              start: pick(a.start, b.start),
              end: pick(a.end, b.end),
              isOpenTrue: isAnd ? a.isOpenTrue && b.isOpenTrue : a.isOpenTrue || b.isOpenTrue,
            };
          }),
        );
    }
    case 'mode': {
      const { modes } = trace[predicate.signal]!;
      const isIn = (value: number) =>
        modes![value] === predicate.mode || modes![value]!.startsWith(`${predicate.mode}.`);
      const gauge = predicate.gauge ? lines(trace[predicate.gauge.signal]!, cellCount) : undefined;
      const margin = (value: number, distance: number | undefined) => {
        if (distance === undefined) return isIn(value) ? Infinity : -Infinity;
        return isIn(value) ? Math.max(distance, 0) : -Math.max(-distance, 0);
      };
      return lines(trace[predicate.signal]!, cellCount).map((line, index) => ({
        point: margin(line.point, gauge?.[index]?.point),
        isTrue: isIn(line.point),
        start: margin(line.start, gauge?.[index]?.start),
        end: margin(line.start, gauge?.[index]?.end),
        isOpenTrue: isIn(line.start),
      }));
    }
    case 'monotonic': {
      const sign = predicate.direction === 'rises' ? 1 : -1;
      let highest = -Infinity;
      return lines(trace[predicate.signal]!, cellCount).map((line, index) => {
        if (index < from) return { point: 0, isTrue: true, start: 0, end: 0, isOpenTrue: true };
        const below = (value: number) => {
          highest = Math.max(highest, sign * value);
          return sign * value - highest;
        };
        const [point, start, end] = [below(line.point), below(line.start), below(line.end)];
        return { point, isTrue: point >= 0, start, end, isOpenTrue: start >= 0 && end >= 0 };
      });
    }
    case 'between':
      return leaf(
        lines(trace[predicate.signal]!, cellCount),
        (x) => Math.min(x - predicate.low, predicate.high - x),
        true,
      );
    case 'compare':
      return compare(lines(trace[predicate.signal]!, cellCount), predicate.relation, predicate.value);
    case 'compare-signals': {
      const other = lines(trace[predicate.other]!, cellCount);
      const less = lines(trace[predicate.signal]!, cellCount).map(({ point, start, end }, index) => ({
        point: point - other[index]!.point,
        start: start - other[index]!.start,
        end: end - other[index]!.end,
      }));
      return compare(less, predicate.relation, 0);
    }
  }
}

function compare(list: readonly Line[], relation: string, value: number): Cell[] {
  if (relation === '<' || relation === '<=') return leaf(list, (x) => value - x, relation === '<=');
  if (relation === '>' || relation === '>=') return leaf(list, (x) => x - value, relation === '>=');
  if (relation === '=') return leaf(list, (x) => Math.min(x - value, value - x), true);
  return leaf(list, (x) => -Math.min(x - value, value - x), false);
}

function leaf(list: readonly Line[], rho: (value: number) => number, isTrueAtZero: boolean): Cell[] {
  return list.map(({ point, start, end }) => {
    const truth = (margin: number) => margin > 0 || (margin === 0 && isTrueAtZero);
    // Strictly inside the cell the margin is 0 only where it is 0 at both ends.
    return {
      point: rho(point),
      isTrue: truth(rho(point)),
      start: rho(start),
      end: rho(end),
      isOpenTrue: truth(rho((start + end) / 2)),
    };
  });
}

/** The signal on the grid, from its samples alone. */
function lines(signal: Plain, cellCount: number): Line[] {
  const after = (seconds: number) => {
    let found = 0;
    signal.samples.forEach(([at], index) => {
      if (at <= seconds) found = index;
    });
    return found;
  };
  const valueIn = (index: number, seconds: number) => {
    const [at, value] = signal.samples[index]!;
    const next = signal.samples[index + 1];
    if (signal.shape === 'held' || !next || next[0] === at) return value;
    return value + ((next[1] - value) * (seconds - at)) / (next[0] - at);
  };
  return Array.from({ length: cellCount + 1 }, (_, cell) => {
    const index = after(cell / FINENESS);
    const point = valueIn(index, cell / FINENESS);
    return { point, start: point, end: cell === cellCount ? point : valueIn(index, (cell + 1) / FINENESS) };
  });
}

/** Two lines over one cell must not cross inside it, or their smaller one is no line. */
function requireStraight(one: readonly [number, number], other: readonly [number, number]): void {
  const isCrossed = (one[0] < other[0] && one[1] > other[1]) || (one[0] > other[0] && one[1] < other[1]);
  if (isCrossed) throw new Error(`the grid is too coarse for this trace: ${one} crosses ${other}`);
}
