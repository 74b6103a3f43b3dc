/** A schema against a file: each mistake in the user's words, at the place where it was made. */
import { describe, expect, test } from 'vitest';
import { z } from 'zod';
import { printProblem } from '../../sim/bench/print.ts';
import type { FactsByCode, Problem, ProblemCode } from '../../sim/bench/problem.ts';
import { validate } from '../../sim/bench/validate.ts';
import { wordsOf } from '../../sim/bench/words.ts';
import { volts } from '../../sim/units/index.ts';
import { changed, mistakesIn, placesOf, sampleSchema, sampleText, treeOfText, unmarked } from './sample.ts';

/** The one mistake of the marked text, which must lie at its mark. */
function onlyMistake<Code extends ProblemCode>(marked: string, code: Code): FactsByCode[Code] {
  const { text, places } = unmarked(marked);
  return only(mistakesIn(text), places, code);
}

function only<Code extends ProblemCode>(
  problems: readonly Problem[],
  places: readonly string[],
  code: Code,
): FactsByCode[Code] {
  expect(problems.map((problem) => `${problem.code} ${wordsOf(problem).says}`)).toHaveLength(1);
  expect(problems[0]!.code).toBe(code);
  expect(placesOf(problems)).toEqual(places);
  return problems[0]!.facts as FactsByCode[Code];
}

/** The one mistake of the marked text against a schema of its own. */
function against<Code extends ProblemCode>(schema: z.ZodType, marked: string, code: Code): FactsByCode[Code] {
  const { text, places } = unmarked(marked);
  const outcome = validate(schema, treeOfText(text));
  return only('problems' in outcome ? outcome.problems : [], places, code);
}

describe('validate: a file without mistakes', () => {
  test('gives its value, with quantities read and copies made', () => {
    expect(mistakesIn(sampleText)).toEqual([]);
    const outcome = validate(
      sampleSchema.shape.pedal,
      treeOfText('kind: hall\nrest: 0.91 V ± 40 mV\nratiometric: true\n'),
    );
    expect(outcome).toMatchObject({ value: { kind: 'hall', rest: { value: 0.91, tolerance: 0.04 } } });
  });
});

describe('validate: keys', () => {
  test('a misspelt one is one mistake, at the key, with the right one', () => {
    const facts = onlyMistake(changed(['neutral', '«nuetral»']), 'unknown-key');
    expect(facts).toEqual({
      path: 'controllers.left.pulse.nuetral',
      key: 'nuetral',
      allowed: ['neutral', 'full', 'valid'],
      nearest: 'neutral',
    });
  });
  test('an unknown one that resembles none, with all that are allowed', () => {
    const facts = onlyMistake(changed(['board:\n', 'board:\n  «xylophone»: { a: 1 }\n']), 'unknown-key');
    expect(facts).toEqual({ path: 'board.xylophone', key: 'xylophone', allowed: ['clock', 'pwm', 'output'] });
  });
  test('at the top', () => expect(onlyMistake(changed(['bench:', '«bnech»:']), 'unknown-key').nearest).toBe('bench'));
  test('in a form that is chosen by its kind, only that form’s', () => {
    expect(
      onlyMistake(changed(['ratiometric: true', 'ratiometric: true, «bounces»: 1']), 'unknown-key').allowed,
    ).toEqual(['kind', 'rest', 'ratiometric']);
  });
  test('a missing one, at its parent’s key', () => {
    expect(onlyMistake(changed(['  pwm', '  «pwm»'], ['mode: fast, ', '']), 'missing-key')).toEqual({
      path: 'board.pwm.mode',
      allowed: ['fast', 'phase-correct'],
    });
    expect(onlyMistake(changed(['\nboard', '\n«board»'], ['  clock: 8 MHz ± 1 %\n', '']), 'missing-key').path).toBe(
      'board.clock',
    );
  });
  test('a missing one at the top, at the file’s first key', () => {
    expect(
      onlyMistake(
        `«p»edal: { kind: switch, bounces: 1 }\n${sampleText.slice(sampleText.indexOf('board:'))}`,
        'missing-key',
      ).path,
    ).toBe('bench');
  });
  test('a missing kind, with the kinds', () => {
    expect(onlyMistake(changed(['pedal', '«pedal»'], ['kind: hall, ', '']), 'missing-key')).toEqual({
      path: 'pedal.kind',
      allowed: ['hall', 'switch'],
    });
  });
  test('one without a space after its colon', () => {
    expect(
      onlyMistake(changed(['kind: hall, rest: 0.91 V ± 40 mV', 'kind: hall, «rest:0.91 V»']), 'unknown-key'),
    ).toMatchObject({ nearest: 'rest', cure: 'rest: 0.91 V' });
  });
  test('a name that is none', () => {
    expect(onlyMistake(changed(['  right:', '  «Right 2»:']), 'bad-name')).toMatchObject({
      path: 'controllers',
      name: 'Right 2',
    });
  });
  test('a name outside of a fixed set, with the nearest', () => {
    const schema = z.object({ faults: z.partialRecord(z.enum(['signal-open', 'signal-short']), z.boolean()) });
    expect(against(schema, 'faults: { «signal-opne»: true }\n', 'unknown-key')).toMatchObject({
      nearest: 'signal-open',
    });
  });
});

describe('validate: types, in the user’s words', () => {
  test.each([
    [
      'a list for a map',
      changed(['{ bits: 8, mode: fast, prescaler: 256 }', '«[8, fast]»']),
      'a list',
      ['a map'],
      undefined,
    ],
    ['a map for a list', changed(['[46, 61]', '«{ low: 46 }»']), 'a map', ['a list'], undefined],
    ['text for a truth', changed(['ratiometric: true', 'ratiometric: «yes»']), 'text', ['true or false'], 'true'],
    ['a number for text', changed(['bench: orchard cart', 'bench: «12»']), 'a number', ['text'], '"12"'],
    ['text for a number', changed(['61]', '«"61"»]']), 'text', ['a number'], '61'],
    ['a fraction for a whole number', changed(['61]', '«61.4»]']), 'a number', ['a whole number'], '61'],
    [
      'a value for a map',
      changed(['{ bits: 8, mode: fast, prescaler: 256 }', '«8»']),
      'a number',
      ['a map'],
      undefined,
    ],
    [
      'a truth where text or a list may stand',
      `${sampleText}note: «true»\n`,
      'true or false',
      ['text', 'a list'],
      '"true"',
    ],
  ])('%s', (_, marked, got, wanted, nearest) => {
    const facts = onlyMistake(marked, 'wrong-type');
    expect([facts.got, facts.wanted, facts.nearest]).toEqual([got, wanted, nearest]);
  });
  test('nothing at all, shown at the key', () => {
    expect(
      onlyMistake(changed(['  pwm: { bits: 8, mode: fast, prescaler: 256 }', '  «pwm»:']), 'wrong-type'),
    ).toMatchObject({ got: 'nothing', wanted: ['a map'] });
    expect(onlyMistake(changed(['reverse: brake-first', '«reverse»:']), 'wrong-type').got).toBe('nothing');
  });
  test('a value over several lines is marked to the end of its first', () => {
    expect(
      onlyMistake(changed(['  output: [46, 61]', '  output:\n    «low: 46»\n    high: 61']), 'wrong-type').got,
    ).toBe('a map');
  });
});

describe('validate: values', () => {
  test('a word that is no choice, with the nearest', () => {
    expect(onlyMistake(changed(['mode: fast', 'mode: «fsat»']), 'not-allowed')).toEqual({
      path: 'board.pwm.mode',
      written: 'fsat',
      allowed: ['fast', 'phase-correct'],
      nearest: 'fast',
    });
  });
  test('a number that is no choice, with the nearest', () => {
    expect(onlyMistake(changed(['bits: 8', 'bits: «10»']), 'not-allowed')).toMatchObject({
      allowed: ['8', '16'],
      nearest: '8',
    });
  });
  test('a kind that is none', () => {
    expect(onlyMistake(changed(['kind: hall', 'kind: «hal»']), 'not-allowed')).toMatchObject({
      path: 'pedal.kind',
      allowed: ['hall', 'switch'],
      nearest: 'hall',
    });
  });
  test('a part’s own rule, in its words', () => {
    expect(onlyMistake(changed(['prescaler: 256', 'prescaler: «200»']), 'refused')).toEqual({
      path: 'board.pwm.prescaler',
      written: '200',
      says: 'this timer has no such divider',
      allowed: '1, 8, 64, 256, 1024',
      nearest: '256 (one frame then lasts 8.192 ms at 8 MHz)',
    });
  });
  test('a quantity’s mistake goes through as facts', () => {
    expect(onlyMistake(changed(['8 MHz ± 1 %', '«8 mhz»']), 'quantity').mistake).toMatchObject({
      code: 'unknown-unit',
      nearest: '8 MHz',
    });
    expect(onlyMistake(changed(['0.91 V ± 40 mV', '«5.2 V»']), 'quantity').mistake).toMatchObject({
      code: 'too-high',
      limit: '5 V',
    });
    expect(onlyMistake(changed(['[700 us, 2400 us]', '[700 us, «2400»]']), 'quantity').mistake).toMatchObject({
      code: 'no-unit',
    });
    expect(onlyMistake(changed(['[700 us, 2400 us]', '«[2400 us, 700 us]»']), 'quantity').mistake).toMatchObject({
      code: 'range-order',
    });
    expect(onlyMistake(changed(['± 20 us', '«20 us»']), 'quantity').mistake).toMatchObject({ code: 'window-form' });
  });
  test('too few items, too many characters', () => {
    expect(onlyMistake(`${sampleText}note: «[]»\n`, 'out-of-range')).toMatchObject({
      side: 'below',
      limit: '1',
      counted: 'items',
      count: 0,
    });
    expect(onlyMistake(`${sampleText}note: «this note is a little too long»\n`, 'out-of-range')).toMatchObject({
      side: 'above',
      limit: '20',
      counted: 'characters',
      count: 30,
    });
    expect(onlyMistake(changed(['[46, 61]', '«[46]»']), 'out-of-range')).toMatchObject({
      side: 'below',
      limit: '2',
      count: 1,
    });
  });
  test('limits of plain numbers, inclusive or not', () => {
    expect(against(z.object({ n: z.number().min(2) }), 'n: «1»\n', 'out-of-range')).toMatchObject({
      side: 'below',
      limit: '2',
      isInclusive: true,
      written: '1',
    });
    expect(against(z.object({ n: z.number().lt(2) }), 'n: «2»\n', 'out-of-range')).toMatchObject({
      side: 'above',
      limit: '2',
      isInclusive: false,
    });
    expect(against(z.object({ n: z.number().multipleOf(4) }), 'n: «6»\n', 'not-a-multiple').divisor).toBe('4');
  });
  test('a schema’s own words come before ours', () => {
    const says = 'a name begins with a letter';
    expect(against(z.object({ n: z.string().regex(/^[a-z]/, says) }), 'n: «1x»\n', 'refused').says).toBe(says);
    expect(against(z.object({ n: z.string().refine(() => false, says) }), 'n: «x»\n', 'refused').says).toBe(says);
    expect(against(z.record(z.string().regex(/^[a-z]/, says), z.unknown()), '«"1x"»: 1\n', 'bad-name').says).toBe(says);
  });
  test('of the branches of a union the one that was meant speaks', () => {
    const event = z.union([
      z.literal('release'),
      z.strictObject({ press: volts({ means: 'how far', example: '1 V' }) }),
    ]);
    const schema = z.object({ pedal: event });
    expect(against(schema, 'pedal: «relaese»\n', 'not-allowed')).toMatchObject({
      allowed: ['release'],
      nearest: 'release',
    });
    expect(against(schema, 'pedal: { press: «1 s» }\n', 'quantity').mistake).toMatchObject({ code: 'wrong-dimension' });
    expect(against(schema, 'pedal: { «pres»: 1 V }\n', 'unknown-key')).toMatchObject({ nearest: 'press' });
  });
  test('branches that are all words are one choice', () => {
    const schema = z.object({ to: z.union([z.literal('off'), z.enum(['low', 'high'])]) });
    expect(against(schema, 'to: «hihg»\n', 'not-allowed')).toMatchObject({
      allowed: ['off', 'low', 'high'],
      nearest: 'high',
    });
  });
  test('of two maps the one with fewer mistakes was meant', () => {
    const schema = z.object({
      step: z.union([
        z.strictObject({ at: z.number(), press: z.number() }),
        z.strictObject({ from: z.number(), to: z.number(), every: z.number() }),
      ]),
    });
    expect(against(schema, 'step: { at: 1, press: «x» }\n', 'wrong-type').path).toBe('step.press');
  });
  test('a rule about several values, at a key that is not there, points at the map', () => {
    const schema = z.object({
      a: z
        .strictObject({ low: z.number(), high: z.number().optional() })
        .refine(() => false, { path: ['high'], message: 'high is needed with this low' }),
    });
    expect(against(schema, '«a»: { low: 1 }\n', 'refused')).toMatchObject({
      path: 'a.high',
      says: 'high is needed with this low',
    });
  });
});

describe('validate: many mistakes', () => {
  test('are all told, in the order of the file', () => {
    const { text, places } = unmarked(
      changed(
        ['0.91 V', '«0.91 s»'],
        [' ± 40 mV', ''],
        ['ratiometric: true', 'ratiometric: «1»'],
        ['fast', '«slow»'],
        ['256', '«200»'],
        ['reverse: brake-first', '«revers»: brake-first'],
        ['1500 us', '«1500»'],
      ),
    );
    const problems = mistakesIn(text);
    expect(placesOf(problems)).toEqual(places);
    expect(problems.map(({ code }) => code)).toEqual([
      'quantity',
      'wrong-type',
      'not-allowed',
      'refused',
      'quantity',
      'unknown-key',
    ]);
  });
  test('a number already refused by the reader is not refused again', () => {
    expect(onlyMistake(changed(['61]', '«.nan»]']), 'not-a-number').path).toBe('board.output[1]');
  });
  test('paths begin with where the tree stands', () => {
    const unknown = validate(z.strictObject({ n: z.number() }), treeOfText('n: 1\nm: 2\n'), ['steps', 3]);
    expect('problems' in unknown && unknown.problems[0]!.facts).toMatchObject({ path: 'steps[3].m' });
    const outcome = validate(z.strictObject({ n: z.number() }), treeOfText('n: x\n'), ['steps', 3]);
    expect('problems' in outcome && wordsOf(outcome.problems[0]!).says).toBe(
      'steps[3].n is `x`, text; a number is wanted',
    );
  });
});

describe('validate: printed', () => {
  // The form is the project's own, from its style sheet.
  test('a part’s refusal reads as the style sheet has it', () => {
    const [problem] = mistakesIn(changed(['prescaler: 256', 'prescaler: 200']));
    expect(printProblem(problem!, 100)).toBe(
      [
        'bench.yaml:6:42: board.pwm.prescaler is 200; this timer has no such divider',
        '    6 |   pwm: { bits: 8, mode: fast, prescaler: 200 }',
        '                                                 ^^^',
        '  allowed: 1, 8, 64, 256, 1024     nearest: 256 (one frame then lasts 8.192 ms at 8 MHz)',
      ].join('\n'),
    );
  });
});
