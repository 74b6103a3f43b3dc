import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { adc, conversionHalfClocks, countOf, heldVolts } from '../../models/adc.ts';
import { type Doing, rig } from './rig.ts';

const seeded = { seed: 20261125, numRuns: 500 };
const real = (min: number, max: number) => fc.double({ min, max, noNaN: true });
/** 8 MHz by 64: 125 kHz, 8 us a clock. */
const clocked: Doing[] = [
  { at: 0, feed: 'adc.clock', to: 8e6 },
  { at: 0, feed: 'adc.supply', to: 5 },
];
const ask = (at: number): Doing => ({ at, feed: 'adc.convert', to: at });
const pin = (at: number, to: number): Doing => ({ at, feed: 'adc.signal', to });
const converter = (script: readonly Doing[], section: object = {}, seconds = 2) =>
  rig({ adc: [adc, { prescaler: 64, series: '0 ohm', ...section }] }, [...clocked, ...script], seconds);
/** The end of each conversion in microseconds, and the count that it gave. */
const results = (run: ReturnType<typeof converter>, fromSeconds = 0) =>
  run.published('adc.count', fromSeconds).map(([seconds, count]) => [Math.round(seconds * 1e6), count]);

describe('adc: count', () => {
  test('law: floor(volts x 2^bits / reference), clipped, in whole numbers (2545T section 24.7)', () =>
    fc.assert(
      fc.property(
        fc.integer({ min: 0, max: 8000 }),
        fc.integer({ min: 1000, max: 6000 }),
        fc.integer({ min: 6, max: 16 }),
        (millivolts, reference, bits) => {
          const exact = (BigInt(millivolts) * 2n ** BigInt(bits)) / BigInt(reference);
          const clipped = exact >= 2n ** BigInt(bits) ? 2n ** BigInt(bits) - 1n : exact;
          expect(countOf(millivolts / 1000, reference / 1000, bits)).toBe(Number(clipped));
        },
      ),
      seeded,
    ));

  test.each([5, 4.096, 3.3, 2.56, 1.1])('every step of a %d V reference belongs to its own count', (reference) => {
    for (let step = 0; step < 1024; step += 1) expect(countOf((step * reference) / 1024, reference, 10)).toBe(step);
  });

  test('below ground and above the reference it stands at its ends', () => {
    expect(countOf(-1, 5, 10)).toBe(0);
    expect(countOf(5, 5, 10)).toBe(1023);
    expect(countOf(9, 5, 10)).toBe(1023);
  });

  test('an offset shifts the steps, and the ends stay', () => {
    expect(countOf(2.5, 5, 10, 2)).toBe(514);
    expect(countOf(5, 5, 10, -2)).toBe(1022);
    expect(countOf(6, 5, 10, -2)).toBe(1023);
    expect(countOf(0, 5, 10, -2)).toBe(0);
  });
});

describe('adc: sample and hold', () => {
  test('law: two half times equal one', () =>
    fc.assert(
      fc.property(real(0, 5), real(0, 5), real(0, 1e6), real(1e-6, 1e-3), (before, source, ohms, seconds) => {
        const half = heldVolts(before, source, ohms, 14e-12, seconds / 2);
        expect(heldVolts(half, source, ohms, 14e-12, seconds / 2)).toBeCloseTo(
          heldVolts(before, source, ohms, 14e-12, seconds),
          9,
        );
      }),
      seeded,
    ));

  test('one time constant closes 63.2 % of the gap (1 - 1/e); no resistance closes it all', () => {
    expect(heldVolts(0, 5, 100e3, 14e-12, 1.4e-6)).toBeCloseTo(5 * (1 - Math.exp(-1)), 12);
    expect(heldVolts(0, 5, 0, 14e-12, 1e-9)).toBe(5);
  });

  test('a high source resistance leaves a part of the last sample in the next', () => {
    const script = [pin(0, 0), { at: 0, feed: 'adc.impedance', to: 1e6 }, ask(0.1), pin(0.2, 5), ask(0.3), ask(0.4)];
    const run = converter(script);
    // 1 Mohm x 14 pF is 14 us; the input is connected for 1.5 clocks of 8 us.
    const first = 5 * (1 - Math.exp(-12 / 14));
    expect(run.at('adc.held', 0.31)).toBeCloseTo(first, 9);
    expect(run.at('adc.held', 0.41)).toBeCloseTo(5 - (5 - first) * Math.exp(-12 / 14), 9);
  });
});

describe('adc: times', () => {
  test('in ADC clocks: 25 for the first conversion, 13 for the next; held after 13.5 and 1.5 (8271H p. 241)', () => {
    expect(conversionHalfClocks(true)).toEqual({ hold: 27, result: 50 });
    expect(conversionHalfClocks(false)).toEqual({ hold: 3, result: 26 });
  });

  test('in a bench at 125 kHz: 200 us, then 104 us, and 200 us again after the clock was away', () => {
    const run = converter([
      pin(0, 2.5),
      ask(0.1),
      ask(0.2),
      { at: 0.3, feed: 'adc.clock', to: 0 },
      { at: 0.35, feed: 'adc.clock', to: 8e6 },
      ask(0.4),
    ]);
    expect(results(run, 0.01)).toEqual([
      [100200, 512],
      [200104, 512],
      [400200, 512],
    ]);
  });

  test.each([
    ['first', 0.1, 108],
    ['normal', 0.2, 12],
  ])(
    'the %s conversion takes what stands at the pin at its hold instant, and nothing later',
    (_which, at, microseconds) => {
      const held = at + microseconds * 1e-6;
      const run = (edge: number) =>
        converter([pin(0, 1), ask(0.1), ask(0.2), pin(held + edge, 4)]).at('adc.count', at + 0.01);
      expect(run(-0.5e-6)).toBe(819);
      expect(run(0.5e-6)).toBe(204);
    },
  );

  test('a conversion starts at an edge of the ADC clock, which runs free', () => {
    // 0.2 s and 3 us is 0.375 of a clock past an edge: the next one comes 5 us later.
    const run = converter([pin(0, 2.5), ask(0.1), ask(0.2 + 3e-6)]);
    expect(results(run, 0.2)).toEqual([[200000 + 8 + 104, 512]]);
  });

  test('a request during a conversion is not heard', () => {
    expect(results(converter([pin(0, 2.5), ask(0.1), ask(0.1 + 50e-6)]), 0.05)).toEqual([[100200, 512]]);
  });

  test('the clock stops in mid-conversion: no result comes', () => {
    const run = converter([pin(0, 2.5), ask(0.1), { at: 0.1 + 50e-6, feed: 'adc.clock', to: 0 }]);
    expect(results(run, 0.05)).toEqual([]);
  });
});

describe('adc: reference', () => {
  test.each([
    ['rail', 512],
    ['internal', 1023],
    ['4.096 V', 625],
  ])('%s: 2.5 V reads %i', (reference, count) => {
    expect(converter([pin(0, 2.5), ask(0.1)], { reference }).at('adc.count', 1)).toBe(count);
  });

  test('the rail as reference: pin and rail sinking together give the same count (ratiometric)', () => {
    const run = converter([pin(0, 2), ask(0.1), { at: 0.5, feed: 'adc.supply', to: 4 }, pin(0.5, 1.6), ask(0.6)]);
    expect(run.at('adc.count', 0.4)).toBe(409);
    expect(run.at('adc.count', 1)).toBe(409);
  });
});

describe('adc: open input', () => {
  const open: Doing = { at: 0, feed: 'adc.impedance', to: Number.POSITIVE_INFINITY };
  const asks = Array.from({ length: 900 }, (_, index) => ask(0.01 + index / 500));

  test.each([
    ['up', 1023],
    ['down', 0],
  ])('with a pull resistor %s it reads %i whatever the sensor gives', (pull, count) => {
    const run = converter([open, pin(0, 2.5), ask(0.1)], { pull });
    expect(run.at('adc.count', 1)).toBe(count);
  });

  test('without one it drifts, between ground and supply, and does not follow the sensor', () => {
    const run = converter([open, pin(0, 5), ...asks], {}, 2);
    const counts = run.samples('adc.count', 0.5).map(([, value]) => value);
    expect(new Set(counts).size).toBeGreaterThan(50);
    expect(Math.max(...counts)).toBeLessThan(1023);
    expect(Math.min(...counts)).toBeGreaterThan(0);
  });
});

describe('adc: faults', () => {
  test('reference-wrong: the internal reference is taken, and left again', () => {
    const run = converter([
      pin(0, 0.55),
      ask(0.1),
      { at: 0.2, fault: 'adc', is: 'reference-wrong', until: 0.4 },
      ask(0.3),
      ask(0.5),
    ]);
    expect(run.at('adc.count', 0.15)).toBe(112);
    expect(run.at('adc.count', 0.35)).toBe(512);
    expect(run.at('adc.count', 0.6)).toBe(112);
  });

  test('channel-stuck: the last sample again and again, then the pin again', () => {
    const run = converter([
      pin(0, 1),
      ask(0.1),
      { at: 0.2, fault: 'adc', is: 'channel-stuck', until: 0.4 },
      pin(0.25, 4),
      ask(0.3),
      ask(0.5),
    ]);
    expect(run.at('adc.count', 0.35)).toBe(204);
    expect(run.at('adc.count', 0.6)).toBe(819);
  });

  test('a fault entered while the board is off is there when it runs', () => {
    const run = rig(
      { adc: [adc, { prescaler: 64 }] },
      [
        { at: 0, fault: 'adc', is: 'reference-wrong' },
        { at: 0, feed: 'adc.supply', to: 5 },
        pin(0, 0.55),
        { at: 0.1, feed: 'adc.clock', to: 8e6 },
        ask(0.2),
      ],
      1,
    );
    expect(run.at('adc.count', 1)).toBe(512);
  });
});
