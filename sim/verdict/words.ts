/** The one place that turns expectations, their outcomes and the mistakes in them into plain words. */
import { dimensionWords, formatQuantity, type MistakeWords, quantityMistakeWords } from '../units/index.ts';
import type { ExpectationItem, Formula } from './expectation.ts';
import type { Judgement } from './judge.ts';
import type { ExpectationFault } from './mistake.ts';

/** `left.mode is armed, within 2 s` */
export function expectationWords(item: ExpectationItem): string {
  const parts = [
    item.when === undefined ? oneLine(item.that ?? '') : `when ${oneLine(item.when)}, then ${oneLine(item.then ?? '')}`,
  ];
  if (item.for) parts.push(`for ${item.for.text}`);
  if (item.within) parts.push(`within ${item.within.text}`);
  if (item.always) parts.push('always');
  if (item.never) parts.push('never');
  const span = [item.from ? `from ${item.from.text}` : '', item.until ? `until ${item.until.text}` : ''].filter(
    (words) => words !== '',
  );
  if (span.length > 0) parts.push(span.join(' '));
  return parts.join(', ');
}

/** One line on an outcome, with what it is for: `left.mode is armed, within 2 s: never. Closest: left.arming at 520 ms, 16 us off.` */
export function judgementWords(judgement: Judgement, formula: Formula): string {
  const { truth, margin, atSeconds, signal, unit, note } = judgement;
  const instant = formatQuantity(atSeconds, 'time');
  const purpose = formula.why === null ? '' : ` (${oneLine(formula.why)})`;
  const sentences = [`${judgement.text}${purpose}: ${outcomeWords(judgement, formula, instant)}.`];
  if (unit !== null && Number.isFinite(margin)) {
    // One good instant is enough for `within`, one bad one for all others: the instant that decides is the best or the worst.
    const isBest = formula.claim === 'within' && formula.premise === null;
    const label = isBest === truth ? (truth ? 'Best' : 'Worst') : 'Closest';
    const amount = formatQuantity(Math.abs(margin), unit);
    sentences.push(`${label}: ${signal} at ${instant}, ${amount} ${truth ? 'to spare' : 'off'}.`);
  }
  if (note !== undefined) sentences.push(`${note.charAt(0).toUpperCase()}${note.slice(1)}.`);
  return sentences.join(' ');
}

function outcomeWords(judgement: Judgement, formula: Formula, instant: string): string {
  if (judgement.judgedCount === 0) return 'not judged';
  const surprise = formula.isExpectedToFail ? (judgement.truth ? ', but was expected to fail' : ', as expected') : '';
  if (judgement.truth) return `holds${surprise}`;
  if (formula.claim === 'within' && formula.premise === null) return `never${surprise}`;
  return `not at ${instant}${surprise}`;
}

/** What is worth saying of an outcome beside it. */
export type NoteCode =
  | 'no-trigger'
  | 'all-cut'
  | 'some-cut'
  | 'all-unfinished'
  | 'unfinished'
  | 'span-cut'
  | 'run-shorter'
  | 'span-not-reached';

export function noteWords(code: NoteCode, formula: Formula, counts: { readonly unjudgedCount: number }): string {
  const times = counts.unjudgedCount === 1 ? 'once' : `${counts.unjudgedCount} times`;
  switch (code) {
    case 'no-trigger':
      return 'its premise never held, so that nothing was judged';
    case 'all-cut':
      return `its premise held ${times}, but the run ended before an answer was due; nothing was judged`;
    case 'some-cut':
      return `the run ended before an answer was due, ${times}; that much is not judged`;
    case 'all-unfinished':
      return `it held when the run ended, but the run was shorter than ${formatQuantity(formula.forSeconds, 'time')}; nothing was judged`;
    case 'unfinished':
      return `it held when the run ended, but not yet for ${formatQuantity(formula.forSeconds, 'time')}`;
    case 'span-cut':
      return 'the run ended before the span did; it was judged as far as the run went';
    case 'run-shorter':
      return 'the run ended before the time was up';
    case 'span-not-reached':
      return `the run ended before ${formatQuantity(formula.fromSeconds, 'time')}, where its span starts; nothing was judged`;
  }
}

export function expectationMistakeWords(mistake: ExpectationFault): MistakeWords {
  switch (mistake.code) {
    case 'unknown-signal':
      return { says: `there is no signal ${quoted(mistake.name)}`, ...nearestOf(mistake.nearest) };
    case 'unknown-mode':
      return {
        says: `${mistake.signal} has no mode ${quoted(mistake.mode)}`,
        allowed: mistake.allowed.join(', '),
        ...nearestOf(mistake.nearest),
      };
    case 'no-modes':
      return {
        says: `${mistake.signal} is ${dimensionWords(mistake.dimension)} and has no modes; compare it with <, <=, >, >=, = or !=`,
      };
    case 'has-modes':
      return {
        says: `${mistake.signal} is a mode, not a number; write \`${mistake.signal} is MODE\``,
        allowed: mistake.allowed.join(', '),
      };
    case 'quantity': {
      const words = quantityMistakeWords(mistake.mistake);
      return { ...words, says: `${mistake.signal}: ${words.says}` };
    }
    case 'tolerance-unwanted':
      return { says: `a tolerance has no meaning here (${quoted(mistake.text)}); only = and != take one` };
    case 'dimensions-differ':
      return {
        says: `${mistake.signal} is ${dimensionWords(mistake.dimension)}, ${mistake.other} ${dimensionWords(mistake.otherDimension)}: they cannot be compared`,
      };
    case 'range-reversed':
      return {
        says: `the range of ${mistake.signal} runs from ${mistake.low} down to ${mistake.high}: the lower end comes first`,
      };
    case 'syntax':
      return {
        says: mistake.found === '' ? 'the statement ends too early' : `${quoted(mistake.found)} is not expected here`,
        allowed: mistake.expected.join(', '),
      };
    case 'too-long':
      return { says: `the statement is longer than ${mistake.most} characters` };
    case 'too-deep':
      return { says: `more than ${mistake.most} parentheses and nots within each other` };
    default:
      return formWords(mistake);
  }
}

type FormFault = Extract<
  ExpectationFault,
  {
    code:
      | 'no-statement'
      | 'two-statements'
      | 'then-without-when'
      | 'when-without-then'
      | 'no-claim'
      | 'two-claims'
      | 'never-with-when'
      | 'empty-span';
  }
>;

function formWords(mistake: FormFault): MistakeWords {
  switch (mistake.code) {
    case 'no-statement':
      return { says: 'the expectation says nothing', allowed: 'that, or when with then' };
    case 'two-statements':
      return { says: 'an expectation is either `that` or `when` with `then`, not both' };
    case 'then-without-when':
      return { says: '`then` needs a `when`' };
    case 'when-without-then':
      return { says: '`when` needs a `then`' };
    case 'no-claim':
      return {
        says: 'the expectation does not say at which instants it must hold',
        allowed: mistake.allowed.join(', '),
      };
    case 'two-claims':
      return { says: `the expectation has ${mistake.given.join(' and ')}: give exactly one` };
    case 'never-with-when':
      return {
        says: '`never` does not go with `when`; write `then: not (...)` with `always: true`',
        allowed: 'within, always: true',
      };
    case 'empty-span':
      return { says: `the span ends (${mistake.until}) before it starts (${mistake.from})` };
  }
}

function nearestOf(nearest: readonly string[]): { readonly nearest?: string } {
  return nearest.length > 0 ? { nearest: nearest.join(', ') } : {};
}

/** Text from a file on one line; control characters never reach a terminal. */
function oneLine(text: string): string {
  return text.replace(/[\s\p{Cc}\p{Cf}]+/gu, ' ').trim();
}

function quoted(text: string): string {
  const shown = oneLine(text);
  return shown === '' ? 'a character that cannot be shown' : `\`${shown}\``;
}
