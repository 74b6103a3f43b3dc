/** What can be wrong with an expectation, as data; `words.ts` makes the sentences. */
import type { Dimension, QuantityMistake } from '../units/index.ts';

/** The key of the expectation that a mistake is about. */
export type ExpectationKey =
  | 'that'
  | 'when'
  | 'then'
  | 'always'
  | 'never'
  | 'within'
  | 'from'
  | 'until'
  | 'for'
  | 'fails'
  | 'why';

/** Where in the text under that key. For a key that is missing or superfluous as a whole, offset and length are 0. */
export interface TextRange {
  readonly key: ExpectationKey;
  readonly offset: number;
  readonly length: number;
}

export type ExpectationFault =
  | { readonly code: 'unknown-signal'; readonly name: string; readonly nearest: readonly string[] }
  | {
      readonly code: 'unknown-mode';
      readonly signal: string;
      readonly mode: string;
      readonly allowed: readonly string[];
      readonly nearest: readonly string[];
    }
  | { readonly code: 'no-modes'; readonly signal: string; readonly dimension: Dimension }
  | { readonly code: 'has-modes'; readonly signal: string; readonly allowed: readonly string[] }
  | { readonly code: 'quantity'; readonly signal: string; readonly mistake: QuantityMistake }
  | { readonly code: 'tolerance-unwanted'; readonly signal: string; readonly text: string }
  | {
      readonly code: 'dimensions-differ';
      readonly signal: string;
      readonly dimension: Dimension;
      readonly other: string;
      readonly otherDimension: Dimension;
    }
  | { readonly code: 'range-reversed'; readonly signal: string; readonly low: string; readonly high: string }
  | { readonly code: 'syntax'; readonly found: string; readonly expected: readonly string[] }
  | { readonly code: 'too-long'; readonly most: number }
  | { readonly code: 'too-deep'; readonly most: number }
  | { readonly code: 'no-statement' }
  | { readonly code: 'two-statements' }
  | { readonly code: 'then-without-when' }
  | { readonly code: 'when-without-then' }
  | { readonly code: 'no-claim'; readonly allowed: readonly string[] }
  | { readonly code: 'two-claims'; readonly given: readonly string[] }
  | { readonly code: 'never-with-when' }
  | { readonly code: 'empty-span'; readonly from: string; readonly until: string };

export type ExpectationMistake = TextRange & ExpectationFault;
