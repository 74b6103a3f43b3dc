/** The chain of causes that is told when somebody asks why: of what fails, or else of what happened last. */
import { settleParts } from '../bench/schema.ts';
import { type CauseLink, causeOf } from '../verdict/cause.ts';
import { judgementWords } from '../verdict/words.ts';
import type { Session } from './session.ts';

export interface Why {
  readonly of: string;
  readonly links: readonly CauseLink[];
}

/** Runs the scenario once more, with a journal, up to the instant in question. */
export function whyOf(session: Session): Why | undefined {
  const { play, player } = session;
  const causes = (signal: string, seconds: number): CauseLink[] =>
    causeOf(settleParts(play.parts), play.seed, play.acts, signal, Math.min(seconds, player.seconds));
  const unmet =
    session.standings.find(({ judgement, isDecided }) => isDecided && !judgement.holds) ??
    session.standings.find(({ judgement }) => !judgement.truth && judgement.judgedCount > 0);
  if (unmet !== undefined) {
    const { judgement, formula } = unmet;
    return { of: judgementWords(judgement, formula), links: causes(judgement.signal, judgement.atSeconds) };
  }
  const item = player.log.items.at(-1);
  if (item === undefined) return undefined;
  return { of: `${item.signal} became ${item.to}`, links: causes(item.signal, item.seconds) };
}
