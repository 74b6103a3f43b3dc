/**
 * The converter against the datasheets of the ATmega48/88/168/328 family: 2545T-05/11 p. 255 (result), 8271H-08/2014
 * p. 241 (times, clock), 8018A-03/06 p. 222 (input circuit), 8025I-02/09 p. 320 (bandgap).
 */
import { describe, expect, test } from 'vitest';
import { ADVISED_ADC_HERTZ, adc, countOf, heldVolts } from '../../models/adc.ts';
import { partKinds } from '../../models/index.ts';
import { rules } from '../../models/rules.ts';
import { benchFileSchema } from '../../sim/bench/load-bench.ts';
import { partsOf } from '../../sim/bench/schema.ts';
import { type Doing, rig } from '../models/rig.ts';

/** Instants, after each request, at which the results of two conversions came, in microseconds. */
function conversions(prescaler: number, hertz = 16e6): number[] {
  const script: Doing[] = [
    { at: 0, feed: 'adc.clock', to: hertz },
    { at: 0, feed: 'adc.supply', to: 5 },
    { at: 0.1, feed: 'adc.convert', to: 1 },
    { at: 0.2, feed: 'adc.convert', to: 2 },
  ];
  const run = rig({ adc: [adc, { prescaler }] }, script, 0.3);
  return run
    .published('adc.count', 0.05)
    .map(([seconds], index) => Math.round((seconds - 0.1 * (index + 1)) * 1e9) / 1e3);
}

describe('reference: counts', () => {
  // floor(volts x 1024 / 5), 2545T p. 255.
  test.each([
    [0.5, 102],
    [0.9, 184],
    [2.5, 512],
    [4.2, 860],
    [4.5, 921],
    [5.0, 1023],
    [1.1, 225],
  ])('%d V against 5 V reads %i', (volts, count) => {
    expect(countOf(volts, 5, 10)).toBe(count);
  });

  test('0x000 is ground, 0x3FF the reference less one step', () => {
    expect(countOf(0, 5, 10)).toBe(0);
    expect(countOf(5 - 5 / 1024, 5, 10)).toBe(1023);
    expect(countOf(5 - 5 / 1024 - 1e-6, 5, 10)).toBe(1022);
  });

  test.each([
    [1.0, 204],
    [1.1, 225],
    [1.2, 245],
  ])('the bandgap at %d V read against 5 V gives %i (8025I p. 320: 1.0, 1.1, 1.2 V)', (volts, count) => {
    expect(countOf(volts, 5, 10)).toBe(count);
    // And backwards, supply = 1126.4 / count for 1.1 V: within a step of 5 V.
    if (volts === 1.1) expect(Math.abs(1126.4 / count - 5)).toBeLessThan(5 / 225);
  });
});

describe('reference: conversion times', () => {
  test('at 125 kHz (16 MHz by 128): 200 us for the first, 104 us for the next', () => {
    expect(conversions(128)).toEqual([200, 104]);
  });

  test('at 250 kHz (16 MHz by 64): 100 us and 52 us', () => {
    expect(conversions(64)).toEqual([100, 52]);
  });

  test('the normal hold instant at 125 kHz is 12 us after the start, the first 108 us', () => {
    for (const [request, microseconds] of [
      [0.1, 108],
      [0.2, 12],
    ] as const) {
      const seen = [-0.1, 0.1].map((edge) => {
        const script: Doing[] = [
          { at: 0, feed: 'adc.clock', to: 16e6 },
          { at: 0, feed: 'adc.supply', to: 5 },
          { at: 0, feed: 'adc.signal', to: 1 },
          { at: 0.1, feed: 'adc.convert', to: 1 },
          { at: 0.2, feed: 'adc.convert', to: 2 },
          { at: request + (microseconds + edge) * 1e-6, feed: 'adc.signal', to: 4 },
        ];
        return rig({ adc: [adc, { prescaler: 128, series: '0 ohm' }] }, script, 0.3).at('adc.held', request + 0.01);
      });
      expect(seen).toEqual([4, 1]);
    }
  });

  test('above 200 kHz the bench file is warned of less than full resolution, at 125 kHz it is not', () => {
    const warned = (prescaler?: number) => {
      const bench = benchFileSchema.parse({
        bench: 'one controller',
        board: prescaler === undefined ? {} : { clock: '16 MHz', adc: { prescaler } },
        controllers: { left: { pulse: { neutral: '1500 us', full: '2000 us' } } },
      });
      return rules(partsOf(bench as Record<string, unknown>, partKinds)).some(
        ({ path }) => path.join('.') === 'board.adc.prescaler',
      );
    };
    expect(ADVISED_ADC_HERTZ).toBe(200e3);
    expect([warned(64), warned(128)]).toEqual([true, false]);
    // What stands where a file says nothing of clock and divider is within the datasheet too.
    expect(warned()).toBe(false);
  });
});

describe('reference: input circuit', () => {
  // 8018A p. 222: 14 pF behind 1 to 100 kohm; "approximately 10 kohm or less" is advised. A full-scale step, 1.5 clocks
  // at 125 kHz = 12 us: (10k + 100k) x 14 pF leaves 0.42 steps, within half a step; (100k + 100k) leaves 14.1.
  test.each([
    [10e3, 0.42],
    [100e3, 14.1],
  ])('a source of %d ohm behind 100 kohm leaves %d steps of a full-scale change', (source, steps) => {
    const left = 5 - heldVolts(0, 5, source + 100e3, 14e-12, 12e-6);
    expect(Math.abs((left * 1024) / 5 - steps)).toBeLessThan(0.05);
  });

  test('a whole step is closed to half a step in 7.62 time constants (ln 2048)', () => {
    const lag = 110e3 * 14e-12;
    const left = 5 - heldVolts(0, 5, 110e3, 14e-12, Math.log(2048) * lag);
    expect((left * 1024) / 5).toBeCloseTo(0.5, 9);
  });
});
