/** Random traces and formulas on whole seconds, whole and half values and slopes -1, 0, 1, so that every crossing falls on the grid. */
import fc from 'fast-check';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';
import type { Formula } from '../../sim/verdict/expectation.ts';
import { negation, type Predicate, type Relation } from '../../sim/verdict/predicate.ts';
import type { Plain, PlainTrace } from './by-definition.ts';

export const SEED = 20261125;
export const RUN_SECONDS = 6;

const MODES = ['off', 'armed.idle', 'armed.driving'];
const second = fc.integer({ min: 0, max: 2 * RUN_SECONDS }).map((count) => count / 2);
const level = fc.integer({ min: -2, max: 2 });
/** So that lines pass whole levels between their samples. */
const halves = fc.integer({ min: -4, max: 4 }).map((count) => count / 2);

const held: fc.Arbitrary<Plain> = fc
  .tuple(
    level,
    fc.uniqueArray(fc.tuple(fc.integer({ min: 1, max: RUN_SECONDS }), level), {
      selector: ([seconds]) => seconds,
      maxLength: 6,
    }),
  )
  .map(([first, rest]) => ({ shape: 'held', samples: [[0, first], ...[...rest].sort((a, b) => a[0] - b[0])] }));

/** Goes up, down or level by whole seconds, with a step now and then. */
const linear: fc.Arbitrary<Plain> = fc
  .tuple(
    halves,
    fc.array(fc.tuple(fc.constantFrom(-1, 0, 1), fc.constantFrom(0, 0, 0, -2, 1, 3)), {
      minLength: RUN_SECONDS,
      maxLength: RUN_SECONDS,
    }),
  )
  .map(([first, moves]) => {
    const samples: [number, number][] = [[0, first]];
    let value = first;
    moves.forEach(([slope, step], index) => {
      value += slope;
      samples.push([index + 1, value]);
      if (step !== 0) {
        value += step;
        samples.push([index + 1, value]);
      }
    });
    return { shape: 'linear', samples };
  });

const modes: fc.Arbitrary<Plain> = held.map(({ samples }) => ({
  shape: 'held',
  modes: MODES,
  samples: samples.map(([seconds, value]) => [seconds, Math.abs(value) % MODES.length]),
}));

export const plainTrace: fc.Arbitrary<PlainTrace> = fc.record({
  'a.held': held,
  'b.held': held,
  'a.line': linear,
  'b.line': linear,
  'a.mode': modes,
});

const relation = fc.constantFrom<Relation>('<', '<=', '>', '>=', '=', '!=');
const number = fc.constantFrom('a.held', 'b.held', 'a.line', 'b.line');

const statement: fc.Arbitrary<Predicate> = fc.oneof(
  {
    weight: 4,
    arbitrary: fc.record({
      kind: fc.constant('compare' as const),
      signal: number,
      dimension: fc.constant('voltage' as const),
      relation,
      value: level,
    }),
  },
  fc
    .tuple(fc.constantFrom('a.held', 'a.line'), fc.constantFrom('b.held', 'a.held'), relation)
    .map(([signal, other, chosen]) => ({
      kind: 'compare-signals' as const,
      signal,
      other,
      dimension: 'voltage' as const,
      relation: chosen,
    })),
  fc.tuple(number, level, fc.constantFrom(0, 1, 2, 3)).map(([signal, low, width]) => ({
    kind: 'between' as const,
    signal,
    dimension: 'voltage' as const,
    low,
    high: low + width,
  })),
  fc.record({
    kind: fc.constant('monotonic' as const),
    signal: number,
    dimension: fc.constant('voltage' as const),
    direction: fc.constantFrom('rises' as const, 'falls' as const),
  }),
  fc.record({
    kind: fc.constant('mode' as const),
    signal: fc.constant('a.mode'),
    mode: fc.constantFrom('off', 'armed', 'armed.driving'),
    gauge: fc.constantFrom(
      null,
      { signal: 'b.line', dimension: 'voltage' as const },
      { signal: 'b.held', dimension: 'voltage' as const },
    ),
  }),
);

export const predicate: fc.Arbitrary<Predicate> = fc.oneof(
  { weight: 3, arbitrary: statement },
  statement.map(negation),
  fc
    .tuple(fc.constantFrom('and' as const, 'or' as const), statement, statement)
    .map(([kind, one, other]) => ({ kind, of: [one, other] })),
  fc
    .tuple(fc.constantFrom('and' as const, 'or' as const), statement, statement, statement)
    .map(([kind, one, other, third]) =>
      negation({ kind, of: [one, negation({ kind: kind === 'and' ? 'or' : 'and', of: [other, third] })] }),
    ),
);

export const formula: fc.Arbitrary<Formula> = fc
  .record({
    premise: fc.option(predicate),
    body: predicate,
    claim: fc.constantFrom('always' as const, 'never' as const, 'within' as const),
    withinSeconds: fc.integer({ min: 0, max: 2 * RUN_SECONDS + 4 }).map((count) => count / 2),
    fromSeconds: second,
    untilSeconds: fc.option(
      fc.integer({ min: 0, max: 2 * RUN_SECONDS + 4 }).map((count) => count / 2),
      { nil: Number.POSITIVE_INFINITY },
    ),
    forSeconds: fc.constantFrom(0, 0, 0, 0.5, 1, 1.5, RUN_SECONDS + 1),
    isExpectedToFail: fc.boolean(),
  })
  .map((parts) => ({
    ...parts,
    text: 'random',
    why: null,
    claim: parts.premise && parts.claim === 'never' ? 'always' : parts.claim,
    withinSeconds: parts.claim === 'within' ? parts.withinSeconds : 0,
    untilSeconds: Math.max(parts.fromSeconds, parts.untilSeconds),
  }));

export function recorded(plain: PlainTrace, runSeconds: number): Trace {
  const signals = Object.entries(plain).map(
    ([name, { shape, modes: words }]): SignalInfo => ({
      name,
      shape,
      dimension: 'voltage',
      means: 'test',
      ...(words ? { modes: words } : {}),
    }),
  );
  const trace = new Trace(signals);
  Object.values(plain).forEach(({ samples }, index) => {
    for (const [seconds, value] of samples) trace.append(index, seconds, value);
  });
  trace.finish(runSeconds);
  return trace;
}
