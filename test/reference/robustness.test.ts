/**
 * Robustness of signal temporal logic on worked values.
 *
 * Definitions: Donze A., Maler O., "Robust Satisfaction of Temporal Logic over Real-Valued Signals", FORMATS 2010 (the
 * formulas as we remember them; the sign rule as reported in secondary texts). The vector is derived from them by hand:
 * x = 0, 0.5, 1.2, 0.9, 0.3, -0.1 at 0 to 5 s, p: x > 0.2. Always over [1, 4] the least of x - 0.2 is 0.1 (at 4 s), over
 * [0, 5] it is -0.3 (at 5 s); eventually over [0, 5] the most is 1.0 (at 2 s). A signal with straight lines between the
 * samples has its extremes at the samples, so that both shapes give the same.
 */
import { describe, expect, test } from 'vitest';
import { Trace } from '../../sim/trace/trace.ts';
import type { Formula } from '../../sim/verdict/expectation.ts';
import { judge } from '../../sim/verdict/judge.ts';
import type { Predicate } from '../../sim/verdict/predicate.ts';

const x = [0, 0.5, 1.2, 0.9, 0.3, -0.1];
const p: Predicate = { kind: 'compare', signal: 'x', dimension: 'voltage', relation: '>', value: 0.2 };
const q: Predicate = { ...p, value: 1.0 };
const base: Formula = {
  text: 'worked',
  claim: 'always',
  premise: null,
  body: p,
  withinSeconds: 0,
  fromSeconds: 0,
  untilSeconds: Infinity,
  forSeconds: 0,
  isExpectedToFail: false,
  why: null,
};

describe.each(['held', 'linear'] as const)('robustness: worked vector, %s signal', (shape) => {
  const trace = new Trace([{ name: 'x', dimension: 'voltage', shape, means: 'worked signal' }]);
  for (const [seconds, value] of x.entries()) trace.append(0, seconds, value);
  const margin = (formula: Partial<Formula>) => {
    const judged = judge({ ...base, ...formula }, trace);
    return { truth: judged.truth, margin: Number(judged.margin.toFixed(12)), at: judged.atSeconds };
  };

  test('always x > 0.2 over [1, 4]: 0.1, decided at 4 s', () => {
    expect(margin({ fromSeconds: 1, untilSeconds: 4 })).toEqual({ truth: true, margin: 0.1, at: 4 });
  });

  test('eventually x > 0.2 within [0, 5]: 1.0, decided at 2 s', () => {
    expect(margin({ claim: 'within', withinSeconds: 5 })).toEqual({ truth: true, margin: 1, at: 2 });
  });

  test('always x > 0.2 over [0, 5]: -0.3, decided at 5 s', () => {
    expect(margin({ untilSeconds: 5 })).toEqual({ truth: false, margin: -0.3, at: 5 });
  });

  test('never x > 0.2 is always not: -1.0', () => {
    expect(margin({ claim: 'never' })).toEqual({ truth: false, margin: -1, at: 2 });
  });

  test('always over [1, 4] equals not eventually not', () => {
    const eventuallyNot = margin({ claim: 'within', fromSeconds: 1, withinSeconds: 3, body: { kind: 'not', of: p } });
    expect(eventuallyNot).toEqual({ truth: false, margin: -0.1, at: 4 });
  });

  test('nested: eventually within [0, 3] (x > 0.2 throughout the next 1 s) is the best of the worst: 0.7', () => {
    // Worst over [t, t + 1] at t = 0 to 3: held and linear alike 0, 0.5, 0.9, 0.3 at whole seconds, less 0.2.
    // In between a straight line gives no more than the 0.9 V that both ends of [2, 3] allow, but for the held signal
    // a window that ends before 3 s sees 1.2 V at its right end and at its left end 1.2 V only from 2 s on.
    const judged = margin({ claim: 'within', withinSeconds: 3, forSeconds: 1 });
    expect(judged.truth).toBe(true);
    if (shape === 'held') expect(judged.margin).toBe(0.7);
    else {
      // The window whose two ends are equally high: 0.5 + 0.7 u = 1.2 - 0.3 u at u = 0.7, so 0.99 V at 1.7 s.
      expect(judged.margin).toBe(0.79);
      expect(judged.at).toBeCloseTo(1.7, 12);
    }
  });

  test('the same premise and answer: when x > 1.0, then x > 0.2 within 0 s and always', () => {
    const held = margin({ premise: q, claim: 'always' });
    // Held, x > 1 only in [2, 3) with margin 1.0; on lines x passes 1 at 1.714 s and 2.667 s, where x - 0.2 is 0.8.
    expect(held).toMatchObject({ truth: true, margin: shape === 'held' ? 1 : 0.8 });
  });
});
