/** What is known of a signal beside its values. */
import type { Dimension } from '../units/index.ts';

export interface SignalInfo {
  /** `part.quantity`, as it stands in files: `left.pulse`. */
  readonly name: string;
  /** Numbers are in the base unit of this dimension. */
  readonly dimension: Dimension;
  /** `held`: keeps its value until the next sample. `linear`: runs straight from one sample to the next. */
  readonly shape: 'held' | 'linear';
  /** For a signal whose value is one of a few words: the words, value 0 first. Nested modes are dotted: `armed.driving`. */
  readonly modes?: readonly string[];
  /** For a mode: the signal that holds the signed distance to being in it, 0 or more where its condition is met. */
  readonly gauges?: Readonly<Record<string, string>>;
  /** Changes between publications in a way of its own: a recorder must ask for it now and then. */
  readonly isFlowing?: boolean;
  /** A running integral, kept only while somebody records it. */
  readonly isBook?: boolean;
  /** Has a fresh draw of noise whenever a part samples it, so that a recorder must not ask for it. */
  readonly isDrawn?: boolean;
  /** Each publication is one byte sent over a serial port; a column does not tell equal ones in a row apart. */
  readonly isBytes?: boolean;
  readonly means: string;
}
