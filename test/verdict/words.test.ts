import { describe, expect, test } from 'vitest';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';
import { expectationSchema, type Formula, parseExpectation } from '../../sim/verdict/expectation.ts';
import { judge } from '../../sim/verdict/judge.ts';
import { expectationMistakeWords, judgementWords } from '../../sim/verdict/words.ts';

const signals: readonly SignalInfo[] = [
  { name: 'left.pulse', dimension: 'time', shape: 'held', means: 'pulse' },
  {
    name: 'left.mode',
    dimension: 'count',
    shape: 'held',
    modes: ['off', 'armed'],
    gauges: { armed: 'left.to-neutral' },
    means: 'mode',
  },
  { name: 'left.to-neutral', dimension: 'time', shape: 'held', means: 'distance' },
];

function formulaOf(item: Record<string, unknown>): Formula {
  const parsed = parseExpectation(
    expectationSchema.parse(item),
    (name) => signals.find((signal) => signal.name === name),
    signals.map(({ name }) => name),
  );
  if ('mistakes' in parsed) throw new Error(JSON.stringify(parsed.mistakes));
  return parsed.formula;
}

function words(item: Record<string, unknown>): string {
  const trace = new Trace(signals);
  trace.append(0, 0, 1536e-6);
  trace.append(1, 0, 0);
  trace.append(2, 0, -1500e-6);
  trace.append(2, 0.52, -16e-6);
  trace.finish(6);
  const formula = formulaOf(item);
  return judgementWords(judge(formula, trace), formula);
}

function mistakeWords(that: string): unknown {
  const parsed = parseExpectation(
    { that, always: true },
    (name) => signals.find((signal) => signal.name === name),
    signals.map(({ name }) => name),
  );
  return 'mistakes' in parsed ? parsed.mistakes.map(expectationMistakeWords) : [];
}

describe('words: outcomes', () => {
  test.each([
    [
      { that: 'left.mode is armed', within: '2 s' },
      'left.mode is armed, within 2 s: never. Closest: left.to-neutral at 520 ms, 16 us off.',
    ],
    [
      { that: 'left.mode is armed', never: true },
      'left.mode is armed, never: holds. Closest: left.to-neutral at 520 ms, 16 us to spare.',
    ],
    [
      { that: 'left.pulse < 2.1 ms', always: true },
      'left.pulse < 2.1 ms, always: holds. Closest: left.pulse at 0 s, 564 us to spare.',
    ],
    [
      { that: 'left.pulse   < 1.5 ms', always: true },
      'left.pulse < 1.5 ms, always: not at 0 s. Worst: left.pulse at 0 s, 36 us off.',
    ],
    [
      { that: 'left.pulse < 1.5 ms', always: true, fails: true },
      'left.pulse < 1.5 ms, always: not at 0 s, as expected. Worst: left.pulse at 0 s, 36 us off.',
    ],
    [
      { that: 'left.pulse > 1.5 ms', always: true, fails: true },
      'left.pulse > 1.5 ms, always: holds, but was expected to fail. Closest: left.pulse at 0 s, 36 us to spare.',
    ],
    [
      { when: 'left.mode is armed', then: 'left.pulse > 1 ms', within: '1 s' },
      'when left.mode is armed, then left.pulse > 1 ms, within 1 s: not judged. Its premise never held, so that nothing was judged.',
    ],
    [
      { that: 'left.pulse > 1.5 ms', within: '1 s' },
      'left.pulse > 1.5 ms, within 1 s: holds. Best: left.pulse at 0 s, 36 us to spare.',
    ],
    [{ that: 'left.mode is off', always: true }, 'left.mode is off, always: holds.'],
    [
      { that: 'left.mode is off', always: true, why: 'it is\nnot switched on' },
      'left.mode is off, always (it is not switched on): holds.',
    ],
  ])('%o', (item, sentence) => {
    expect(words(item)).toBe(sentence);
  });
});

describe('words: mistakes', () => {
  test('say what is wrong, what is allowed and what is near', () => {
    expect(mistakeWords('left.pluse < 2 ms')).toEqual([
      { says: 'there is no signal `left.pluse`', nearest: 'left.pulse' },
    ]);
    expect(mistakeWords('left.mode is amred')).toEqual([
      { says: 'left.mode has no mode `amred`', allowed: 'off, armed', nearest: 'armed' },
    ]);
    expect(mistakeWords('left.pulse ~ 3')).toEqual([
      { says: '`~` is not expected here', allowed: '<, <=, >, >=, =, !=, is, between, rises, falls' },
    ]);
    expect(mistakeWords('left.pulse <')).toEqual([
      { says: 'the statement ends too early', allowed: 'a number with its unit, a signal' },
    ]);
    expect(mistakeWords('left.pulse < 3 V')).toMatchObject([
      { says: 'left.pulse: `3 V` is a voltage; a time is wanted' },
    ]);
  });

  test('control and direction characters of a file never get through', () => {
    for (const character of ['\u001b[31m', '\u202e', '\u0007'])
      expect(mistakeWords(`left.pulse ${character}`)).toEqual([
        {
          says: 'a character that cannot be shown is not expected here',
          allowed: '<, <=, >, >=, =, !=, is, between, rises, falls',
        },
      ]);
  });
});
