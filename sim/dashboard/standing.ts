/** How the expectations of a scenario stand on the trace so far, and which of them nothing can change any more. */
import type { Formula } from '../verdict/expectation.ts';
import { type Judgement, judge } from '../verdict/judge.ts';
import type { Expectation } from '../verdict/run-scenario.ts';
import type { Player } from './player.ts';

export interface Standing {
  readonly formula: Formula;
  readonly judgement: Judgement;
  /** What comes cannot change the outcome; without it, `judgement` is of the run so far. */
  readonly isDecided: boolean;
}

export function standingsOf(expectations: readonly Expectation[], player: Player): Standing[] {
  const { trace } = player;
  const mark = trace.mark();
  // A signal that is on its way has its last sample behind it; the judge must see where it is now.
  trace.columns.forEach((column, index) => {
    if (column.signal.shape !== 'linear' || column.signal.isDrawn === true || player.isAtEnd) return;
    trace.append(index, player.seconds, player.present(column.signal.name));
  });
  const standings = expectations.map(({ formula }): Standing => {
    const judgement = judge(formula, trace);
    return { formula, judgement, isDecided: isDecided(formula, judgement, player) };
  });
  trace.rewind(mark);
  return standings;
}

/**
 * A plain `within` is settled by the first instant that meets it, all others by the first that breaks them. The opposite
 * outcome is settled when the last instant that counts has passed, or the run has ended.
 */
function isDecided(formula: Formula, { truth, judgedCount }: Judgement, player: Player): boolean {
  if (player.isAtEnd) return true;
  const { claim, premise, fromSeconds, untilSeconds, withinSeconds, forSeconds } = formula;
  if (player.seconds < fromSeconds) return false;
  const isSettledBy = claim === 'within' && premise === null;
  if (judgedCount > 0 && truth === isSettledBy) return true;
  const deadline = isSettledBy
    ? Math.min(fromSeconds + withinSeconds, untilSeconds) + forSeconds
    : untilSeconds + withinSeconds + forSeconds;
  return player.seconds > deadline;
}

/** Of all that failed, the one that failed first. */
export function firstFailure(standings: readonly Standing[]): Standing | undefined {
  return standings
    .filter(({ isDecided: decided, judgement }) => decided && !judgement.holds)
    .reduce<Standing | undefined>(
      (first, one) => (first === undefined || one.judgement.atSeconds < first.judgement.atSeconds ? one : first),
      undefined,
    );
}
