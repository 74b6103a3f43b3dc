import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { receiver, stickPulse } from '../../models/receiver.ts';
import { pulsesOf } from '../../sim/trace/measure.ts';
import { type Doing, type RigRun, rig } from './rig.ts';

const powered: Doing = { at: 0, feed: 'receiver.supply', to: 5 };
const stick = (at: number, deflection: number): Doing => ({
  at,
  say: 'receiver',
  form: 'stick',
  contents: { stick: deflection },
});
const radio = (script: readonly Doing[], section: object = {}, seconds = 5) =>
  rig({ receiver: [receiver, section] }, [powered, ...script], seconds);
const widths = (run: RigRun, fromSeconds: number, untilSeconds: number): number[] =>
  [...pulsesOf(run.column('receiver.line'), { fromSeconds, untilSeconds }).widthSeconds].map(
    (width) => Math.round(width * 1e9) / 1e3,
  );
const all = (list: readonly number[]) => [...new Set(list)];

describe('receiver: pulse of a stick', () => {
  test('1000, 1500, 2000 us for full back, middle, full forward (common practice; no standard exists)', () => {
    expect(stickPulse(-1, 1.5e-3, 2e-3, 1e-3)).toBeCloseTo(1e-3, 12);
    expect(stickPulse(0, 1.5e-3, 2e-3, 1e-3)).toBe(1.5e-3);
    expect(stickPulse(1, 1.5e-3, 2e-3, 1e-3)).toBeCloseTo(2e-3, 12);
  });

  test('law: it moves one way only, and the deflection told is the one that was set', () =>
    fc.assert(
      fc.property(fc.integer({ min: -100, max: 100 }), fc.boolean(), (percent, isReversed) => {
        const [full, back] = isReversed ? [1e-3, 2e-3] : [2e-3, 1e-3];
        const section = { full: `${full * 1e6} us`, reverse: `${back * 1e6} us` };
        const run = rig({ receiver: [receiver, section] }, [powered, stick(0, percent / 100)], 0.1);
        expect(run.at('receiver.pulse', 0.1)).toBeCloseTo(1.5e-3 + (percent / 100) * (full - 1.5e-3), 12);
        expect(run.at('receiver.deflection', 0.1)).toBeCloseTo(percent / 100, 9);
      }),
      { seed: 20261125, numRuns: 60 },
    ));

  test('however wide the jitter, no pulse ends before it begins', () => {
    const run = radio([], { jitter: '1 ms', neutral: '500 us' }, 20);
    const { widthSeconds } = pulsesOf(run.column('receiver.line'), { fromSeconds: 0, untilSeconds: 20 });
    expect(widthSeconds.length).toBeGreaterThan(500);
    expect(Math.min(...widthSeconds)).toBeGreaterThanOrEqual(0);
  });

  test('the train: a pulse every frame, as wide as was told', () => {
    const run = radio([stick(0, 0.5)], { frame: '22 ms' }, 1);
    const { widthSeconds, periodSeconds } = pulsesOf(run.column('receiver.line'), {
      fromSeconds: 0.01,
      untilSeconds: 1,
    });
    // After the first, 1 s holds frames at 22, 44, ..., 990 ms: 45 of them, the last pulse whole (22 ms is 45.45 Hz).
    expect(widthSeconds.length).toBe(45);
    for (const width of widthSeconds) expect(width).toBeCloseTo(1.75e-3, 12);
    for (const period of periodSeconds) expect(period).toBeCloseTo(22e-3, 12);
  });

  test('jitter spreads the widths by its standard deviation (400 pulses; 4 sigma of the estimate is 14 %)', () => {
    const run = radio([], { jitter: '10 us' }, 8);
    const list = widths(run, 0, 8);
    const mean = list.reduce((sum, one) => sum + one, 0) / list.length;
    const deviation = Math.sqrt(list.reduce((sum, one) => sum + (one - mean) ** 2, 0) / list.length);
    expect(Math.abs(deviation / 10 - 1)).toBeLessThan(0.15);
    expect(Math.abs(mean - 1500)).toBeLessThan(4 * (10 / Math.sqrt(400)));
  });
});

describe('receiver: power', () => {
  test('no train and a floating line without supply; it starts with it and stops with it', () => {
    const run = rig(
      { receiver: [receiver, {}] },
      [
        { at: 1, feed: 'receiver.supply', to: 5 },
        { at: 2, feed: 'receiver.supply', to: 3.4 },
      ],
      3,
    );
    expect(run.word('receiver.line', 0.5)).toBe('floating');
    expect(all(widths(run, 1, 2))).toEqual([1500]);
    expect(run.word('receiver.line', 2.5)).toBe('floating');
    expect(run.words('receiver.mode')).toEqual(['off', 'linked', 'off']);
  });
});

describe('receiver: faults', () => {
  const lost = (until?: number): Doing => ({ at: 2, fault: 'receiver', is: 'lost', ...(until ? { until } : {}) });
  const rules = (rule: string) => ({ loss: { after: '500 ms', then: rule, pulse: '1200 us' } });

  test.each([
    ['hold', [1750], 'holding'],
    ['fail-safe', [1200], 'fail-safe'],
    ['silent', [], 'silent'],
  ])(
    'lost, rule %s: the last pulse for the time that it waits, then %j; with the link back the stick again',
    (rule, then, mode) => {
      const run = radio([stick(1, 0.5), lost(4), stick(3, -0.5)], rules(rule), 5);
      expect(all(widths(run, 2, 2.49))).toEqual([1750]);
      expect(run.word('receiver.mode', 2.4)).toBe('searching');
      expect(all(widths(run, 2.53, 3.99))).toEqual(then);
      expect(run.word('receiver.mode', 3.5)).toBe(mode);
      expect(all(widths(run, 4.03, 5))).toEqual([1250]);
    },
  );

  test('lost for less than it waits: the train goes on with the last pulse and nothing else happens', () => {
    const run = radio([stick(1, 0.5), lost(2.3)], rules('silent'), 4);
    expect(all(widths(run, 1.05, 4))).toEqual([1750]);
    expect(run.words('receiver.mode', 1)).toEqual(['searching', 'linked']);
  });

  test('lost before it is switched on: no train until there is a link', () => {
    const run = rig(
      { receiver: [receiver, rules('hold')] },
      [
        { at: 0.5, fault: 'receiver', is: 'lost', until: 3 },
        { at: 1, feed: 'receiver.supply', to: 5 },
      ],
      4,
    );
    expect(widths(run, 0, 3)).toEqual([]);
    expect(all(widths(run, 3, 4))).toEqual([1500]);
  });

  test('lost through a break of its supply: still lost afterwards', () => {
    const run = radio(
      [lost(4), { at: 2.1, feed: 'receiver.supply', to: 0 }, { at: 2.2, feed: 'receiver.supply', to: 5 }],
      rules('hold'),
      5,
    );
    expect(widths(run, 2.3, 4)).toEqual([]);
    expect(run.word('receiver.mode', 4.5)).toBe('linked');
  });

  test('weak: about that share of frames keeps the old pulse (1000 frames, 4 sigma is 6 %)', () => {
    // The stick moves at every frame, so that a lost frame shows as a width that repeats.
    const moves = Array.from({ length: 1000 }, (_, index) => stick(0.01 + index / 50, (index % 200) / 200));
    const run = radio([...moves, { at: 0, fault: 'receiver', is: 'weak', amount: 0.3, until: 20 }], {}, 20);
    const list = widths(run, 0, 20);
    const repeats = list.filter((width, index) => index > 0 && width === list[index - 1]).length;
    expect(Math.abs(repeats / list.length - 0.3)).toBeLessThan(0.06);
  });

  test('weak, mended: no frame is lost any more', () => {
    const moves = Array.from({ length: 100 }, (_, index) => stick(2.01 + index / 50, (index % 90) / 100));
    const run = radio([...moves, { at: 0, fault: 'receiver', is: 'weak', amount: 1, until: 2 }], {}, 4);
    expect(all(widths(run, 0, 2))).toEqual([1500]);
    expect(all(widths(run, 2.03, 3.8)).length).toBe(88);
  });
});
