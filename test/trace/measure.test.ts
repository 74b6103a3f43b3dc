import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { measureNumbers, measurePulses, pulsesOf, statistics } from '../../sim/trace/measure.ts';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Column } from '../../sim/trace/trace.ts';

const SEED = 20261125;
const level: SignalInfo = { name: 'pwm.level', dimension: 'count', shape: 'held', means: 'level' };
const held: SignalInfo = { name: 'adc.count', dimension: 'count', shape: 'held', means: 'count' };
const linear: SignalInfo = { name: 'pedal.voltage', dimension: 'voltage', shape: 'linear', means: 'voltage' };

function column(signal: SignalInfo, samples: readonly (readonly [number, number])[]): Column {
  const result = new Column(signal);
  for (const [seconds, value] of samples) result.append(seconds, value);
  return result;
}

/** Pulses of these widths, one every period, from `first` on. */
function train(widths: readonly number[], period: number, first = period): Column {
  const edges = widths.flatMap((width, index): [number, number][] => [
    [first + index * period, 1],
    [first + index * period + width, 0],
  ]);
  return column(level, [[0, 0], ...edges]);
}

describe('measure: pulses', () => {
  test('1.5 ms every 20 ms is 7.5 % duty (1.5 / 20, the servo pulse in neutral)', () => {
    const measured = measurePulses(train(Array(50).fill(0.0015), 0.02), { fromSeconds: 0, untilSeconds: 2 });
    expect(measured.widthSeconds?.mean).toBeCloseTo(0.0015, 12);
    expect(measured.periodSeconds?.mean).toBeCloseTo(0.02, 12);
    expect(measured.periodSeconds?.count).toBe(49);
    expect(measured.duty).toBeCloseTo(0.075, 12);
    expect(measured.jitterSeconds).toBeCloseTo(0, 12);
  });

  test('a pulse that the span cuts at either end does not count', () => {
    const pulses = train([1, 1, 1], 4, 2); // high in [2, 3], [6, 7], [10, 11]
    expect([...pulsesOf(pulses, { fromSeconds: 2.5, untilSeconds: 10.5 }).widthSeconds]).toEqual([1]);
    expect([...pulsesOf(pulses, { fromSeconds: 2.5, untilSeconds: 10.5 }).periodSeconds]).toEqual([4]);
    expect([...pulsesOf(pulses, { fromSeconds: 1, untilSeconds: 11 }).widthSeconds]).toEqual([1, 1, 1]);
  });

  test('a level that is high when the record starts has not risen', () => {
    const pulses = column(level, [
      [0, 1],
      [1, 0],
      [3, 1],
      [4, 0],
    ]);
    expect([...pulsesOf(pulses, { fromSeconds: 0, untilSeconds: 9 }).widthSeconds]).toEqual([1]);
    expect(pulsesOf(pulses, { fromSeconds: 0, untilSeconds: 9 }).periodSeconds.length).toBe(0);
    const late = column(level, [
      [1, 1],
      [2, 0],
    ]);
    expect(pulsesOf(late, { fromSeconds: 0, untilSeconds: 9 }).widthSeconds.length).toBe(0);
  });

  test('jitter is the longest less the shortest period, duty over whole periods only', () => {
    const pulses = column(level, [
      [0, 0],
      [1, 1],
      [2, 0],
      [11, 1],
      [12, 0],
      [23, 1],
      [29, 0],
    ]); // periods 10 and 12
    const measured = measurePulses(pulses, { fromSeconds: 0, untilSeconds: 30 });
    expect(measured.jitterSeconds).toBe(2);
    expect(measured.periodSeconds?.deviation).toBe(1);
    expect(measured.duty).toBeCloseTo(2 / 22, 12);
  });

  test('without pulses there is nothing to measure', () => {
    const measured = measurePulses(column(level, [[0, 0]]), { fromSeconds: 0, untilSeconds: 1 });
    expect(measured).toEqual({
      widthSeconds: undefined,
      periodSeconds: undefined,
      duty: undefined,
      jitterSeconds: undefined,
    });
    expect(measurePulses(new Column(level), { fromSeconds: 0, untilSeconds: 1 }).duty).toBeUndefined();
  });
});

describe('measure: statistics', () => {
  test('2, 4, 4, 4, 5, 5, 7, 9 have mean 5 and population deviation 2 (a common textbook example, from memory; by hand: 32 / 8 = 4)', () => {
    expect(statistics(Float64Array.of(2, 4, 4, 4, 5, 5, 7, 9))).toEqual({
      count: 8,
      min: 2,
      max: 9,
      mean: 5,
      deviation: 2,
    });
  });

  test('law: a shift moves the mean and leaves the deviation, however large it is against it', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 1000 }), { minLength: 1, maxLength: 50 }), (numbers) => {
        const plain = statistics(Float64Array.from(numbers))!;
        const shifted = statistics(Float64Array.from(numbers, (value) => value + 1e9))!;
        expect(shifted.mean - 1e9).toBeCloseTo(plain.mean, 5);
        expect(shifted.deviation).toBeCloseTo(plain.deviation, 4);
      }),
      { seed: SEED, numRuns: 300 },
    );
  });
});

describe('measure: numbers', () => {
  test('the mean of a held signal is weighted by time', () => {
    const measured = measureNumbers(
      column(held, [
        [0, 1],
        [1, 5],
        [4, 1],
      ]),
      { fromSeconds: 0, untilSeconds: 5 },
    );
    expect(measured).toEqual({
      min: 1,
      max: 5,
      mean: (1 + 15 + 1) / 5,
      distinctCount: 2,
      neverFalls: false,
      neverRises: false,
    });
  });

  test('the mean of a ramp is its middle, and of a triangle half its height, also when the span cuts it', () => {
    const triangle = column(linear, [
      [0, 0],
      [2, 4],
      [4, 0],
    ]);
    expect(measureNumbers(triangle, { fromSeconds: 0, untilSeconds: 2 })).toMatchObject({
      mean: 2,
      min: 0,
      max: 4,
      neverFalls: true,
      neverRises: false,
    });
    expect(measureNumbers(triangle, { fromSeconds: 0, untilSeconds: 4 })).toMatchObject({
      mean: 2,
      neverFalls: false,
      neverRises: false,
    });
    expect(measureNumbers(triangle, { fromSeconds: 0, untilSeconds: 1 })).toMatchObject({ max: 2, neverFalls: true });
    expect(measureNumbers(triangle, { fromSeconds: 1, untilSeconds: 3 })).toMatchObject({ mean: 3, min: 2, max: 4 });
    expect(measureNumbers(triangle, { fromSeconds: 3, untilSeconds: 6 })).toMatchObject({
      mean: 1 / 3,
      min: 0,
      max: 2,
      neverRises: true,
    });
  });

  test('a step of a linear signal counts for its ends and its direction', () => {
    const stepped = column(linear, [
      [0, 0],
      [1, 1],
      [1, 0.5],
      [2, 2],
    ]);
    expect(measureNumbers(stepped, { fromSeconds: 0, untilSeconds: 2 })).toMatchObject({
      neverFalls: false,
      max: 2,
      min: 0,
      mean: (0.5 + 1.25) / 2,
    });
    expect(measureNumbers(stepped, { fromSeconds: 1, untilSeconds: 2 })).toMatchObject({ neverFalls: true, min: 0.5 });
  });

  test('what is before the first sample is left out; a span wholly before it has no numbers', () => {
    const late = column(held, [[2, 7]]);
    expect(measureNumbers(late, { fromSeconds: 0, untilSeconds: 4 })).toMatchObject({ mean: 7, distinctCount: 1 });
    expect(measureNumbers(late, { fromSeconds: 0, untilSeconds: 1 })).toBeUndefined();
    expect(measureNumbers(new Column(held), { fromSeconds: 0, untilSeconds: 1 })).toBeUndefined();
    expect(measureNumbers(late, { fromSeconds: 3, untilSeconds: 3 })).toMatchObject({ mean: 7 });
  });

  test('law: the mean lies between the least and the greatest, and the mean over two halves is their mean', () => {
    const samples = fc.array(fc.tuple(fc.integer({ min: 0, max: 16 }), fc.integer({ min: -5, max: 5 })), {
      minLength: 1,
      maxLength: 30,
    });
    fc.assert(
      fc.property(samples, fc.constantFrom(held, linear), (unsorted, signal) => {
        const sorted = [[0, 0] as const, ...[...unsorted].sort((a, b) => a[0] - b[0])];
        const recorded = column(signal, sorted);
        const over = (fromSeconds: number, untilSeconds: number) =>
          measureNumbers(recorded, { fromSeconds, untilSeconds })!;
        const all = over(0, 16);
        expect(all.mean).toBeGreaterThanOrEqual(all.min - 1e-12);
        expect(all.mean).toBeLessThanOrEqual(all.max + 1e-12);
        expect(all.mean).toBeCloseTo((over(0, 8).mean + over(8, 16).mean) / 2, 9);
      }),
      { seed: SEED, numRuns: 500 },
    );
  });
});
