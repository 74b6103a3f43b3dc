/** How many steps of the continuous states a bench takes, counted through its kernel: no clock is needed to see an endless run. */
import { type Act, type Assembly, assemble, type SettledPart } from '../../../sim/bench/assemble.ts';

/** A run took more steps than it may. */
export class TooManySteps extends Error {
  constructor(steps: number, seconds: number) {
    super(`${steps} steps were taken up to ${seconds} s`);
  }
}

export interface Counted {
  readonly assembly: Assembly;
  /** Steps so far. */
  steps(): number;
}

/** Assembled, and its steps counted: from the first one beyond `most` on it throws. */
export function counted(parts: readonly SettledPart[], acts: readonly Act[], most: number): Counted {
  const assembly = assemble(parts, 7, acts);
  const { continuum } = assembly.kernel;
  const advance = continuum.advance.bind(continuum);
  let steps = 0;
  continuum.advance = (now) => {
    steps += 1;
    if (steps > most) throw new TooManySteps(steps, now[0]!);
    advance(now);
  };
  return { assembly, steps: () => steps };
}
