/** What may be said of signals at an instant, as data: what the reader of a file's text makes and the judge evaluates. */
import type { Dimension } from '../units/index.ts';

export type Relation = '<' | '<=' | '>' | '>=' | '=' | '!=';

/** A statement about one signal, or about one signal and another. */
export type Statement =
  | {
      readonly kind: 'compare';
      readonly signal: string;
      readonly dimension: Dimension;
      readonly relation: Relation;
      readonly value: number;
    }
  | {
      readonly kind: 'compare-signals';
      readonly signal: string;
      readonly dimension: Dimension;
      readonly relation: Relation;
      readonly other: string;
    }
  /** Both ends belong to the range. */
  | {
      readonly kind: 'between';
      readonly signal: string;
      readonly dimension: Dimension;
      readonly low: number;
      readonly high: number;
    }
  /**
   * `rises`: the signal is not below anything that it was since the start of the judged span, so that `always` means
   * that it never decreases; its margin is minus the drop below that highest value. `falls` is the mirror image.
   */
  | {
      readonly kind: 'monotonic';
      readonly signal: string;
      readonly dimension: Dimension;
      readonly direction: 'rises' | 'falls';
    }
  /** Being in a mode or in one nested in it. `gauge` holds the signed distance to it, where a part gives one. */
  | { readonly kind: 'mode'; readonly signal: string; readonly mode: string; readonly gauge: Gauge | null };

export type Predicate =
  | Statement
  | { readonly kind: 'not'; readonly of: Predicate }
  | { readonly kind: 'and' | 'or'; readonly of: readonly Predicate[] };

export interface Gauge {
  readonly signal: string;
  readonly dimension: Dimension;
}

export function negation(of: Predicate): Predicate {
  return { kind: 'not', of };
}

/** Names of the signals that a predicate needs, gauges included, each once. */
export function signalsOf(predicate: Predicate): readonly string[] {
  return [...new Set(listSignals(predicate))];
}

function listSignals(predicate: Predicate): readonly string[] {
  switch (predicate.kind) {
    case 'not':
      return listSignals(predicate.of);
    case 'and':
    case 'or':
      return predicate.of.flatMap(listSignals);
    case 'compare-signals':
      return [predicate.signal, predicate.other];
    case 'mode':
      return predicate.gauge ? [predicate.signal, predicate.gauge.signal] : [predicate.signal];
    default:
      return [predicate.signal];
  }
}
