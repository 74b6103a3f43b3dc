/**
 * A design as builders tell of it (common practice, no source): a hall pedal read by a 5 V, 10-bit converter, its counts
 * mapped to an 8-bit timer at 16 MHz, two kinds of trouble on the way. The models know nothing of it; whole benches must
 * reproduce each number. That the controller takes +-30 us about 1500 us is our assumption.
 */
import { describe, expect, test } from 'vitest';
import { countOf } from '../../models/adc.ts';
import { mappedCount } from '../../models/board/law.ts';
import { highTicks } from '../../models/pwm-timer.ts';
import { benchParts, type Doing, type RigRun, runParts } from '../models/rig.ts';

const REST = '0.83 V';
const FULL = '4.22 V';

/** The whole bench: pressed home from 3 s on. */
function drive(firmware: object, pwm: object = {}, pedal: object = {}, adc: object = {}): RigRun {
  const left = {
    pulse: {
      neutral: '1500 us',
      full: '2200 us',
      valid: ['700 us', '2400 us'],
      period: ['16.129 ms', '20 ms'],
    },
    arming: { window: '± 30 us', hold: '1 s' },
  };
  const parts = benchParts({
    bench: 'as builders tell of it',
    pedal: { kind: 'hall', rest: REST, full: FULL, impedance: '0 ohm', ...pedal },
    board: {
      clock: '16 MHz',
      adc: { prescaler: 128, ...adc },
      pwm: { bits: 8, mode: 'fast', prescaler: 1024, ...pwm },
      firmware: { kind: 'mapping', every: '10 ms', input: [170, 864], output: [22, 34], ...firmware },
    },
    controllers: { left },
  });
  const script: Doing[] = [
    { at: 0, say: 'battery', form: 'connect' },
    { at: 3, say: 'pedal', form: 'press', contents: { press: 1, over: 0.5 } },
  ];
  return runParts(parts, script, 5);
}

describe('common practice: counts of the pedal', () => {
  test('0.83 V x 1024 / 5 V is 169.98: the nearest whole count is 170, but the datasheet cuts, and the bench reads 169', () => {
    expect((0.83 * 1024) / 5).toBeCloseTo(169.984, 9);
    expect(Math.round((0.83 * 1024) / 5)).toBe(170);
    expect(countOf(0.83, 5, 10)).toBe(169);
    expect(drive({}, {}, {}, { reference: '5 V' }).at('adc.count', 2.5)).toBe(169);
  });

  test('against the rail it reads by what the rail has left under load: 0.5 mV less than 5 V already make it 170', () => {
    expect(countOf(0.83, 4.9995, 10)).toBe(170);
    const run = drive({});
    expect(run.at('adc.count', 2.5)).toBe(Math.floor((0.83 * 1024) / run.at('rail.voltage', 2.5)));
  });

  test('4.22 V x 1024 / 5 V is 864.26: both rules give 864, and so does the bench', () => {
    expect(Math.round((4.22 * 1024) / 5)).toBe(864);
    expect(countOf(4.22, 5, 10)).toBe(864);
    expect(drive({}).at('adc.count', 4.9)).toBe(864);
  });
});

describe('common practice: frames', () => {
  test('divider 64 gives 976.56 Hz, which a controller for 50 to 62 Hz does not take: it names the period', () => {
    const run = drive({}, { prescaler: 64 });
    expect(1 / run.at('pwm.frame', 2.5)).toBeCloseTo(976.5625, 3);
    expect(run.word('left.mode', 4.9)).toBe('waiting-for-neutral.refusing');
    expect(run.word('left.refusal', 4.9)).toBe('frame-period');
  });

  test('divider 1024 gives 61.04 Hz, which it takes', () => {
    expect(1 / drive({}).at('pwm.frame', 2.5)).toBeCloseTo(61.03515625, 5);
  });
});

describe('common practice: the idle compare is one lower than duty arithmetic says', () => {
  test('1.5 ms and 2.2 ms as shares of a frame of 256 ticks at 61.04 Hz round to 23 and 34', () => {
    const ticks = (seconds: number) => seconds * 61.03515625 * 256;
    expect([Math.round(ticks(1.5e-3)), Math.round(ticks(2.2e-3))]).toEqual([23, 34]);
  });

  test('compare 23 is 24 ticks of 64 us, 1536 us; compare 22 is 23 ticks, 1472 us', () => {
    expect([23, 22].map((compare) => highTicks('fast', compare, 255) * 64)).toEqual([1536, 1472]);
  });

  test('23 at rest is refused for good, 6 us outside the window', () => {
    const run = drive({ output: [23, 34] });
    expect(run.at('left.pulse', 2.5)).toBeCloseTo(1536e-6, 9);
    expect(run.words('left.mode')).not.toContain('armed.neutral');
    expect(run.at('left.arming', 2.5)).toBeCloseTo(-6e-6, 12);
    expect(run.word('left.refusal', 2.5)).toBe('pulse-off-neutral');
    expect(run.at('left.drive', 4.9)).toBe(0);
  });

  test('22 at rest arms, 2 us inside the window, and full pedal gives full drive', () => {
    const run = drive({});
    expect(run.at('left.pulse', 2.5)).toBeCloseTo(1472e-6, 9);
    expect(run.word('left.mode', 2.5)).toBe('armed.neutral');
    expect(run.at('firmware.compare', 4.9)).toBe(34);
    expect(run.at('left.drive', 4.9)).toBe(1);
  });

  test('a pedal that later read 173 at rest still gave 22: 3 x 12 / 694 is cut to nothing', () => {
    expect(mappedCount(173, 170, 864, 22, 34, 16)).toBe(22);
    const run = drive({}, {}, { rest: '0.847 V' });
    expect(run.at('adc.count', 2.5)).toBe(173);
    expect(run.at('firmware.compare', 2.5)).toBe(22);
    expect(run.word('left.mode', 2.5)).toBe('armed.neutral');
  });
});
