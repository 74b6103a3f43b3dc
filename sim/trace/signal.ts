/** What a recorder and its readers need to know of a signal. */
import type { SignalInfo } from '../kernel/signal.ts';

export type { SignalInfo };

/** Whether a signal is an electrical level, 0 or 1: a plain count whose name ends in `.level`. */
export function isLevel(signal: SignalInfo): boolean {
  return signal.dimension === 'count' && signal.modes === undefined && signal.name.endsWith('.level');
}

/** Whether `value` of a mode signal means being in `mode`, or in one of the modes nested in it. */
export function isInMode(signal: SignalInfo, value: number, mode: string): boolean {
  const word = signal.modes?.[value];
  return word !== undefined && (word === mode || word.startsWith(`${mode}.`));
}
