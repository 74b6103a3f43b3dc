/** From flags, the usual values and a person at a terminal to a whole set of answers, or to all that is wrong with the flags. */
import { type Problem, problemAt } from '../../bench/problem.ts';
import type { Answer, Answers, Question } from './answers.ts';
import type { Asker } from './ask.ts';
import type { AnswerName } from './flags.ts';
import { QUESTIONS } from './questions.ts';

export type Flags = Readonly<Partial<Record<AnswerName, string>>>;

export interface Gathered {
  readonly answers: Answers;
  /** Answers that nobody gave. */
  readonly usual: ReadonlySet<AnswerName>;
}

export interface Unanswered {
  readonly problems: readonly Problem[];
  /** The flags that cannot be. */
  readonly refused: readonly AnswerName[];
}

/**
 * Each question in turn: its flag, else the person, else its usual value where `isUsualTaken`. Without any of them it is
 * missing, which is told of all that are.
 */
export async function gather(
  flags: Flags,
  asker: Asker | undefined,
  isUsualTaken: boolean,
): Promise<Gathered | Unanswered> {
  const { problems, refused } = lookAt(flags);
  const missing: string[] = [];
  const usual = new Set<AnswerName>();
  let answers: Answers = {};
  let about = '';
  if (problems.length > 0) return { problems, refused };
  for (const question of QUESTIONS) {
    const { name } = question;
    if (question.applies?.(answers) === false) continue;
    const flag = flags[name];
    let answer: Answer;
    if (flag !== undefined) answer = read(question, flag, answers);
    else if (asker !== undefined) {
      const proposed = question.usual(answers);
      answer = await asker.ask(question, answers, proposed, question.about !== about);
      about = question.about;
      if (wordsOf(answer) === proposed) usual.add(name);
    } else {
      if (!isUsualTaken) missing.push(`--${name}`);
      usual.add(name);
      answer = read(question, question.usual(answers), answers);
    }
    answers = { ...answers, [name]: answer };
  }
  if (missing.length > 0)
    return {
      refused: [],
      problems: [
        problemAt('jackstand new', 'refused', {
          path: '',
          says: `there is no terminal to ask at, and no answer for ${missing.length === 1 ? missing[0]! : `${missing.length} questions, such as ${missing.slice(0, 3).join(', ')}`}`,
          allowed: 'a flag for each (jackstand new --help lists them), or --usual for usual values in their place',
        }),
      ],
    };
  return { answers, usual };
}

const wordsOf = (answer: Answer): string => (typeof answer === 'string' ? answer : answer.text);

function read(question: Question, text: string, answers: Answers): Answer {
  const found = question.read(text, answers);
  return 'answer' in found ? found.answer : text;
}

/** Flags are looked at before anything is asked; a bad one stands for its usual value while the others are looked at. */
function lookAt(flags: Flags): { readonly problems: Problem[]; readonly refused: AnswerName[] } {
  const problems: Problem[] = [];
  const refused: AnswerName[] = [];
  let answers: Answers = {};
  const refuse = (name: AnswerName, says: string, allowed?: string): void => {
    problems.push(
      problemAt(`--${name}`, 'refused', {
        path: '',
        says: `\`${flags[name]}\`: ${says}`,
        ...(allowed === undefined ? {} : { allowed }),
      }),
    );
    refused.push(name);
  };
  for (const question of QUESTIONS) {
    const { name } = question;
    const flag = flags[name];
    if (question.applies?.(answers) === false) {
      if (flag !== undefined) refuse(name, 'with the other answers this is not asked');
      continue;
    }
    const found = question.read(flag ?? question.usual(answers), answers);
    if ('answer' in found) answers = { ...answers, [name]: found.answer };
    else {
      if (flag !== undefined) refuse(name, found.says, found.allowed);
      answers = { ...answers, [name]: read(question, question.usual(answers), answers) };
    }
  }
  return { problems, refused };
}
