import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  comparesWithin,
  frameTicks,
  highTicks,
  lineTicks,
  MODES,
  PRESCALERS,
  type PwmMode,
  pwmTimer,
  registerValue,
} from '../../models/pwm-timer.ts';
import { pulsesOf } from '../../sim/trace/measure.ts';
import { type Doing, type RigRun, rig } from './rig.ts';

const seeded = { seed: 20261125, numRuns: 400 };
const mode = fc.constantFrom(...MODES);

/**
 * Output of one settled frame, tick by tick, as the datasheet tells it (8161D 14.7.3, 14.7.4): fast PWM sets at bottom
 * and clears on the tick after a match; the others clear after a match on the way up and set after one on the way down.
 */
function countedTicks(kind: PwmMode, compare: number, top: number): { readonly high: number; readonly whole: number } {
  const up = Array.from({ length: top + 1 }, (_, count) => count);
  const ways =
    kind === 'fast'
      ? up.map((count) => ({ count, isUp: true }))
      : [
          ...up.slice(0, -1).map((count) => ({ count, isUp: true })),
          ...up
            .slice(1)
            .reverse()
            .map((count) => ({ count, isUp: false })),
        ];
  let isHigh = kind === 'fast';
  let high = 0;
  // Two frames: the second is settled. Compare at top is the special case of the datasheet's tables: no edge.
  for (let frame = 0; frame < 2; frame += 1) {
    high = 0;
    for (const { count, isUp } of ways) {
      if (kind === 'fast' && count === 0) isHigh = true;
      if (kind !== 'fast' && compare === top) isHigh = true;
      if (isHigh) high += 1;
      if (count === compare && compare !== top) isHigh = kind === 'fast' ? false : !isUp && compare > 0;
    }
  }
  return { high, whole: ways.length };
}

/** 8 MHz, the pin driven, and compares written at instants. */
const HERTZ = 8e6;
function timer(
  section: object,
  writes: readonly (readonly [at: number, compare: number])[],
  more: Doing[] = [],
  seconds = 0.2,
): RigRun {
  const script: Doing[] = [
    { at: 0, feed: 'pwm.clock', to: HERTZ },
    { at: 0, feed: 'pwm.pin', to: 1 },
    ...writes.map(([at, compare]): Doing => ({ at, feed: 'pwm.compare', to: compare })),
  ];
  return rig({ pwm: [pwmTimer, section] }, [...script, ...more], seconds);
}

/** Widths and periods in ticks of the timer. */
function ticks(run: RigRun, prescaler: number, fromSeconds: number, untilSeconds: number) {
  const { widthSeconds, periodSeconds } = pulsesOf(run.column('pwm.line'), { fromSeconds, untilSeconds });
  const whole = (seconds: Float64Array) => [...seconds].map((one) => Math.round((one * HERTZ * 1e3) / prescaler) / 1e3);
  return { widths: whole(widthSeconds), periods: whole(periodSeconds) };
}
const distinct = (list: readonly number[]) => [...new Set(list)];

describe('pwm-timer: ticks of a pulse', () => {
  test('fast 8 bits: compare 0, 1, 127, 254, 255 are high for 1, 2, 128, 255, 256 of 256 (2467P p. 152)', () => {
    expect([0, 1, 127, 254, 255].map((compare) => highTicks('fast', compare, 255))).toEqual([1, 2, 128, 255, 256]);
    expect(frameTicks('fast', 255)).toBe(256);
  });

  test('phase-correct 8 bits: compare 0, 1, 127, 128, 254, 255 give 0, 2, 254, 256, 508, 510 of 510 (DS40002011A p. 147)', () => {
    const compares = [0, 1, 127, 128, 254, 255];
    expect(compares.map((compare) => highTicks('phase-correct', compare, 255))).toEqual([0, 2, 254, 256, 508, 510]);
    expect(frameTicks('phase-correct', 255)).toBe(510);
  });

  test('law: fast PWM is high for compare + 1 ticks', () =>
    fc.assert(
      fc.property(fc.integer({ min: 3, max: 65535 }), fc.nat(65535), (top, any) => {
        const compare = any % (top + 1);
        expect(highTicks('fast', compare, top)).toBe(compare + 1);
      }),
      seeded,
    ));

  test('law: as many as the datasheet counts tick by tick', () =>
    fc.assert(
      fc.property(mode, fc.integer({ min: 3, max: 300 }), fc.nat(300), (kind, top, any) => {
        const compare = any % (top + 1);
        expect(countedTicks(kind, compare, top)).toEqual({
          high: highTicks(kind, compare, top),
          whole: frameTicks(kind, top),
        });
      }),
      seeded,
    ));

  test('law: an inverted line is high for the rest of the frame', () =>
    fc.assert(
      fc.property(mode, fc.nat(255), (kind, compare) => {
        const numbers = { bits: 8, mode: kind, inverted: true } as const;
        expect(lineTicks(numbers, compare) + highTicks(kind, compare, 255)).toBe(frameTicks(kind, 255));
      }),
      seeded,
    ));
});

describe('pwm-timer: compares for a range of ticks', () => {
  test('law: exactly those that brute force finds', () =>
    fc.assert(
      fc.property(mode, fc.integer({ min: 3, max: 400 }), fc.nat(4000), fc.nat(4000), (kind, top, a, b) => {
        // Tenths of a tick, so that limits fall on ticks and between them.
        const [leastTicks, mostTicks] = [Math.min(a, b) / 10, Math.max(a, b) / 10];
        const { least, greatest } = comparesWithin(kind, leastTicks, mostTicks);
        for (let compare = 0; compare <= top; compare += 1) {
          const high = highTicks(kind, compare, top);
          expect(compare >= least && compare <= greatest).toBe(high >= leastTicks && high <= mostTicks);
        }
      }),
      seeded,
    ));

  test('law: a pulse that a compare gives, written as a decimal number of seconds, is found again', () =>
    fc.assert(
      fc.property(
        mode,
        fc.integer({ min: 1, max: 65534 }),
        fc.constantFrom(...PRESCALERS),
        fc.constantFrom(1e6, 8e6, 12e6, 16e6),
        (kind, compare, prescaler, hertz) => {
          const tick = prescaler / hertz;
          const width = Number((highTicks(kind, compare, 65535) * tick).toPrecision(15));
          expect(comparesWithin(kind, width / tick, width / tick)).toEqual({ least: compare, greatest: compare });
        },
      ),
      { seed: 20261125, numRuns: 2000 },
    ));

  test('a limit that is a whole number of ticks on paper is not lost to rounding: 1504 us is 47 ticks of 32 us', () => {
    expect(comparesWithin('fast', 1504e-6 / 32e-6, 1504e-6 / 32e-6)).toEqual({ least: 46, greatest: 46 });
    expect(comparesWithin('fast', 1480e-6 / 32e-6, 1503e-6 / 32e-6).greatest).toBeLessThan(46);
  });
});

describe('pwm-timer: register', () => {
  test.each([
    [300, 8, 44],
    [256, 8, 0],
    [-1, 8, 255],
    [-1, 16, 65535],
    [65536, 16, 0],
  ])('%i stored in %i bits is %i', (written, bits, held) => {
    expect(registerValue(written, bits)).toBe(held);
  });

  test('in a bench: 300 written to an 8-bit timer gives the pulse of 44', () => {
    const run = timer({ prescaler: 256 }, [[0, 300]]);
    expect(distinct(ticks(run, 256, 0.01, 0.2).widths)).toEqual([45]);
  });
});

describe('pwm-timer: line', () => {
  test('law: pulse and frame on the line are whole ticks of prescaler / clock', () =>
    fc.assert(
      fc.property(
        mode,
        fc.constantFrom(...PRESCALERS),
        fc.integer({ min: 3, max: 200 }),
        fc.nat(200),
        fc.boolean(),
        (kind, prescaler, top, any, inverted) => {
          const compare = any % (top + 1);
          const numbers = { bits: 16 as const, mode: kind, prescaler, top, inverted };
          const whole = frameTicks(kind, top);
          const seconds = (8 * whole * prescaler) / HERTZ;
          const run = timer(numbers, [[0, compare]], [], seconds);
          const { widths, periods } = ticks(run, prescaler, (2 * whole * prescaler) / HERTZ, seconds);
          const high = lineTicks(numbers, compare);
          if (high === 0 || high === whole) {
            expect(widths).toEqual([]);
            expect(run.at('pwm.line', seconds)).toBe(high === 0 ? 0 : 1);
          } else {
            expect(distinct(widths)).toEqual([high]);
            expect(distinct(periods)).toEqual([whole]);
          }
        },
      ),
      { seed: 20261125, numRuns: 200 },
    ));

  test('tells its tick, its step and its pulse at compare 0, as the line shows them', () => {
    const plain = timer({ prescaler: 256 }, [[0, 10]]);
    expect(['tick', 'step', 'least'].map((port) => plain.at(`pwm.${port}`, 0.1))).toEqual([32e-6, 32e-6, 32e-6]);
    const phased = timer({ prescaler: 64, mode: 'phase-correct' }, [[0, 10]]);
    expect(['tick', 'step', 'least'].map((port) => phased.at(`pwm.${port}`, 0.1))).toEqual([8e-6, 16e-6, 0]);
    const inverted = timer({ prescaler: 256, inverted: true }, [[0, 10]]);
    expect(inverted.at('pwm.step', 0.1)).toBeCloseTo(-32e-6, 15);
    expect(inverted.at('pwm.least', 0.1)).toBeCloseTo(255 * 32e-6, 15);
    expect(inverted.at('pwm.pulse', 0.1)).toBeCloseTo(245 * 32e-6, 12);
  });

  test('no pulse before the first write; afterwards one each frame', () => {
    const run = timer({ prescaler: 256 }, [[0.05, 46]]);
    expect(ticks(run, 256, 0.001, 0.05).widths).toEqual([]);
    expect(run.word('pwm.line', 0.04)).toBe('low');
    expect(distinct(ticks(run, 256, 0.05, 0.2).widths)).toEqual([47]);
  });

  test('compare above top: fast PWM is always high; phase-correct, without a match, leaves the output as it was', () => {
    const fast = timer({ bits: 10, prescaler: 8 }, [[0, 2000]]);
    expect(distinct(ticks(fast, 8, 0.01, 0.2).widths)).toEqual([]);
    expect(fast.at('pwm.line', 0.2)).toBe(1);
    const phased = timer({ bits: 10, prescaler: 8, mode: 'phase-correct' }, [
      [0, 300],
      [0.1, 2000],
    ]);
    expect(phased.at('pwm.line', 0.2)).toBe(0);
  });
});

describe('pwm-timer: double buffer', () => {
  // Frames of 200 us: top 99 and prescaler 16 is not a divider, so top 199 at 1 us (prescaler 8, 8 MHz).
  const fast = { bits: 16, mode: 'fast', prescaler: 8, top: 199 };
  const frame = 200e-6;

  test('a write in mid-frame shows in the next frame, not in this one', () => {
    const run = timer(
      fast,
      [
        [0, 49],
        [10 * frame + 20e-6, 99],
      ],
      [],
      20 * frame,
    );
    const widths = ticks(run, 8, 8 * frame - 10e-6, 14 * frame).widths;
    expect(widths).toEqual([50, 50, 50, 100, 100, 100]);
    expect(run.at('pwm.latched', 10 * frame + 190e-6)).toBe(49);
    expect(run.at('pwm.latched', 11 * frame)).toBe(99);
  });

  test('of two writes in a frame only the last is seen', () => {
    const run = timer(
      fast,
      [
        [0, 49],
        [10 * frame + 20e-6, 150],
        [10 * frame + 60e-6, 99],
      ],
      [],
      20 * frame,
    );
    expect(ticks(run, 8, 8 * frame - 10e-6, 13 * frame).widths).toEqual([50, 50, 50, 100, 100]);
  });

  // Top 100 at 1 us: frames of 200 us. Phase-correct frames begin at top here, the pulse lies about bottom 100 us later.
  const phased = { bits: 16, prescaler: 8, top: 100 };

  test('phase-correct takes over at top: a pulse is never made of two compares (8161D table 15-4)', () => {
    const run = timer(
      { ...phased, mode: 'phase-correct' },
      [
        [0, 20],
        [10 * frame + 110e-6, 40],
      ],
      [],
      20 * frame,
    );
    expect(ticks(run, 8, 9 * frame, 13 * frame).widths).toEqual([40, 40, 80, 80]);
  });

  test('phase-and-frequency-correct takes over at bottom: one pulse has an old and a new half', () => {
    const run = timer(
      { ...phased, mode: 'phase-and-frequency-correct' },
      [
        [0, 20],
        [10 * frame + 110e-6, 40],
      ],
      [],
      20 * frame,
    );
    expect(ticks(run, 8, 9 * frame - 50e-6, 13 * frame - 50e-6).widths).toEqual([40, 40, 60, 80]);
  });
});

describe('pwm-timer: pin', () => {
  test.each([
    ['floating', 0, 'floating'],
    ['stuck-low', 2, 'low'],
    ['stuck-high', 3, 'high'],
    ['open', 4, 'floating'],
  ])('%s: the line stays there and pulses again afterwards', (_word, pin, line) => {
    const run = timer(
      { prescaler: 256 },
      [[0, 46]],
      [
        { at: 0.1, feed: 'pwm.pin', to: pin },
        { at: 0.15, feed: 'pwm.pin', to: 1 },
      ],
    );
    expect(run.word('pwm.line', 0.1)).toBe(line);
    expect(run.word('pwm.line', 0.149)).toBe(line);
    expect(distinct(ticks(run, 256, 0.16, 0.2).widths)).toEqual([47]);
    // A gap is no pulse; a short to the supply is one as long as it lasts, from the rise before it.
    const longest = Math.max(...run.samples('pwm.pulse').map(([, seconds]) => seconds));
    if (line === 'high') expect(longest).toBeGreaterThan(0.049);
    else expect(longest).toBeLessThan(47.001 * 32e-6);
    expect(run.at('pwm.pulse', 0.2)).toBeCloseTo(47 * 32e-6, 9);
  });
});

describe('pwm-timer: faults', () => {
  test.each([
    ['high', 0.1 + 0.5e-3, 1],
    ['low', 0.1 + 4e-3, 0],
  ])('stopped while the line is %s: it stays there; mended, it pulses', (_word, offset, level) => {
    // Frames begin at multiples of 8.192 ms: the last before 0.1 s at 98.304 ms.
    const at = 0.098304 + (offset - 0.1);
    const run = timer({ prescaler: 256 }, [[0, 46]], [{ at, fault: 'pwm', is: 'stopped', until: 0.15 }]);
    expect(run.samples('pwm.line', at + 1e-6).filter(([seconds]) => seconds < 0.15)).toEqual([]);
    expect(run.at('pwm.line', 0.149)).toBe(level);
    expect(distinct(ticks(run, 256, 0.16, 0.2).widths)).toEqual([47]);
  });

  test('stopped before it was ever started: no pulse, and the right ones once it is mended', () => {
    const run = timer({ prescaler: 256 }, [[0.02, 46]], [{ at: 0, fault: 'pwm', is: 'stopped', until: 0.1 }]);
    expect(ticks(run, 256, 0.001, 0.1).widths).toEqual([]);
    expect(distinct(ticks(run, 256, 0.1, 0.2).widths)).toEqual([47]);
  });

  test('stopped, and mended before the program has written: no pulse until it writes', () => {
    const run = timer({ prescaler: 256 }, [[0.1, 46]], [{ at: 0.01, fault: 'pwm', is: 'stopped', until: 0.05 }]);
    expect(ticks(run, 256, 0.001, 0.1).widths).toEqual([]);
    expect(distinct(ticks(run, 256, 0.1, 0.2).widths)).toEqual([47]);
  });

  test('a stopped counter is still stopped after a reset of the board', () => {
    const run = timer(
      { prescaler: 256 },
      [
        [0, 46],
        [0.08, 46],
      ],
      [
        { at: 0.04, fault: 'pwm', is: 'stopped' },
        { at: 0.05, feed: 'pwm.clock', to: 0 },
        { at: 0.06, feed: 'pwm.clock', to: HERTZ },
      ],
    );
    expect(ticks(run, 256, 0.05, 0.2).widths).toEqual([]);
  });

  test('prescaler-at-reset: ticks of the other divider, then of its own again', () => {
    const section = { prescaler: 256, 'reset-prescaler': 64 };
    const run = timer(section, [[0, 46]], [{ at: 0.05, fault: 'pwm', is: 'prescaler-at-reset', until: 0.1 }]);
    expect(distinct(ticks(run, 64, 0.06, 0.1).widths)).toEqual([47]);
    expect(distinct(ticks(run, 64, 0.06, 0.099).periods)).toEqual([256]);
    expect(distinct(ticks(run, 256, 0.11, 0.2).periods)).toEqual([256]);
    expect(run.at('pwm.tick', 0.075)).toBe(8e-6);
    expect(run.at('pwm.tick', 0.15)).toBe(32e-6);
  });

  test('prescaler-at-reset from power-on: wrong from the first pulse', () => {
    const run = timer({ prescaler: 256 }, [[0, 46]], [{ at: 0, fault: 'pwm', is: 'prescaler-at-reset' }]);
    expect(distinct(ticks(run, 64, 0, 0.2).widths)).toEqual([47]);
  });
});

describe('pwm-timer: reset', () => {
  test('without a clock there are no pulses; afterwards nothing until the program writes anew', () => {
    const run = timer(
      { prescaler: 256 },
      [
        [0, 46],
        [0.1, 50],
      ],
      [
        { at: 0.05, feed: 'pwm.clock', to: 0 },
        { at: 0.05, feed: 'pwm.pin', to: 0 },
        { at: 0.06, feed: 'pwm.clock', to: HERTZ },
        { at: 0.06, feed: 'pwm.pin', to: 1 },
      ],
    );
    expect(run.word('pwm.line', 0.055)).toBe('floating');
    expect(run.word('pwm.line', 0.08)).toBe('low');
    expect(ticks(run, 256, 0.06, 0.1).widths).toEqual([]);
    expect(distinct(ticks(run, 256, 0.1, 0.2).widths)).toEqual([51]);
  });
});
