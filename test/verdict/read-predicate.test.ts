import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { z } from 'zod';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { expectationSchema, parseExpectation } from '../../sim/verdict/expectation.ts';
import type { ExpectationMistake } from '../../sim/verdict/mistake.ts';
import type { Predicate } from '../../sim/verdict/predicate.ts';
import { readPredicate } from '../../sim/verdict/read-predicate.ts';
import { expectationMistakeWords } from '../../sim/verdict/words.ts';
import { predicate, SEED } from './arbitrary.ts';

const signals: readonly SignalInfo[] = [
  { name: 'left.pulse', dimension: 'time', shape: 'held', means: 'pulse' },
  { name: 'right.pulse', dimension: 'time', shape: 'held', means: 'pulse' },
  { name: 'left.signal-loss', dimension: 'time', shape: 'held', means: 'time' },
  { name: 'pedal.voltage', dimension: 'voltage', shape: 'linear', means: 'voltage' },
  { name: 'pedal.travel', dimension: 'ratio', shape: 'linear', means: 'travel' },
  { name: 'adc.count', dimension: 'count', shape: 'held', means: 'count' },
  {
    name: 'left.mode',
    dimension: 'count',
    shape: 'held',
    modes: ['off', 'waiting-for-neutral', 'armed.neutral', 'armed.driving', 'locked-out'],
    gauges: { armed: 'left.signal-loss' },
    means: 'mode',
  },
];
const names = signals.map((signal) => signal.name);
const lookup = (name: string) => signals.find((signal) => signal.name === name);

function read(text: string): Predicate {
  const result = readPredicate(text, 'that', { lookup, names });
  if ('mistakes' in result) throw new Error(JSON.stringify(result.mistakes));
  return result.predicate;
}

function mistakes(text: string): readonly ExpectationMistake[] {
  const result = readPredicate(text, 'that', { lookup, names });
  return 'mistakes' in result ? result.mistakes : [];
}

describe('statement: comparisons', () => {
  test.each([
    ['left.pulse < 2.1 ms', '<', 0.0021],
    ['left.pulse<=2100us', '<=', 0.0021],
    ['  left.pulse  ≥  1500 us ', '>=', 0.0015],
    ['left.pulse ≤ 1e-3 s', '<=', 0.001],
    ['left.pulse ≠ 0 s', '!=', 0],
    ['left.pulse > -20 us', '>', -0.00002],
  ])('%s', (text, relation, value) => {
    expect(read(text)).toEqual({ kind: 'compare', signal: 'left.pulse', dimension: 'time', relation, value });
  });

  test('shares in percent or plain, counts plain', () => {
    expect(read('pedal.travel < 2 %')).toMatchObject({ value: 0.02 });
    expect(read('pedal.travel < 0.02')).toMatchObject({ value: 0.02 });
    expect(read('adc.count = 186')).toMatchObject({ value: 186 });
  });

  test('with another signal, whose name may have a hyphen', () => {
    expect(read('left.pulse >= left.signal-loss')).toEqual({
      kind: 'compare-signals',
      signal: 'left.pulse',
      dimension: 'time',
      relation: '>=',
      other: 'left.signal-loss',
    });
  });

  test('between takes two quantities and leaves the next `and` alone', () => {
    expect(read('left.pulse between 1 ms and 2 ms and adc.count > 3')).toEqual({
      kind: 'and',
      of: [
        { kind: 'between', signal: 'left.pulse', dimension: 'time', low: 0.001, high: 0.002 },
        { kind: 'compare', signal: 'adc.count', dimension: 'count', relation: '>', value: 3 },
      ],
    });
  });

  test('equal with a tolerance is a range, as written on paper', () => {
    expect(read('left.pulse = 1500 us ± 20 us')).toMatchObject({ kind: 'between', low: 0.00148, high: 0.00152 });
    expect(read('left.pulse != 1500 us +/- 20 us')).toMatchObject({ kind: 'not', of: { kind: 'between' } });
  });

  test('rises and falls', () => {
    expect(read('pedal.voltage rises')).toEqual({
      kind: 'monotonic',
      signal: 'pedal.voltage',
      dimension: 'voltage',
      direction: 'rises',
    });
    expect(read('pedal.voltage falls')).toMatchObject({ direction: 'falls' });
  });
});

describe('statement: modes', () => {
  test('a mode, a mode that others are nested in, and their gauge', () => {
    const gauge = { signal: 'left.signal-loss', dimension: 'time' };
    expect(read('left.mode is armed')).toEqual({ kind: 'mode', signal: 'left.mode', mode: 'armed', gauge });
    expect(read('left.mode is armed.driving')).toMatchObject({ mode: 'armed.driving', gauge: null });
    expect(read('left.mode is not locked-out')).toMatchObject({ kind: 'not', of: { mode: 'locked-out' } });
  });

  test('a mode that is not there: what there is, and what is near', () => {
    expect(mistakes('left.mode is locked-our')).toEqual([
      {
        code: 'unknown-mode',
        signal: 'left.mode',
        mode: 'locked-our',
        allowed: ['off', 'waiting-for-neutral', 'armed', 'armed.neutral', 'armed.driving', 'locked-out'],
        nearest: ['locked-out'],
        key: 'that',
        offset: 13,
        length: 10,
      },
    ]);
  });

  test('a mode compared as a number, a number asked for its mode', () => {
    expect(mistakes('left.mode = armed').map(({ code }) => code)).toEqual(['has-modes']);
    expect(mistakes('left.mode > 3').map(({ code }) => code)).toEqual(['has-modes']);
    expect(mistakes('left.mode rises').map(({ code }) => code)).toEqual(['has-modes']);
    expect(mistakes('left.mode between 1 and 2').map(({ code }) => code)).toEqual(['has-modes']);
    expect(mistakes('left.pulse < left.mode').map(({ code }) => code)).toEqual(['has-modes']);
    expect(mistakes('left.pulse is armed')).toMatchObject([{ code: 'no-modes', offset: 14, length: 5 }]);
  });

  test('a mode called like a property that every object has has no gauge', () => {
    const odd: SignalInfo = { ...lookup('left.mode')!, name: 'odd.mode', modes: ['constructor'] };
    const result = readPredicate('odd.mode is constructor', 'that', { lookup: () => odd, names });
    expect(result).toMatchObject({ predicate: { mode: 'constructor', gauge: null } });
  });
});

describe('statement: joining', () => {
  const [a, b, c] = ['adc.count = 1', 'adc.count = 2', 'adc.count = 3'] as const;
  test('and binds more than or, not more than and; parentheses turn it round', () => {
    expect(read(`${a} or ${b} and ${c}`)).toEqual({
      kind: 'or',
      of: [read(a), { kind: 'and', of: [read(b), read(c)] }],
    });
    expect(read(`(${a} or ${b}) and ${c}`)).toEqual({
      kind: 'and',
      of: [{ kind: 'or', of: [read(a), read(b)] }, read(c)],
    });
    expect(read(`not ${a} and ${b}`)).toEqual({ kind: 'and', of: [{ kind: 'not', of: read(a) }, read(b)] });
    expect(read(`not (${a} and ${b})`)).toEqual({ kind: 'not', of: { kind: 'and', of: [read(a), read(b)] } });
    expect(read(`not not ${a}`)).toEqual({ kind: 'not', of: { kind: 'not', of: read(a) } });
    expect(read(`${a} and ${b} and ${c}`)).toEqual({ kind: 'and', of: [read(a), read(b), read(c)] });
  });

  test('law: a predicate written out and read again is the same', () => {
    const plainSignals: readonly SignalInfo[] = ['a.held', 'b.held', 'a.line', 'b.line'].map((name) => ({
      name,
      dimension: 'voltage',
      shape: 'held',
      means: 'test',
    }));
    fc.assert(
      fc.property(predicate, (asked) => {
        const gauge = gaugeOf(asked);
        const mode: SignalInfo = {
          name: 'a.mode',
          dimension: 'count',
          shape: 'held',
          modes: ['off', 'armed.idle', 'armed.driving'],
          means: 'test',
          ...(gauge ? { gauges: gauge } : {}),
        };
        const all = [...plainSignals, mode];
        const result = readPredicate(written(asked), 'that', {
          lookup: (name) => all.find((signal) => signal.name === name),
          names: [],
        });
        expect(result).toEqual({ predicate: asked });
      }),
      { seed: SEED, numRuns: 1000 },
    );
  });
});

describe('statement: mistakes', () => {
  test('all are reported at once, each at its place', () => {
    const found = mistakes('left.pluse < 2 ms and pedal.voltage > 1500 and left.pulse > 5 V and left.mode is amred');
    expect(found.map(({ code, offset, length }) => [code, offset, length])).toEqual([
      ['unknown-signal', 0, 10],
      ['quantity', 38, 4],
      ['quantity', 60, 3],
      ['unknown-mode', 81, 5],
    ]);
    expect(found[0]).toMatchObject({ name: 'left.pluse', nearest: ['left.pulse'] });
    expect(found[1]).toMatchObject({ mistake: { code: 'no-unit' } });
    expect(found[2]).toMatchObject({ mistake: { code: 'wrong-dimension' } });
  });

  test.each([
    ['', 0, ''],
    ['left.pulse', 10, ''],
    ['left.pulse <', 12, ''],
    ['left.pulse < and', 13, 'and'],
    ['left.pulse == 1 ms', 11, '=='],
    ['left.pulse is', 13, ''],
    ['left.pulse between 1 ms', 23, ''],
    ['left.pulse between 1 ms or 2 ms', 24, 'or'],
    ['(left.pulse < 1 ms', 18, ''],
    ['left.pulse < 1 ms)', 17, ')'],
    ['left.pulse < 1 ms left.pulse', 13, '1 ms left.pulse'],
    ['and', 0, 'and'],
    ['< 3 V', 0, '<'],
    ['left.pulse < 1 ms and', 21, ''],
  ])('%s', (text, offset, found) => {
    const [mistake] = mistakes(text);
    if (mistake?.code === 'quantity') expect(mistake).toMatchObject({ offset, length: found.length });
    else expect(mistake).toMatchObject({ code: 'syntax', offset, found });
    expect(mistakes(text).length).toBe(1);
  });

  test('unlike dimensions, reversed ranges and tolerances out of place', () => {
    expect(mistakes('left.pulse < pedal.voltage')).toMatchObject([
      { code: 'dimensions-differ', offset: 13, dimension: 'time', otherDimension: 'voltage' },
    ]);
    expect(mistakes('left.pulse between 2 ms and 1 ms')).toMatchObject([
      { code: 'range-reversed', low: '2 ms', high: '1 ms' },
    ]);
    expect(mistakes('left.pulse < 2 ms ± 1 ms')).toMatchObject([{ code: 'tolerance-unwanted', offset: 13 }]);
  });

  test('too long and too deep are refused before they cost anything', () => {
    expect(mistakes('x'.repeat(1001))).toMatchObject([{ code: 'too-long', most: 1000 }]);
    expect(mistakes(`${'('.repeat(400)}left.pulse`)).toMatchObject([{ code: 'too-deep' }]);
    expect(mistakes('not '.repeat(200))).toMatchObject([{ code: 'too-deep' }]);
  });

  test('law: any text gives a predicate or mistakes that lie in it, with words for each', () => {
    const pieces = fc.array(
      fc.oneof(
        fc.constantFrom(
          'left.pulse',
          'left.mode',
          'adc.count',
          'and',
          'or',
          'not',
          'is',
          'between',
          'rises',
          '(',
          ')',
          '<',
          '>=',
          '=',
          '2 ms',
          '-5',
          '±',
          'armed',
          '3 V',
          '\u0007',
          '%',
        ),
        fc.string({ maxLength: 4, unit: 'binary' }),
      ),
      { maxLength: 12 },
    );
    fc.assert(
      fc.property(
        fc.oneof(
          pieces.map((list) => list.join(' ')),
          fc.string({ maxLength: 80, unit: 'binary' }),
        ),
        (text) => {
          for (const mistake of mistakes(text)) {
            expect(mistake.offset).toBeGreaterThanOrEqual(0);
            expect(mistake.offset + mistake.length).toBeLessThanOrEqual(text.length);
            const words = expectationMistakeWords(mistake);
            expect(words.says).not.toBe('');
            expect(JSON.stringify(words)).not.toMatch(/\\u00[01]/);
          }
        },
      ),
      { seed: SEED, numRuns: 3000 },
    );
  });
});

describe('expectation: form', () => {
  const parse = (item: Record<string, unknown>) => parseExpectation(expectationSchema.parse(item), lookup, names);
  const codes = (item: Record<string, unknown>) => {
    const result = parse(item);
    return 'mistakes' in result ? result.mistakes.map(({ code, key }) => `${key}: ${code}`) : [];
  };

  test('an expectation in full', () => {
    const item = {
      when: 'pedal.travel < 2 %',
      then: 'adc.count = 0',
      within: '1 s',
      for: '200 ms',
      from: '1 s',
      until: '3 s',
      fails: true,
      why: 'the foot is off',
    };
    expect(parse(item)).toEqual({
      formula: {
        text: 'when pedal.travel < 2 %, then adc.count = 0, for 200 ms, within 1 s, from 1 s until 3 s',
        claim: 'within',
        premise: read('pedal.travel < 2 %'),
        body: read('adc.count = 0'),
        withinSeconds: 1,
        fromSeconds: 1,
        untilSeconds: 3,
        forSeconds: 0.2,
        isExpectedToFail: true,
        why: 'the foot is off',
      },
    });
  });

  test.each([
    [{ always: true }, 'that: no-statement'],
    [{ that: 'adc.count = 0' }, 'that: no-claim'],
    [{ that: 'adc.count = 0', always: true, never: true }, 'never: two-claims'],
    [{ that: 'adc.count = 0', always: true, within: '1 s' }, 'within: two-claims'],
    [{ that: 'adc.count = 0', when: 'adc.count = 1', then: 'adc.count = 2', always: true }, 'that: two-statements'],
    [{ then: 'adc.count = 2', always: true }, 'then: then-without-when'],
    [{ when: 'adc.count = 2', always: true }, 'when: when-without-then'],
    [{ when: 'adc.count = 2', then: 'adc.count = 2' }, 'when: no-claim'],
    [{ when: 'adc.count = 2', then: 'adc.count = 2', never: true }, 'never: never-with-when'],
    [{ that: 'adc.count = 0', always: true, from: '3 s', until: '2 s' }, 'until: empty-span'],
  ])('%o', (item, code) => {
    expect(codes(item)).toEqual([code]);
  });

  test('mistakes of the form and of each text come together', () => {
    expect(codes({ when: 'adc.cuont = 2', then: 'adc.count = 2 V', from: '3 s', until: '2 s' })).toEqual([
      'when: no-claim',
      'until: empty-span',
      'when: unknown-signal',
      'then: quantity',
    ]);
  });

  test('the schema refuses other keys, other values and times that are none, and describes itself', () => {
    for (const item of [
      { that: 'x', allways: true },
      { that: 'x', always: false },
      { that: 3, always: true },
      { that: 'x', within: '-1 s' },
      { that: 'x', within: '1 V' },
    ]) {
      expect(expectationSchema.safeParse(item).success).toBe(false);
    }
    const schema = z.toJSONSchema(expectationSchema, { io: 'input' }) as {
      properties: Record<string, { description?: string }>;
    };
    expect(Object.keys(schema.properties)).toEqual([
      'that',
      'when',
      'then',
      'always',
      'never',
      'within',
      'from',
      'until',
      'for',
      'fails',
      'why',
    ]);
    for (const property of Object.values(schema.properties)) expect(property.description).toBeTruthy();
  });
});

function gaugeOf(asked: Predicate): Record<string, string> | null {
  if (asked.kind === 'mode') return asked.gauge ? { [asked.mode]: asked.gauge.signal } : null;
  if ('signal' in asked) return null;
  const parts = asked.kind === 'not' ? [asked.of] : asked.of;
  const found = parts.map(gaugeOf);
  // One signal has one gauge a mode; predicates that say otherwise cannot come from a file.
  fc.pre(parts.filter((part) => hasMode(part)).length <= 1);
  return found.find((gauge) => gauge !== null) ?? null;
}

function hasMode(asked: Predicate): boolean {
  if ('signal' in asked) return asked.kind === 'mode';
  return asked.kind === 'not' ? hasMode(asked.of) : asked.of.some(hasMode);
}

function written(asked: Predicate): string {
  switch (asked.kind) {
    case 'not':
      return `not (${written(asked.of)})`;
    case 'and':
    case 'or':
      return asked.of.map((part) => `(${written(part)})`).join(` ${asked.kind} `);
    case 'compare':
      return `${asked.signal} ${asked.relation} ${asked.value} V`;
    case 'compare-signals':
      return `${asked.signal} ${asked.relation} ${asked.other}`;
    case 'between':
      return `${asked.signal} between ${asked.low * 1000} mV and ${asked.high} V`;
    case 'monotonic':
      return `${asked.signal} ${asked.direction}`;
    case 'mode':
      return `${asked.signal} is ${asked.mode}`;
  }
}
