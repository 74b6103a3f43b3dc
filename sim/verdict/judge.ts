/**
 * Judges a formula over the trace of a run: does it hold, by what margin, and which signal at which instant decides.
 *
 * Over the span from `from` to `until`, with Q the body, or `the body throughout the next forSeconds`:
 *
 *     that Q always          every instant of the span: Q
 *     that Q never           every instant of the span: not Q
 *     that Q within W        some instant of the first W of the span: Q
 *     when A then Q always   every instant of the span: A implies Q
 *     when A then Q within W every instant of the span: A implies that Q holds at some instant of the next W
 *
 * A premise is true or false without margin, so that a margin is always that of the body.
 *
 * The run ends; what lies after it is unknown. A window that passes the end is cut. An instant whose answer hangs on
 * what would have come after is left out, and what is left out is counted: never is it taken for true or false.
 */
import type { Trace } from '../trace/trace.ts';
import type { Dimension } from '../units/index.ts';
import { deciderOf, type Evaluated, evaluate } from './evaluate.ts';
import type { Formula } from './expectation.ts';
import { implication } from './implication.ts';
import { isLater, onPaper, type Place, type Reading, slackAt, type Track } from './track.ts';
import { extreme, overWindow } from './window.ts';
import { type NoteCode, noteWords } from './words.ts';

export interface Judgement {
  /** The expectation in plain words. */
  readonly text: string;
  /** The outcome: `truth`, turned round where the expectation is expected to fail. */
  readonly holds: boolean;
  /** How far the closest approach was from changing `truth`, in base units: above 0 where true, below where false. */
  readonly margin: number;
  /** Null where there is no margin: a mode without gauge, or nothing judged. `margin` is then infinite. */
  readonly unit: Dimension | null;
  /** The instant that decides: the closest approach. Where a margin is approached but not reached, the end of the approach. */
  readonly atSeconds: number;
  /** The signal that decides there. */
  readonly signal: string;
  readonly truth: boolean;
  /** Triggers (unbroken stretches of the premise; without premise there is one) that were judged, at least in part. */
  readonly judgedCount: number;
  /** Triggers with an instant whose answer the end of the run took away. */
  readonly unjudgedCount: number;
  readonly note?: string;
}

/** Every signal that the formula reads must have a column in the trace. */
export function judge(formula: Formula, trace: Trace): Judgement {
  const runSeconds = trace.endSeconds;
  const span = { from: formula.fromSeconds, until: Math.min(formula.untilSeconds, runSeconds) };
  if (span.from > runSeconds) return notReached(formula, runSeconds);
  if (formula.premise) return judgeWhen(formula, trace, span);
  if (formula.claim === 'within') return judgeWithin(formula, trace, span);
  return formula.claim === 'never' ? judgeNever(formula, trace, span) : judgeAlways(formula, trace, span);
}

interface SpanSeconds {
  readonly from: number;
  readonly until: number;
}

function judgeAlways(formula: Formula, trace: Trace, span: SpanSeconds): Judgement {
  // Each instant and the stretch after it: that is the span, prolonged by the stretch.
  const wanted = onPaper(formula.untilSeconds + formula.forSeconds);
  const until = Math.min(onPaper(span.until + formula.forSeconds), trace.endSeconds);
  const body = evaluate(formula.body, trace, span.from, until);
  const worst = extreme(body.track, at(span.from), at(until), 1);
  const isCut = isLater(
    Math.max(Number.isFinite(wanted) ? wanted : 0, onPaper(span.from + formula.forSeconds)),
    trace.endSeconds,
  );
  return conclude(formula, worst, worst, body, { judgedCount: 1, unjudgedCount: 0 }, isCut ? 'span-cut' : undefined);
}

function judgeNever(formula: Formula, trace: Trace, span: SpanSeconds): Judgement {
  const { body, held, unknown } = bodyOver(formula, trace, span.from, span.until);
  const unjudgedCount = isWithin(unknown, span.until) ? 1 : 0;
  const until = lastKnown(span.until, unknown);
  if (isBefore(until, at(span.from))) return nothingJudged(formula, trace, body, unjudgedCount, 'all-unfinished');
  const nearest = extreme(held, at(span.from), until, -1);
  const outcome = { ...nearest, truth: !nearest.truth, margin: -nearest.margin };
  const isCut = formula.untilSeconds < Infinity && isLater(formula.untilSeconds, trace.endSeconds);
  const note = unjudgedCount > 0 ? 'unfinished' : isCut ? 'span-cut' : undefined;
  return conclude(formula, outcome, deepest(formula, body, nearest), body, { judgedCount: 1, unjudgedCount }, note);
}

function judgeWithin(formula: Formula, trace: Trace, span: SpanSeconds): Judgement {
  const deadline = Math.min(onPaper(span.from + formula.withinSeconds), formula.untilSeconds);
  const until = Math.min(deadline, trace.endSeconds);
  const { body, held, unknown } = bodyOver(formula, trace, span.from, until);
  const knownUntil = lastKnown(until, unknown);
  const counts = { judgedCount: 1, unjudgedCount: 0 };
  if (isBefore(knownUntil, at(span.from))) {
    // It began to hold at once and the run ended before it had held for long enough.
    const decider = deciderOf(body, at(span.from));
    return judgement(
      formula,
      { truth: false, margin: -Infinity, atSeconds: span.from, signal: decider.signal, unit: null },
      counts,
      'unfinished',
    );
  }
  const best = extreme(held, at(span.from), knownUntil, -1);
  const note = best.truth
    ? undefined
    : isWithin(unknown, until)
      ? 'unfinished'
      : isLater(deadline, trace.endSeconds)
        ? 'run-shorter'
        : undefined;
  return conclude(formula, best, deepest(formula, body, best), body, counts, note);
}

function judgeWhen(formula: Formula, trace: Trace, span: SpanSeconds): Judgement {
  const { withinSeconds } = formula;
  const runSeconds = trace.endSeconds;
  const premise = evaluate(formula.premise!, trace, span.from, span.until);
  const { body, held, unknown } = bodyOver(
    formula,
    trace,
    span.from,
    Math.min(onPaper(span.until + withinSeconds), runSeconds),
  );
  const surely = unknown ? held.overwrittenFrom(unknown, -Infinity, 0) : held;
  const perhaps = unknown ? held.overwrittenFrom(unknown, Infinity, 1) : held;
  const soon = (track: Track) => (withinSeconds > 0 ? overWindow(track, withinSeconds, -1) : track);
  const answer = soon(surely);
  const cutSeconds = withinSeconds > 0 ? runSeconds - withinSeconds : Infinity;
  const result = implication(premise.track, answer, unknown ? soon(perhaps) : answer, cutSeconds);
  const counts = { judgedCount: result.judgedCount, unjudgedCount: result.unjudgedCount };
  if (counts.judgedCount === 0) {
    return nothingJudged(
      formula,
      trace,
      body,
      counts.unjudgedCount,
      counts.unjudgedCount > 0 ? 'all-cut' : 'no-trigger',
    );
  }
  const worst = extreme(result.track, at(span.from), at(span.until), 1);
  // Without a window the answer is that of the instant itself; else it comes from the best instant of the window.
  const window: Place = {
    seconds: Math.min(onPaper(worst.seconds + withinSeconds), surely.lastSeconds),
    side: worst.side,
  };
  const deciding = withinSeconds > 0 ? extreme(surely, worst, window, -1) : worst;
  return conclude(
    formula,
    worst,
    deepest(formula, body, deciding),
    body,
    counts,
    counts.unjudgedCount > 0 ? 'some-cut' : undefined,
  );
}

interface BodyOver {
  readonly body: Evaluated;
  /** The body, or the body throughout the next `forSeconds`. */
  readonly held: Track;
  /** From this place on nobody can know `held`: it is true as far as the run goes, which is not far enough. */
  readonly unknown: Place | null;
}

/** The body at every instant from one to another; it is read further by `forSeconds`, as far as the run goes. */
function bodyOver(formula: Formula, trace: Trace, fromSeconds: number, untilSeconds: number): BodyOver {
  const { forSeconds } = formula;
  const runSeconds = trace.endSeconds;
  const wanted = onPaper(untilSeconds + forSeconds);
  const toSeconds = Math.min(wanted, runSeconds);
  const body = evaluate(formula.body, trace, fromSeconds, toSeconds);
  if (forSeconds === 0) return { body, held: body.track, unknown: null };
  const held = overWindow(body.track, forSeconds, 1);
  const isWhole = !isLater(wanted, runSeconds);
  return { body, held, unknown: isWhole ? null : unknownFrom(held, runSeconds - forSeconds) };
}

/** First place after `wholeUntil`, the last instant with a whole window, at which a cut window is true as far as it goes. */
function unknownFrom(held: Track, wholeUntil: number): Place | null {
  // The window that starts at `wholeUntil` made a breakpoint, if within the track; rounding may have put it a hair off.
  const slack = slackAt(held.lastSeconds);
  for (let index = Math.max(0, held.indexAt(wholeUntil - slack)); index < held.length; index += 1) {
    const seconds = held.times[index]!;
    if (seconds > wholeUntil + slack && held.pointTruths[index] === 1) return { seconds, side: 0 };
    const isOpenCut = index + 1 < held.length && seconds >= wholeUntil - slack;
    if (isOpenCut && held.openTruths[index] === 1) return { seconds, side: 1 };
  }
  return null;
}

/** The last place before the unknown, or the end of the span where that comes first. */
function lastKnown(untilSeconds: number, unknown: Place | null): Place {
  if (!isWithin(unknown, untilSeconds)) return at(untilSeconds);
  return { seconds: unknown.seconds, side: unknown.side === 1 ? 0 : -1 };
}

/** Whether the unknown starts before the end of a span. */
function isWithin(unknown: Place | null, untilSeconds: number): unknown is Place {
  return unknown !== null && !isBefore(at(untilSeconds), unknown);
}

/** From the instant at which a stretch of `forSeconds` starts to the instant in it that decides. */
function deepest(formula: Formula, body: Evaluated, place: Place): Place {
  if (formula.forSeconds === 0) return place;
  const end: Place = {
    seconds: Math.min(onPaper(place.seconds + formula.forSeconds), body.track.lastSeconds),
    side: place.side,
  };
  return extreme(body.track, place, end, 1);
}

function conclude(
  formula: Formula,
  outcome: Reading,
  where: Place,
  body: Evaluated,
  counts: Counts,
  note?: NoteCode,
): Judgement {
  const { signal, dimension } = deciderOf(body, where);
  const unit = Number.isFinite(outcome.margin) ? dimension : null;
  return judgement(
    formula,
    { truth: outcome.truth, margin: outcome.margin, atSeconds: where.seconds, signal, unit },
    counts,
    note,
  );
}

interface Counts {
  readonly judgedCount: number;
  readonly unjudgedCount: number;
}

type Decision = Pick<Judgement, 'truth' | 'margin' | 'atSeconds' | 'signal' | 'unit'>;

function judgement(formula: Formula, decision: Decision, counts: Counts, note?: NoteCode): Judgement {
  return {
    text: formula.text,
    holds: decision.truth !== formula.isExpectedToFail,
    ...decision,
    // No minus 0: it would print as such.
    margin: decision.margin + 0,
    ...counts,
    ...(note ? { note: noteWords(note, formula, counts) } : {}),
  };
}

/** Nothing contradicts the formula because nothing was asked: true without margin, and said so. */
function nothingJudged(
  formula: Formula,
  trace: Trace,
  body: Evaluated,
  unjudgedCount: number,
  note: NoteCode,
): Judgement {
  const { signal } = deciderOf(body, at(body.track.lastSeconds));
  const decision = { truth: true, margin: Infinity, atSeconds: trace.endSeconds, signal, unit: null };
  return judgement(formula, decision, { judgedCount: 0, unjudgedCount }, note);
}

/** The span starts after the end of the run. What was to happen in it did not; what was not to happen did not either. */
function notReached(formula: Formula, runSeconds: number): Judgement {
  const truth = formula.claim !== 'within' || formula.premise !== null;
  const signal = leafSignal(formula);
  const decision = { truth, margin: truth ? Infinity : -Infinity, atSeconds: runSeconds, signal, unit: null };
  return judgement(formula, decision, { judgedCount: 0, unjudgedCount: 1 }, 'span-not-reached');
}

function leafSignal(formula: Formula): string {
  let predicate = formula.body;
  while (!('signal' in predicate)) predicate = predicate.kind === 'not' ? predicate.of : predicate.of[0]!;
  return predicate.signal;
}

function at(seconds: number): Place {
  return { seconds, side: 0 };
}

function isBefore(one: Place, other: Place): boolean {
  return one.seconds < other.seconds || (one.seconds === other.seconds && one.side < other.side);
}
