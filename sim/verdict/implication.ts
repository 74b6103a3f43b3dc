/**
 * `when A then B` over a span, and how much of it the end of the run left open. Where the premise is false, or the answer
 * open, nothing is asked: true without margin.
 */
import { Cursor, isLast, slackAt, Track } from './track.ts';

export interface Implication {
  readonly track: Track;
  /** Unbroken stretches of the premise with an instant that could be judged, and with one that could not. */
  readonly judgedCount: number;
  readonly unjudgedCount: number;
}

/**
 * `answer` holds where the answer is surely true; `perhaps`, where it is true or unknown. After `cutSeconds` a window
 * passes the end of the run, so that an answer that is not true yet might still have become so.
 */
export function implication(premise: Track, answer: Track, perhaps: Track, cutSeconds: number): Implication {
  const track = new Track(premise.length + answer.length);
  const [asked, sure, maybe] = [new Cursor(premise), new Cursor(answer), new Cursor(perhaps)];
  const counter = new TriggerCounter();
  const last = premise.lastSeconds;
  const slack = slackAt(last);
  let seconds = premise.firstSeconds;
  for (;;) {
    asked.moveTo(seconds);
    sure.moveTo(seconds);
    maybe.moveTo(seconds);
    const isAsked = asked.pointTruth === 1;
    const isPointOpen = sure.pointTruth === 0 && (seconds > cutSeconds + slack || maybe.pointTruth === 1);
    counter.see(isAsked, isPointOpen);
    const isFree = !isAsked || isPointOpen;
    const point = isFree ? Number.POSITIVE_INFINITY : sure.point(seconds);
    const pointTruth = isFree ? 1 : sure.pointTruth;
    if (isLast(seconds, last)) {
      track.close(last, point, pointTruth);
      return { track, judgedCount: counter.judgedCount, unjudgedCount: counter.unjudgedCount };
    }
    const next = Math.min(asked.nextSeconds, sure.nextSeconds, maybe.nextSeconds);
    const isOpenAsked = asked.openTruth === 1;
    const isOpen = sure.openTruth === 0 && (seconds >= cutSeconds - slack || maybe.openTruth === 1);
    counter.see(isOpenAsked, isOpen);
    if (!isOpenAsked || isOpen)
      track.push(seconds, point, pointTruth, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, 1);
    else track.push(seconds, point, pointTruth, sure.start(seconds), sure.end(next), sure.openTruth);
    seconds = next;
  }
}

/** Counts stretches of the premise while it is told of instants and stretches in order of time. */
class TriggerCounter {
  judgedCount = 0;
  unjudgedCount = 0;
  private hasJudged = false;
  private hasUnjudged = false;

  see(isAsked: boolean, isOpen: boolean): void {
    if (!isAsked) {
      this.hasJudged = false;
      this.hasUnjudged = false;
    } else if (isOpen && !this.hasUnjudged) {
      this.hasUnjudged = true;
      this.unjudgedCount += 1;
    } else if (!isOpen && !this.hasJudged) {
      this.hasJudged = true;
      this.judgedCount += 1;
    }
  }
}
