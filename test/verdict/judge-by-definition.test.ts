import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { judge } from '../../sim/verdict/judge.ts';
import { type Predicate, signalsOf } from '../../sim/verdict/predicate.ts';
import { formula, plainTrace, predicate, RUN_SECONDS, recorded, SEED } from './arbitrary.ts';
import { FINENESS, judgeByDefinition } from './by-definition.ts';

const settings = { seed: SEED, numRuns: 1500 };

describe('judge: the published definition', () => {
  test('law: truth, margin and counts are those of brute force on every random trace', () => {
    const seen = new Set<string>();
    fc.assert(
      fc.property(plainTrace, formula, (plain, asked) => {
        const judged = judge(asked, recorded(plain, RUN_SECONDS));
        const wanted = judgeByDefinition(asked, plain, RUN_SECONDS);
        const { truth, margin, judgedCount, unjudgedCount } = judged;
        const wantedMargin = wanted.judgedCount === 0 ? Infinity : wanted.margin + 0;
        expect({ truth, margin, judgedCount, unjudgedCount }).toEqual({
          truth: wanted.truth,
          margin: wantedMargin,
          judgedCount: wanted.judgedCount,
          unjudgedCount: wanted.unjudgedCount,
        });
        expect(judged.holds).toBe(truth !== asked.isExpectedToFail);
        seen.add(
          `${asked.premise ? 'when ' : ''}${asked.claim}${asked.forSeconds > 0 ? ' for' : ''}: ${truth}, ${unjudgedCount > 0 ? 'some' : 'none'} unjudged`,
        );
      }),
      settings,
    );
    // Proof that every form was met, true and false, and with answers that the end of the run took away.
    for (const form of [
      'when always',
      'when within',
      'when always for',
      'when within for',
      'always',
      'always for',
      'never',
      'never for',
      'within',
      'within for',
    ]) {
      for (const truth of [true, false])
        expect([...seen].some((entry) => entry.startsWith(`${form}: ${truth}`))).toBe(true);
    }
    for (const form of ['when within', 'when always for', 'when within for', 'never for']) {
      for (const truth of [true, false]) expect(seen).toContain(`${form}: ${truth}, some unjudged`);
    }
  });

  test('law: at the instant that decides, the body has that margin, and the signal named has a statement with it', () => {
    fc.assert(
      fc.property(plainTrace, formula, (plain, asked) => {
        const judged = judge(asked, recorded(plain, RUN_SECONDS));
        expect(signalsOf(asked.body)).toContain(judged.signal);
        if (!Number.isFinite(judged.margin)) return;
        const sign = asked.claim === 'never' ? -1 : 1;
        expect(marginsAt(asked.body, plain, asked.fromSeconds, judged.atSeconds)).toContain(sign * judged.margin + 0);
        const statements = statementsOn(asked.body, judged.signal).flatMap((statement) =>
          marginsAt(statement, plain, asked.fromSeconds, judged.atSeconds),
        );
        expect(statements.map(Math.abs)).toContain(Math.abs(judged.margin));
      }),
      settings,
    );
  });

  test('law: a margin above 0 is true, below 0 false', () => {
    fc.assert(
      fc.property(plainTrace, formula, (plain, asked) => {
        const { truth, margin } = judge(asked, recorded(plain, RUN_SECONDS));
        if (margin !== 0) expect(truth).toBe(margin > 0);
      }),
      settings,
    );
  });
});

describe('judge: laws', () => {
  const whole = {
    text: '',
    premise: null,
    withinSeconds: 0,
    fromSeconds: 0,
    untilSeconds: Infinity,
    forSeconds: 0,
    isExpectedToFail: false,
    why: null,
  };

  test('law: not turns truth and sign, and leaves the size of the margin', () => {
    fc.assert(
      fc.property(plainTrace, predicate, fc.integer({ min: 0, max: RUN_SECONDS }), (plain, body, instant) => {
        const trace = recorded(plain, RUN_SECONDS);
        const at = { ...whole, claim: 'always' as const, fromSeconds: instant, untilSeconds: instant };
        const asked = judge({ ...at, body }, trace);
        const denied = judge({ ...at, body: { kind: 'not', of: body } }, trace);
        expect(denied.truth).toBe(!asked.truth);
        expect(denied.margin).toBe(-asked.margin + 0);
      }),
      settings,
    );
  });

  test('law: always p is not (eventually not p), and never p is always not p', () => {
    fc.assert(
      fc.property(plainTrace, predicate, fc.constantFrom(0, 0, 1, 3), (plain, body, forSeconds) => {
        const trace = recorded(plain, RUN_SECONDS);
        const untilSeconds = RUN_SECONDS - 3;
        const not: Predicate = { kind: 'not', of: body };
        const always = judge({ ...whole, claim: 'always', untilSeconds, body }, trace);
        const eventuallyNot = judge({ ...whole, claim: 'within', withinSeconds: untilSeconds, body: not }, trace);
        expect([always.truth, always.margin]).toEqual([!eventuallyNot.truth, -eventuallyNot.margin + 0]);
        const never = judge({ ...whole, claim: 'never', untilSeconds, forSeconds, body }, trace);
        const eventually = judge({ ...whole, claim: 'within', withinSeconds: untilSeconds, forSeconds, body }, trace);
        expect([never.truth, never.margin]).toEqual([!eventually.truth, -eventually.margin + 0]);
      }),
      settings,
    );
  });

  test('law: a smaller span never lowers the margin of always', () => {
    fc.assert(
      // What `rises` compares with starts with the span, so that only the end may move for it.
      fc.property(
        plainTrace,
        predicate,
        fc.tuple(...Array.from({ length: 3 }, () => fc.integer({ min: 0, max: RUN_SECONDS }))),
        (plain, body, instants) => {
          const [fromSeconds, shorter, longer] = [...instants].sort((a, b) => a - b) as [number, number, number];
          const trace = recorded(plain, RUN_SECONDS);
          const over = (untilSeconds: number) =>
            judge({ ...whole, claim: 'always', fromSeconds, untilSeconds, body }, trace).margin;
          expect(over(shorter)).toBeGreaterThanOrEqual(over(longer));
        },
      ),
      settings,
    );
  });
});

/** Margins of a predicate at an instant and just before and after it, by definition. */
function marginsAt(
  asked: Predicate,
  plain: Parameters<typeof recorded>[0],
  fromSeconds: number,
  seconds: number,
): number[] {
  const formulaOf = {
    text: '',
    claim: 'always' as const,
    premise: null,
    body: asked,
    withinSeconds: 0,
    untilSeconds: Infinity,
    forSeconds: 0,
    isExpectedToFail: false,
    why: null,
  };
  const { body } = judgeByDefinition({ ...formulaOf, fromSeconds }, plain, RUN_SECONDS);
  const index = seconds * FINENESS;
  expect(Number.isInteger(index)).toBe(true);
  return [body[index]!.point, body[index]!.start, ...(index > 0 ? [body[index - 1]!.end] : [])].map(
    (margin) => margin + 0,
  );
}

/** All statements in a predicate about a signal, itself or as a gauge. */
function statementsOn(asked: Predicate, signal: string): Predicate[] {
  if ('signal' in asked) return signalsOf(asked).includes(signal) ? [asked] : [];
  return asked.kind === 'not' ? statementsOn(asked.of, signal) : asked.of.flatMap((part) => statementsOn(part, signal));
}
