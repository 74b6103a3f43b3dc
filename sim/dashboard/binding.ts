/** A row of the key table: which keys, what they do, and how they are listed. */
import type { Session } from './session.ts';

export interface Binding {
  /** Names of keys, the first one shown; see `keyName`. */
  readonly keys: readonly string[];
  /** How the keys are called in the help and in the bottom line. */
  readonly shown: string;
  /** A word or two for the bottom line. */
  readonly short: string;
  /** What they do, for the help. */
  readonly does: string;
  /** Place in the bottom line, the lowest first; without it only the help names them. */
  readonly rank?: number;
  readonly act: (session: Session, key: string) => void;
}
