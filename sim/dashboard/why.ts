/** The chain of causes that is told when somebody asks why: of what fails, or else of what happened last. */
import { settleParts } from '../bench/schema.ts';
import { type CauseLink, causeOf } from '../verdict/cause.ts';
import { judgementWords } from '../verdict/words.ts';
import type { Session } from './session.ts';
import type { Standing } from './standing.ts';

export interface Why {
  readonly of: string;
  readonly links: readonly CauseLink[];
  /** Which of the expectations that are not met it is about, counted from 0, and how many there are of them. */
  readonly index: number;
  readonly count: number;
  /** Its place in the scenario's list; undefined where all are met. */
  readonly place: number | undefined;
}

/** Runs the scenario once more, with a journal, up to the instant in question; `index` chooses among what is not met. */
export function whyOf(session: Session, index = 0): Why | undefined {
  const { play, player } = session;
  const causes = (signal: string, seconds: number): CauseLink[] =>
    causeOf(settleParts(play.parts), play.seed, play.acts, signal, Math.min(seconds, player.seconds));
  const unmet = unmetOf(session.standings);
  const asked = unmet[Math.min(index, unmet.length - 1)];
  if (asked !== undefined) {
    const { judgement, formula } = asked;
    return {
      of: judgementWords(judgement, formula),
      links: causes(judgement.signal, judgement.atSeconds),
      index: unmet.indexOf(asked),
      count: unmet.length,
      place: session.standings.indexOf(asked),
    };
  }
  const item = player.log.items.at(-1);
  if (item === undefined) return undefined;
  const links = causes(item.signal, item.seconds);
  return { of: `${item.signal} became ${item.to}`, links, index: 0, count: 0, place: undefined };
}

/** What has failed for good first, then what is not true so far, though it may be stated so. */
function unmetOf(standings: readonly Standing[]): Standing[] {
  const failed = standings.filter(({ judgement, isDecided }) => isDecided && !judgement.holds);
  const untrue = standings.filter(
    (one) => !one.judgement.truth && one.judgement.judgedCount > 0 && !failed.includes(one),
  );
  return [...failed, ...untrue];
}
