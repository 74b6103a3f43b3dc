/**
 * The judge against plain sampling of the definition, on traces whose instants, values and windows are any numbers: the
 * infimum and supremum of a window are taken over a fine net of its instants. A line of slope at most `STEEPEST` moves
 * less than a step of the net times that between two of them, so that both must agree to within a few such steps.
 */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';
import type { Formula } from '../../sim/verdict/expectation.ts';
import { judge } from '../../sim/verdict/judge.ts';
import type { Predicate } from '../../sim/verdict/predicate.ts';
import { predicate, SEED } from './arbitrary.ts';

const RUN_SECONDS = 4;
const NET = 400;
const STEEPEST = 12;
const names = ['a.line', 'b.line'] as const;

const line = fc
  .tuple(
    fc.double({ min: -2, max: 2, noNaN: true }),
    fc.array(fc.tuple(fc.double({ min: 0.3, max: 1.5, noNaN: true }), fc.double({ min: -2, max: 2, noNaN: true })), {
      minLength: 8,
      maxLength: 14,
    }),
  )
  .map(([first, rest]) => {
    const samples: [number, number][] = [[0, first]];
    let seconds = 0;
    for (const [gap, value] of rest) {
      seconds += gap;
      samples.push([seconds, value]);
    }
    return samples;
  });

/** Statements on lines only, without steps: the margin then moves no faster than its signals. */
const continuous = predicate.filter((asked) => JSON.stringify(asked).match(/held|mode|monotonic/) === null);
const span = fc.double({ min: 0.05, max: 1.2, noNaN: true });

test('judge: law: sampling the definition finely gives the same margin, for any instants and values', () => {
  let seen = 0;
  fc.assert(
    fc.property(
      fc.tuple(line, line),
      continuous,
      fc.option(continuous),
      span,
      span,
      span,
      fc.constantFrom('always', 'never', 'within'),
      (lines, body, premise, from, forSeconds, within, claim) => {
        const formula: Formula = {
          text: '',
          claim: premise && claim === 'never' ? 'within' : claim,
          premise,
          body,
          withinSeconds: claim === 'always' ? 0 : within,
          fromSeconds: from,
          untilSeconds: from + 1.4,
          forSeconds,
          isExpectedToFail: false,
          why: null,
        };
        const judged = judge(formula, recorded(lines));
        const sampled = sampledMargin(formula, lines);
        // Whether the premise holds for less than a step of the net is a matter of luck.
        if (premise && (sampled === Infinity || judged.judgedCount === 0)) return;
        seen += 1;
        const slack = (3 * STEEPEST) / NET;
        if (premise) expect(judged.margin).toBeLessThanOrEqual(sampled + slack);
        else expect(Math.abs(judged.margin - sampled)).toBeLessThanOrEqual(slack);
      },
    ),
    { seed: SEED, numRuns: 300 },
  );
  expect(seen).toBeGreaterThan(150);
});

function sampledMargin(formula: Formula, lines: readonly (readonly [number, number][])[]): number {
  const at = (asked: Predicate, seconds: number): number => {
    if (asked.kind === 'not') return -at(asked.of, seconds);
    if (asked.kind === 'and') return Math.min(...asked.of.map((part) => at(part, seconds)));
    if (asked.kind === 'or') return Math.max(...asked.of.map((part) => at(part, seconds)));
    if (!('signal' in asked)) throw new Error(asked.kind);
    const x = interpolated(lines[names.indexOf(asked.signal as 'a.line')]!, seconds);
    if (asked.kind === 'between') return Math.min(x - asked.low, asked.high - x);
    if (asked.kind !== 'compare') throw new Error(asked.kind);
    if (asked.relation.startsWith('<')) return asked.value - x;
    if (asked.relation.startsWith('>')) return x - asked.value;
    return asked.relation === '=' ? -Math.abs(x - asked.value) : Math.abs(x - asked.value);
  };
  const over = (
    from: number,
    length: number,
    margin: (seconds: number) => number,
    pick: (...margins: number[]) => number,
  ) => {
    const steps = Math.max(1, Math.ceil(length * 60));
    return pick(...Array.from({ length: steps + 1 }, (_, index) => margin(from + (length * index) / steps)));
  };
  const held = (seconds: number) => over(seconds, formula.forSeconds, (instant) => at(formula.body, instant), Math.min);
  const { fromSeconds: from, untilSeconds: until, withinSeconds: within } = formula;
  if (!formula.premise && formula.claim === 'within') return over(from, Math.min(within, until - from), held, Math.max);
  if (!formula.premise && formula.claim === 'never') return -over(from, until - from, held, Math.max);
  if (!formula.premise) return over(from, until - from, held, Math.min);
  const answer = (seconds: number) => (within === 0 ? held(seconds) : over(seconds, within, held, Math.max));
  return over(
    from,
    until - from,
    (seconds) => (at(formula.premise!, seconds) > 0.01 ? answer(seconds) : Infinity),
    Math.min,
  );
}

function interpolated(samples: readonly (readonly [number, number])[], seconds: number): number {
  const index = samples.findLastIndex(([at]) => at <= seconds);
  const [from, value] = samples[index]!;
  const next = samples[index + 1];
  return next ? value + ((next[1] - value) * (seconds - from)) / (next[0] - from) : value;
}

function recorded(lines: readonly (readonly (readonly [number, number])[])[]): Trace {
  const trace = new Trace(
    names.map((name): SignalInfo => ({ name, dimension: 'voltage', shape: 'linear', means: 'test' })),
  );
  lines.forEach((samples, index) => {
    for (const [seconds, value] of samples) if (seconds <= RUN_SECONDS + 2) trace.append(index, seconds, value);
  });
  trace.finish(Math.max(RUN_SECONDS + 2, trace.endSeconds));
  return trace;
}
