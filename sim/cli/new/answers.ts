/** Answers of `jackstand new`, and how a text becomes one or is refused with what is allowed. */
import {
  type Dimension,
  formatQuantity,
  parseQuantity,
  type Quantity,
  quantityMistakeWords,
} from '../../units/index.ts';
import type { AnswerName } from './flags.ts';

/** A quantity, or a word. */
export type Answer = Quantity | string;
export type Answers = Readonly<Partial<Record<AnswerName, Answer>>>;

export interface Refused {
  readonly says: string;
  readonly allowed?: string;
}
export type Read = { readonly answer: Answer } | Refused;

export interface Question {
  readonly name: AnswerName;
  /** The part that it is about, as a heading. */
  readonly about: string;
  readonly asks: string;
  /** How to find it out. */
  readonly hint: string;
  /** Words that can be chosen, with what each means. */
  readonly choices?: readonly (readonly [word: string, means: string])[];
  /** False where earlier answers leave nothing to ask. */
  readonly applies?: (answers: Answers) => boolean;
  /** What most have, or what follows from earlier answers. */
  readonly usual: (answers: Answers) => string;
  readonly read: (text: string, answers: Answers) => Read;
}

/** Middle of a quantity that was asked for before; NaN where it was not. */
export function numberOf(answers: Answers, name: AnswerName): number {
  const answer = answers[name];
  return typeof answer === 'object' ? answer.value : Number.NaN;
}

export function wordOf(answers: Answers, name: AnswerName): string {
  const answer = answers[name];
  return typeof answer === 'object' ? answer.text : (answer ?? '');
}

type Base = Omit<Question, 'read' | 'choices'>;

export function choiceOf(base: Base, choices: readonly (readonly [string, string])[]): Question {
  const words = choices.map(([word]) => word);
  return {
    ...base,
    choices,
    read: (text) => {
      const word = text.trim().toLowerCase();
      return words.includes(word) ? { answer: word } : { says: 'there is no such choice', allowed: words.join(', ') };
    },
  };
}

/** In base units; what earlier answers leave of them. The whole tolerance must lie inside. */
export interface Span {
  readonly least: number;
  readonly most: number;
  /** What is left out of the span: values nearer to `from` than `by`. */
  readonly away?: { readonly from: number; readonly by: number; readonly as: string };
}

/** A quantity in a span; `orNone` takes the word `none` as well. */
export function quantityOf(
  base: Base,
  dimension: Dimension,
  spanOf: Span | ((answers: Answers) => Span),
  orNone = false,
): Question {
  return {
    ...base,
    read: (text, answers) => {
      if (orNone && text.trim().toLowerCase() === 'none') return { answer: 'none' };
      const span = typeof spanOf === 'function' ? spanOf(answers) : spanOf;
      const allowed = `${spanWords(span, dimension)}${orNone ? ', or none' : ''}`;
      const parsed = parseQuantity(text, dimension);
      if ('mistake' in parsed) {
        const { says, nearest } = quantityMistakeWords(parsed.mistake);
        return { says: nearest === undefined ? says : `${says}; perhaps \`${nearest}\``, allowed };
      }
      const { value, tolerance } = parsed.quantity;
      // A hair of slack, so that a limit typed as it is printed lies inside.
      const slack = 1e-9 * Math.max(Math.abs(span.least), Math.abs(span.most));
      if (value - tolerance < span.least - slack || value + tolerance > span.most + slack)
        return { says: 'it lies outside of what can be', allowed };
      const { away } = span;
      if (away !== undefined && Math.abs(value - away.from) < away.by - slack)
        return { says: `it is too near to ${away.as}, ${formatQuantity(away.from, dimension)}`, allowed };
      return { answer: parsed.quantity };
    },
  };
}

function spanWords({ least, most, away }: Span, dimension: Dimension): string {
  const words = (value: number): string => formatQuantity(value, dimension, { digits: 6 });
  const range = `${words(least)} to ${words(most)}`;
  return away === undefined ? range : `${range}, at least ${words(away.by)} from ${away.as} (${words(away.from)})`;
}
