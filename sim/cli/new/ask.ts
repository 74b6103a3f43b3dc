/** Asks at the terminal: a hint, the usual answer ready to be taken with Enter, and at once what is allowed where one cannot be. */
import input from '@inquirer/input';
import select from '@inquirer/select';
import type { Streams } from '../streams.ts';
import { paintFor } from '../streams.ts';
import { wrapped } from '../wrap.ts';
import type { Answer, Answers, Question } from './answers.ts';

export interface Asker {
  readonly ask: (question: Question, answers: Answers, usual: string, isNewPart: boolean) => Promise<Answer>;
  /** Chooses one of a few things to do. */
  readonly choose: (asks: string, choices: readonly (readonly [word: string, means: string])[]) => Promise<string>;
}

const MOST_COLUMNS = 100;

/** Throws where the user leaves with Ctrl-C; see `isLeaving`. */
export function terminalAsker(streams: Streams): Asker {
  const paint = paintFor(streams);
  const columns = Math.min(streams.columns ?? 80, MOST_COLUMNS);
  // The library draws its own prompt; its colours obey NO_COLOR as ours do.
  const theme = { prefix: { idle: '?', done: paint.good('✓') } };
  return {
    ask: async (question, answers, usual, isNewPart) => {
      if (isNewPart) streams.out(`\n${paint.strong(question.about)}\n`);
      streams.out(`${wrapped(question.hint, '  ', columns).map(paint.faint).join('\n')}\n`);
      const { choices } = question;
      if (choices !== undefined) {
        const word = await select({
          message: question.asks,
          default: usual,
          choices: choices.map(([value, means]) => ({
            value,
            name: means === '' ? value : `${value}  ${paint.faint(means)}`,
            short: value,
            disabled: mistakeOf(question, value, answers) === undefined ? false : '(cannot be with the answers above)',
          })),
          loop: false,
          theme,
        });
        return answerOf(question, word, answers);
      }
      const text = await input({
        message: question.asks,
        default: usual,
        validate: (typed) => mistakeOf(question, typed, answers) ?? true,
        theme,
      });
      return answerOf(question, text, answers);
    },
    choose: (asks, choices) =>
      select({
        message: asks,
        choices: choices.map(([value, means]) => ({ value, name: means })),
        loop: false,
        theme,
      }),
  };
}

/** Whether an error is the library's word for Ctrl-C, or for an input that has ended. */
export function isLeaving(error: unknown): boolean {
  return error instanceof Error && /^(Exit|AbortPrompt|CancelPrompt)/.test(error.name);
}

function mistakeOf(question: Question, text: string, answers: Answers): string | undefined {
  const read = question.read(text, answers);
  return 'answer' in read ? undefined : `${read.says}${read.allowed === undefined ? '' : `; allowed: ${read.allowed}`}`;
}

function answerOf(question: Question, text: string, answers: Answers): Answer {
  const read = question.read(text, answers);
  // What the prompt let through has just been read without a mistake.
  return 'answer' in read ? read.answer : text;
}
