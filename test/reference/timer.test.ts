/**
 * The timer against the datasheets of the ATmega48/88/168/328 family: 8161D-AVR-10/09, DS40002011A (2018), DS40002061A
 * (2018), and for wording shared by the family 2467P-08/07 p. 152 and 2466T-07/10 p. 80. Frequencies are arithmetic on
 * the formulas printed there.
 */
import { describe, expect, test } from 'vitest';
import { frameTicks, highTicks, PRESCALERS, type PwmMode, pwmTimer } from '../../models/pwm-timer.ts';
import { pulsesOf, statistics } from '../../sim/trace/measure.ts';
import { type Doing, rig } from '../models/rig.ts';

/** Mean frame and pulse of a settled timer in a bench, in seconds. */
function measured(
  section: { readonly prescaler: number } & Readonly<Record<string, unknown>>,
  compare: number,
  hertz: number,
  frames = 6,
) {
  const numbers = pwmTimer.parameters.parse(section) as { mode: PwmMode; bits: number; top?: { value: number } };
  const top = numbers.top?.value ?? 2 ** numbers.bits - 1;
  const frame = (frameTicks(numbers.mode, top) * section.prescaler) / hertz;
  const script: Doing[] = [
    { at: 0, feed: 'pwm.clock', to: hertz },
    { at: 0, feed: 'pwm.pin', to: 1 },
    { at: 0, feed: 'pwm.compare', to: compare },
  ];
  const run = rig({ pwm: [pwmTimer, section] }, script, (frames + 2) * frame);
  const span = { fromSeconds: 1.5 * frame, untilSeconds: (frames + 1.75) * frame };
  const { widthSeconds, periodSeconds } = pulsesOf(run.column('pwm.line'), span);
  return { pulse: statistics(widthSeconds)?.mean ?? Number.NaN, period: statistics(periodSeconds)?.mean ?? Number.NaN };
}

describe('reference: timer frequencies at 16 MHz', () => {
  // f = clock / (N x 256), 2467P p. 152.
  test.each([
    [1, 62_500],
    [8, 7812.5],
    [64, 976.5625],
    [256, 244.140625],
    [1024, 61.03515625],
  ])('fast, 8 bits, divider %i: %d Hz', (prescaler, hertz) => {
    expect(1 / measured({ prescaler }, 100, 16e6).period).toBeCloseTo(hertz, 5);
  });

  // f = clock / (N x 510), DS40002011A p. 147.
  test.each([
    [1, 31_372.549],
    [8, 3921.5686],
    [64, 490.19608],
    [256, 122.54902],
    [1024, 30.637255],
  ])('phase-correct, 8 bits, divider %i: %d Hz', (prescaler, hertz) => {
    const { period } = measured({ prescaler, mode: 'phase-correct' }, 100, 16e6);
    expect(Math.abs(1 / period / hertz - 1)).toBeLessThan(1e-7);
  });

  test.each([
    [1, 0.0625],
    [8, 0.5],
    [64, 4],
    [256, 16],
    [1024, 64],
  ])('one tick at divider %i: %d us', (prescaler, microseconds) => {
    const { pulse } = measured({ prescaler }, 9, 16e6);
    expect(pulse * 1e6).toBeCloseTo(10 * microseconds, 6);
  });
});

describe('reference: a 50 Hz servo frame with the top in a register', () => {
  // 16 MHz, divider 8, top 39999: 0.5 us a tick; 1500 us needs compare 2999, as the tick of the match counts too.
  test.each([
    [16e6, 8, 'fast', 39_999, 2999],
    [16e6, 64, 'fast', 4999, 374],
    [8e6, 8, 'fast', 19_999, 1499],
    // Phase and frequency correct, DS40002011A p. 180: f = clock / (2 x N x top), a pulse of 2 x compare ticks.
    [16e6, 8, 'phase-and-frequency-correct', 20_000, 1500],
  ] as const)(
    '%d Hz, divider %i, %s, top %i: 20 ms, and compare %i gives 1500 us',
    (hertz, prescaler, mode, top, compare) => {
      const { pulse, period } = measured({ bits: 16, mode, prescaler, top }, compare, hertz);
      expect(period).toBeCloseTo(20e-3, 9);
      expect(pulse).toBeCloseTo(1500e-6, 9);
    },
  );

  test('with the fixed tops of 8, 9 and 10 bits a frame has 256, 512, 1024 ticks (8161D p. 127: 00FF, 01FF, 03FF)', () => {
    for (const [bits, ticks] of [
      [8, 256],
      [9, 512],
      [10, 1024],
    ] as const)
      expect(measured({ bits, prescaler: 8 }, 100, 16e6).period).toBeCloseTo(ticks * 0.5e-6, 12);
  });
});

describe('reference: extremes of compare', () => {
  test('fast: at bottom a narrow spike, one tick of each frame; at top constantly high (2467P p. 152)', () => {
    const { pulse, period } = measured({ prescaler: 64 }, 0, 16e6);
    expect([pulse * 1e6, period * 1e6].map((one) => Math.round(one * 1e6) / 1e6)).toEqual([4, 1024]);
    expect(highTicks('fast', 255, 255)).toBe(frameTicks('fast', 255));
    expect(measured({ prescaler: 64 }, 255, 16e6).period).toBeNaN();
  });

  test('phase-correct: at bottom continuously low, at top continuously high (DS40002011A p. 147)', () => {
    expect(highTicks('phase-correct', 0, 255)).toBe(0);
    expect(highTicks('phase-correct', 255, 255)).toBe(510);
    expect(measured({ prescaler: 64, mode: 'phase-correct' }, 0, 16e6).pulse).toBeNaN();
  });

  test('trap: fast PWM cannot give 0 %: compare 0 is 1 / 256, 0.39 %; phase-correct can', () => {
    const { pulse, period } = measured({ prescaler: 64 }, 0, 16e6);
    expect((100 * pulse) / period).toBeCloseTo(0.390625, 9);
  });
});

describe('reference: dividers', () => {
  test('timers 0 and 1 have 1, 8, 64, 256, 1024; timer 2 also 32 and 128 (8161D tables 14-9, 17-9)', () => {
    expect(PRESCALERS).toEqual([1, 8, 32, 64, 128, 256, 1024]);
    expect(pwmTimer.parameters.safeParse({ prescaler: 200 }).success).toBe(false);
    expect(pwmTimer.parameters.safeParse({ prescaler: 16 }).success).toBe(false);
  });
});

describe('reference: an RC clock carried into a servo pulse', () => {
  // 8161D p. 317 table 28-1: +-10 % as delivered, +-1 % calibrated. A pulse is counted in ticks, so its width goes with
  // the inverse: 1500 us / 1.1 = 1364 us, 1500 us / 0.9 = 1667 us.
  test.each([
    [10, 1363.636],
    [-10, 1666.667],
    [1, 1485.149],
    [-1, 1515.152],
  ])('clock %i %% off: 1500 us become %d us', (percent, microseconds) => {
    const { pulse } = measured({ bits: 16, prescaler: 8, top: 19_999 }, 1499, 8e6 * (1 + percent / 100));
    expect(pulse * 1e6).toBeCloseTo(microseconds, 3);
  });
});
