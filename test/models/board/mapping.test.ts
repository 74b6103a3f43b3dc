import { describe, expect, test } from 'vitest';
import { mapping } from '../../../models/board/mapping.ts';
import { pwmTimer } from '../../../models/pwm-timer.ts';
import { receiver } from '../../../models/receiver.ts';
import { selector } from '../../../models/selector.ts';
import { type Doing, type RigParts, rig } from '../rig.ts';

/** 200..800 counts to compares 40..60: 30 counts a step. */
const plain = { kind: 'mapping', every: '10 ms', input: [200, 800], output: [40, 60] };
const clocked: Doing[] = [{ at: 0, feed: 'firmware.clock', to: 8e6 }];

/** The same count after every pass from `from` to `until`, as a converter gives it. */
function counts(from: number, until: number, value: number): Doing[] {
  const passes = Math.round((until - from) * 100);
  return Array.from({ length: passes }, (_, index): Doing => {
    return { at: from + index / 100 + 0.0001, feed: 'firmware.count', to: value };
  });
}
function program(section: object, script: readonly Doing[], seconds = 3, others: RigParts = {}) {
  return rig({ firmware: [mapping, { ...plain, ...section }], ...others }, [...clocked, ...script], seconds);
}
const compareFor = (section: object, value: number): number =>
  program(section, counts(0.01, 0.1, value), 0.2).at('firmware.compare', 0.2);

describe('mapping: pass', () => {
  test('a conversion is asked for every 10 ms of the board clock, the first one pass after the start', () => {
    const run = program({}, [], 1);
    const at = run.samples('firmware.convert', 0.001).map(([seconds]) => seconds);
    expect(at.length).toBe(100);
    for (const [index, seconds] of at.entries()) expect(seconds).toBe(((index + 1) * 80_000) / 8e6);
  });

  test('no clock, no pass; with the clock back they come again, and the compare is written anew', () => {
    const script: Doing[] = [
      ...counts(0.01, 0.5, 500),
      { at: 0.5, feed: 'firmware.clock', to: 0 },
      { at: 0.6, feed: 'firmware.count', to: 800 },
      { at: 1, feed: 'firmware.clock', to: 8e6 },
      ...counts(1.01, 1.5, 500),
    ];
    const run = program({}, script, 2);
    expect(run.samples('firmware.convert', 0.501).filter(([seconds]) => seconds < 1.005)).toEqual([]);
    expect(run.at('firmware.compare', 0.9)).toBe(50);
    expect(run.word('firmware.mode', 0.9)).toBe('stopped');
    expect(run.samples('firmware.convert', 1).length).toBeGreaterThan(90);
  });
});

describe('mapping: plain law', () => {
  test.each([
    [200, 40],
    [229, 40],
    [230, 41],
    [500, 50],
    [800, 60],
    // Outside the range it goes on: -200 / 30 is -6.67 and +223 / 30 is 7.43, both cut towards zero.
    [0, 34],
    [1023, 67],
  ])('count %i gives compare %i', (count, compare) => {
    expect(compareFor({}, count)).toBe(compare);
  });

  test('a falling pedal is the same law with its ends exchanged', () => {
    expect(compareFor({ input: [800, 200] }, 800)).toBe(40);
    expect(compareFor({ input: [800, 200] }, 500)).toBe(50);
    expect(compareFor({ input: [800, 200] }, 200)).toBe(60);
  });
});

describe('mapping: options', () => {
  test.each([
    [{ clamp: true }, 0, 40],
    [{ clamp: true }, 1023, 60],
    [{ clamp: true, input: [800, 200] }, 1023, 40],
    [{ 'dead-band': 60 }, 260, 40],
    [{ 'dead-band': 60 }, 261, 42],
    [{ 'dead-band': 60 }, 140, 40],
    [{ 'dead-band': 60, input: [800, 200] }, 740, 40],
  ])('%o: count %i gives compare %i', (section, count, compare) => {
    expect(compareFor(section, count)).toBe(compare);
  });

  test('filter: each pass closes a quarter of the gap, cut towards zero, so that the last three counts stay open', () => {
    const run = program({ filter: 2 }, [...counts(0.01, 0.5, 200), ...counts(0.5, 2, 300)], 2);
    const seen = run.samples('firmware.count', 0.5).map(([, value]) => value);
    // 200, +25, +18, +14, +10, ...: worked by hand from gap / 4 cut.
    expect(seen.slice(0, 5)).toEqual([225, 243, 257, 267, 275]);
    expect(seen.at(-1)).toBe(297);
  });

  test('filter: begins at the first count it sees, and again after a reset', () => {
    const script: Doing[] = [
      ...counts(0.01, 0.5, 800),
      { at: 0.5, feed: 'firmware.clock', to: 0 },
      { at: 0.6, feed: 'firmware.clock', to: 8e6 },
      ...counts(0.61, 1, 200),
    ];
    const run = program({ filter: 4 }, script, 1);
    expect(run.at('firmware.count', 0.02)).toBe(800);
    expect(run.at('firmware.count', 0.62)).toBe(200);
  });

  test('slew: 20 steps at 40 a second take half a second, up and down', () => {
    const run = program({ slew: '40 1/s' }, [...counts(0.01, 1, 200), ...counts(1, 2, 800), ...counts(2, 3, 200)]);
    expect(run.at('firmware.compare', 1.252)).toBe(50);
    expect(run.at('firmware.compare', 1.48)).toBeLessThan(60);
    expect(run.at('firmware.compare', 1.502)).toBe(60);
    expect(run.at('firmware.compare', 2.235)).toBe(50);
    expect(run.at('firmware.compare', 2.502)).toBe(40);
  });

  test('slew: with the foot down at power-on it starts from neutral', () => {
    const run = program({ slew: '40 1/s' }, counts(0.01, 2, 800));
    expect(run.at('firmware.compare', 0.05)).toBeLessThanOrEqual(42);
    expect(run.at('firmware.compare', 0.6)).toBe(60);
  });

  test('slew: after neutral was forced it goes on from neutral', () => {
    const script = [...counts(0.01, 1, 800), ...counts(1, 1.2, 1000), ...counts(1.2, 3, 800)];
    const run = program({ slew: '40 1/s', plausible: [100, 900] }, script);
    expect(run.at('firmware.compare', 0.99)).toBe(60);
    expect(run.at('firmware.compare', 1.19)).toBe(40);
    expect(run.at('firmware.compare', 1.25)).toBeLessThanOrEqual(43);
    expect(run.at('firmware.compare', 1.8)).toBe(60);
  });

  test('hold: neutral is written for that long after the start, whatever the pedal does', () => {
    const run = program({ hold: '1.5 s' }, counts(0.01, 3, 800));
    expect(run.at('firmware.compare', 0.02)).toBe(40);
    expect(run.at('firmware.compare', 1.49)).toBe(40);
    expect(run.at('firmware.compare', 1.52)).toBe(60);
  });
});

describe('mapping: plausibility', () => {
  const window = { plausible: [120, 900] };

  test.each([
    [119, 40],
    [120, 38],
    [900, 63],
    [901, 40],
  ])('count %i gives compare %i: the window takes its ends in', (count, compare) => {
    expect(compareFor(window, count)).toBe(compare);
  });

  test('without a wait not one pass of a disbelieved count gets out', () => {
    const run = program(window, [...counts(0.01, 1, 500), ...counts(1, 2, 1023), ...counts(2, 3, 500)]);
    expect(run.samples('firmware.compare', 0.5).map(([, value]) => value)).toEqual([40, 50]);
    expect(run.word('firmware.mode', 1.5)).toBe('disbelieving');
    expect(run.word('firmware.mode', 2.5)).toBe('mapping.trusting');
  });

  test('with a wait of 55 ms they are believed for that long, then not', () => {
    const run = program({ ...window, 'plausible-after': '55 ms' }, [...counts(0.01, 1, 500), ...counts(1, 2, 1023)]);
    expect(run.at('firmware.compare', 1.054)).toBe(67);
    expect(run.word('firmware.mode', 1.054)).toBe('mapping.doubting');
    expect(run.at('firmware.compare', 1.071)).toBe(40);
  });

  test('with a wait, a single bad count does not count', () => {
    const script = [...counts(0.01, 1, 500), ...counts(1, 1.01, 1023), ...counts(1.01, 2, 500)];
    const run = program({ ...window, 'plausible-after': '55 ms' }, script);
    expect(run.words('firmware.mode', 0.5)).toEqual(['mapping.doubting', 'mapping.trusting']);
  });
});

describe('mapping: ranges by selector position', () => {
  const lever: RigParts = {
    selector: [
      selector,
      { positions: ['reverse', 'neutral', 'forward', 'high'], start: 'neutral', gap: '50 ms', dwell: '50 ms' },
    ],
  };
  const ranges = { forward: { output: [40, 60] }, high: { output: [40, 80] }, reverse: { output: [40, 20] } };
  const to = (at: number, position: string): Doing => ({ at, say: 'selector', form: 'to', contents: { to: position } });

  test.each([
    ['reverse', 20],
    ['neutral', 40],
    ['forward', 60],
    ['high', 80],
  ])('full pedal in %s gives compare %i', (position, compare) => {
    const run = program({ ranges }, [to(0.1, position), ...counts(0.01, 2, 800)], 2, lever);
    expect(run.at('firmware.compare', 1.9)).toBe(compare);
  });

  test('between two contacts it is neutral', () => {
    const run = program({ ranges }, [to(0.1, 'forward'), to(1, 'high'), ...counts(0.01, 2, 800)], 2, lever);
    expect(run.samples('firmware.compare', 0.5).map(([, value]) => value)).toEqual([40, 80]);
  });

  test('without ranges the selector changes nothing', () => {
    const run = program({}, [to(0.1, 'reverse'), ...counts(0.01, 2, 800)], 2, lever);
    expect(run.at('firmware.compare', 1.9)).toBe(60);
  });
});

describe('mapping: radio takes over', () => {
  const radio = { radio: { beyond: '10 %', keep: '1 s' } };
  const others = (timer: object = {}): RigParts => ({
    receiver: [receiver, { loss: { after: '100 ms', then: 'fail-safe', pulse: '1500 us' } }],
    pwm: [pwmTimer, { prescaler: 256, ...timer }],
  });
  const powered: Doing[] = [
    { at: 0, feed: 'receiver.supply', to: 5 },
    { at: 0, feed: 'pwm.pin', to: 1 },
  ];
  const stick = (at: number, deflection: number): Doing => ({
    at,
    say: 'receiver',
    form: 'stick',
    contents: { stick: deflection },
  });

  test('beyond its share it takes over at once; back in the middle it keeps control for a second', () => {
    const run = program(radio, [...powered, ...counts(0.01, 5, 800), stick(1, 0.5), stick(2, 0)], 5, others());
    expect(run.at('firmware.compare', 0.9)).toBe(60);
    expect(run.word('firmware.mode', 1.05)).toBe('overridden.away');
    // 1750 us is 54.7 ticks of 32 us, which compare 54 makes: (54 + 1) x 32 us = 1760 us.
    expect(run.at('firmware.compare', 1.5)).toBe(54);
    // 1500 us: compare 46 makes 1504 us.
    expect(run.at('firmware.compare', 2.5)).toBe(46);
    expect(run.word('firmware.mode', 2.9)).toBe('overridden.back');
    expect(run.at('firmware.compare', 3.1)).toBe(60);
  });

  test('inside its share the pedal keeps control', () => {
    const run = program(radio, [...powered, ...counts(0.01, 3, 800), stick(1, 0.09), stick(2, -0.09)], 3, others());
    expect(run.samples('firmware.compare', 0.5)).toEqual([]);
  });

  test('away again before the second is over: it keeps control', () => {
    const script = [...powered, ...counts(0.01, 5, 800), stick(1, 0.5), stick(2, 0), stick(2.5, -0.5), stick(4, 0)];
    const run = program(radio, script, 5, others());
    expect(run.word('firmware.mode', 3.2)).toBe('overridden.away');
    // 1250 us: compare 38 makes 1248 us.
    expect(run.at('firmware.compare', 3.5)).toBe(38);
  });

  test('an inverted output: the compare that makes the same pulse', () => {
    const run = program(radio, [...powered, ...counts(0.01, 2, 800), stick(1, 0.5)], 2, others({ inverted: true }));
    // High for 256 - (compare + 1) ticks: 55 ticks is compare 200.
    expect(run.at('firmware.compare', 1.9)).toBe(200);
    expect(run.at('pwm.pulse', 1.9)).toBeCloseTo(1760e-6, 9);
  });

  test('the link is lost with the stick away: the fail-safe pulse brings the pedal back', () => {
    const lost: Doing = { at: 2, fault: 'receiver', is: 'lost' };
    const run = program(radio, [...powered, ...counts(0.01, 5, 800), stick(1, 0.5), lost], 5, others());
    expect(run.word('firmware.mode', 2.05)).toBe('overridden.away');
    expect(run.word('firmware.mode', 2.3)).toBe('overridden.back');
    expect(run.at('firmware.compare', 3.5)).toBe(60);
  });
});

describe('mapping: time kept by the PWM timer', () => {
  const others = (timer: object): RigParts => ({ pwm: [pwmTimer, timer] });
  const timed = { 'keeps-time': { prescaler: 64 }, hold: '200 ms' };
  const passes = (run: ReturnType<typeof program>, from: number, until: number) =>
    run.samples('firmware.convert', from).filter(([seconds]) => seconds < until).length;

  test('at the divider that the program counts for, a pass takes what it says', () => {
    const run = program(timed, [], 2, others({ prescaler: 64 }));
    expect(run.samples('firmware.convert', 0.001)[0]![0]).toBeCloseTo(0.01, 12);
    expect(passes(run, 0.001, 1.001)).toBe(100);
  });

  test('a divider four times as large makes every pass and every wait of the program four times as long', () => {
    const run = program(timed, counts(0.01, 2, 800), 2, others({ prescaler: 256 }));
    expect(run.samples('firmware.convert', 0.001)[0]![0]).toBeCloseTo(0.04, 12);
    expect(passes(run, 0.001, 1.001)).toBe(25);
    expect(run.at('firmware.compare', 0.79)).toBe(40);
    expect(run.at('firmware.compare', 0.82)).toBe(60);
  });

  test('the divider changes while it runs: what is left of the pass changes with it', () => {
    // At 8 MHz, 256 then 64: a pass of 40 ms begun at 80 ms has 20 ms left at 100 ms, which become 5 ms.
    const fault: Doing = { at: 0.1, fault: 'pwm', is: 'prescaler-at-reset' };
    const write: Doing = { at: 0.01, feed: 'firmware.count', to: 500 };
    const section = { prescaler: 256, 'reset-prescaler': 64 };
    const run = program(
      { 'keeps-time': { prescaler: 64 } },
      [write, { at: 0, feed: 'pwm.pin', to: 1 }, fault],
      1,
      others(section),
    );
    const at = run.samples('firmware.convert', 0.001).map(([seconds]) => Math.round(seconds * 1e6) / 1e3);
    expect(at.slice(0, 5)).toEqual([40, 80, 105, 115, 125]);
  });

  test('after a reset the first pass is as long as the others', () => {
    const script: Doing[] = [
      { at: 0.5, feed: 'firmware.clock', to: 0 },
      { at: 0.6, feed: 'firmware.clock', to: 8e6 },
    ];
    const run = program(timed, script, 1, others({ prescaler: 256 }));
    expect(run.samples('firmware.convert', 0.55)[0]![0]).toBeCloseTo(0.64, 9);
  });
});
