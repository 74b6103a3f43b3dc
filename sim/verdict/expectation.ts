/** One expectation of a scenario file: its form, and its reading into a formula that can be judged. */
import { z } from 'zod';
import { type Quantity, seconds } from '../units/index.ts';
import type { ExpectationFault, ExpectationKey, ExpectationMistake } from './mistake.ts';
import { type Predicate, signalsOf } from './predicate.ts';
import { readPredicate, type Signals } from './read-predicate.ts';
import { expectationWords } from './words.ts';

const statement =
  'a statement about signals: `left.mode is armed`, `left.pulse < 2.1 ms`, `pedal.voltage between 0.9 V and 4.1 V`, joined by and, or, not';

export const expectationSchema = z
  .strictObject({
    that: z
      .string()
      .optional()
      .meta({ description: `What must hold: ${statement}.`, examples: ['left.mode is armed'] }),
    when: z
      .string()
      .optional()
      .meta({
        description: `The premise: at each instant at which it holds, \`then\` is asked for. ${statement}.`,
        examples: ['pedal.travel < 2 %'],
      }),
    then: z
      .string()
      .optional()
      .meta({ description: `What must follow from \`when\`: ${statement}.`, examples: ['left.drive = 0'] }),
    always: z
      .literal(true)
      .optional()
      .meta({ description: 'It holds at every instant; with `when`, at every instant at which the premise holds.' }),
    never: z.literal(true).optional().meta({ description: 'It holds at no instant.' }),
    within: seconds({
      min: 0,
      means: 'It holds at some instant no later than this after `from`, or after an instant of the premise.',
      example: '2 s',
    }).optional(),
    from: seconds({
      min: 0,
      means: 'Start of the span of the run that the expectation speaks of.',
      example: '1 s',
    }).optional(),
    until: seconds({ min: 0, means: 'End of that span; without it, the end of the run.', example: '3 s' }).optional(),
    for: seconds({
      min: 0,
      means: 'It counts as holding at an instant only when it goes on to hold for this long.',
      example: '200 ms',
    }).optional(),
    fails: z.literal(true).optional().meta({
      description: 'It is expected not to be met: the outcome is turned round, its cause is shown all the same.',
    }),
    why: z
      .string()
      .optional()
      .meta({ description: 'What the expectation is for, shown beside its outcome.' })
      .meta({ examples: ['nothing may move before the foot does'] }),
  })
  .meta({ description: 'One thing that must hold in the run.' });

export type ExpectationItem = z.output<typeof expectationSchema>;

/** An expectation ready to be judged. All times are in seconds. */
export interface Formula {
  /** The expectation in plain words. */
  readonly text: string;
  readonly claim: 'always' | 'never' | 'within';
  /** Null for an expectation that speaks of the whole span. */
  readonly premise: Predicate | null;
  readonly body: Predicate;
  /** 0 unless the claim is `within`. */
  readonly withinSeconds: number;
  readonly fromSeconds: number;
  /** Infinity for the end of the run. */
  readonly untilSeconds: number;
  /** 0 where an instant is enough. */
  readonly forSeconds: number;
  readonly isExpectedToFail: boolean;
  readonly why: string | null;
}

export type ParsedExpectation = { readonly formula: Formula } | { readonly mistakes: readonly ExpectationMistake[] };

/** Reads an item that fits the schema. `names` are all signals of the bench, for suggestions. Reports every mistake. */
export function parseExpectation(
  item: ExpectationItem,
  lookup: Signals['lookup'],
  names: readonly string[],
): ParsedExpectation {
  const signals = { lookup, names };
  const mistakes: ExpectationMistake[] = formMistakes(item);
  const read = (key: 'that' | 'when' | 'then'): Predicate | undefined => {
    const text = item[key];
    if (text === undefined) return undefined;
    const result = readPredicate(text, key, signals);
    if ('predicate' in result) return result.predicate;
    mistakes.push(...result.mistakes);
    return undefined;
  };
  const that = read('that');
  const premise = read('when');
  const then = read('then');
  const body = item.when === undefined ? that : then;
  if (mistakes.length > 0 || !body) return { mistakes };
  const claim = item.within ? 'within' : item.never ? 'never' : 'always';
  return {
    formula: {
      text: expectationWords(item),
      claim,
      premise: premise ?? null,
      body,
      withinSeconds: item.within?.value ?? 0,
      fromSeconds: item.from?.value ?? 0,
      untilSeconds: item.until?.value ?? Number.POSITIVE_INFINITY,
      forSeconds: item.for?.value ?? 0,
      isExpectedToFail: item.fails === true,
      why: item.why ?? null,
    },
  };
}

/** Names of the signals that must be recorded to judge a formula, gauges included. */
export function signalsRead(formula: Formula): readonly string[] {
  return [...new Set([...(formula.premise ? signalsOf(formula.premise) : []), ...signalsOf(formula.body)])];
}

/** What is wrong with the keys together, whatever their texts say. */
function formMistakes(item: ExpectationItem): ExpectationMistake[] {
  const mistakes: ExpectationMistake[] = [];
  const add = (key: ExpectationKey, fault: ExpectationFault) => mistakes.push({ ...fault, key, offset: 0, length: 0 });
  const hasPremise = item.when !== undefined;
  if (item.that === undefined && !hasPremise && item.then === undefined) add('that', { code: 'no-statement' });
  if (item.that !== undefined && (hasPremise || item.then !== undefined)) add('that', { code: 'two-statements' });
  else if (item.then !== undefined && !hasPremise) add('then', { code: 'then-without-when' });
  else if (item.then === undefined && hasPremise) add('when', { code: 'when-without-then' });

  const given = (['always', 'never', 'within'] as const).filter((claim) => item[claim] !== undefined);
  const allowed = hasPremise ? ['within', 'always: true'] : ['always: true', 'never: true', 'within'];
  if (given.length > 1) add(given[1]!, { code: 'two-claims', given });
  else if (given.length === 0) add(hasPremise ? 'when' : 'that', { code: 'no-claim', allowed });
  else if (hasPremise && item.never) add('never', { code: 'never-with-when' });

  if (item.from && item.until && isEmptySpan(item.from, item.until)) {
    add('until', { code: 'empty-span', from: item.from.text, until: item.until.text });
  }
  return mistakes;
}

function isEmptySpan(from: Quantity, until: Quantity): boolean {
  return from.value > until.value;
}
