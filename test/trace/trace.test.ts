import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { isInMode, isLevel, type SignalInfo } from '../../sim/trace/signal.ts';
import { BYTES_PER_SAMPLE, Column, Trace } from '../../sim/trace/trace.ts';

const SEED = 20261125;
const held: SignalInfo = { name: 'left.pulse', dimension: 'time', shape: 'held', means: 'pulse' };
const linear: SignalInfo = { name: 'battery.voltage', dimension: 'voltage', shape: 'linear', means: 'voltage' };

function column(signal: SignalInfo, samples: readonly (readonly [number, number])[]): Column {
  const result = new Column(signal);
  for (const [seconds, value] of samples) result.append(seconds, value);
  return result;
}

describe('trace: a held signal', () => {
  const pulse = column(held, [
    [1, 10],
    [2, 20],
  ]);

  test('has no value before its first sample, keeps each until the next, and the last for ever', () => {
    expect([0, 0.999, 1, 1.5, 2, 99].map((seconds) => pulse.at(seconds))).toEqual([NaN, NaN, 10, 10, 20, 20]);
  });

  test('comes from its earlier value where it changes', () => {
    expect([1, 1.5, 2, 2.5].map((seconds) => pulse.before(seconds))).toEqual([NaN, 10, 10, 20]);
  });

  test('told twice at one instant it keeps the later value, and nothing of a change that was taken back', () => {
    expect([
      ...column(held, [
        [0, 1],
        [1, 2],
        [1, 3],
      ]),
    ]).toEqual([
      { seconds: 0, value: 1 },
      { seconds: 1, value: 3 },
    ]);
    expect([
      ...column(held, [
        [0, 1],
        [1, 2],
        [1, 1],
      ]),
    ]).toEqual([{ seconds: 0, value: 1 }]);
  });

  test('told its present value again it takes no room, be that no number', () => {
    expect(
      column(held, [
        [0, NaN],
        [1, NaN],
        [2, 0],
        [3, -0],
        [4, 0],
      ]).length,
    ).toBe(2);
  });
});

describe('trace: a linear signal', () => {
  test('runs straight from sample to sample and stays level after the last', () => {
    const voltage = column(linear, [
      [0, 10],
      [4, 12],
      [5, 11],
    ]);
    expect([0, 1, 4, 4.5, 5, 9].map((seconds) => voltage.at(seconds))).toEqual([10, 10.5, 12, 11.5, 11, 11]);
  });

  test('steps where it has two samples at one instant; of three the first and the last stay', () => {
    const voltage = column(linear, [
      [0, 0],
      [2, 4],
      [2, 7],
      [2, 9],
      [3, 9],
    ]);
    expect(voltage.length).toBe(4);
    expect([voltage.before(2), voltage.at(2), voltage.at(1)]).toEqual([4, 9, 2]);
    expect([voltage.before(3), voltage.before(1)]).toEqual([9, 2]);
  });

  test('holds where a line would lead to or from no number', () => {
    const voltage = column(linear, [
      [0, 1],
      [2, NaN],
      [4, 3],
      [6, Infinity],
      [8, 0],
    ]);
    expect([1, 3, 5, 7].map((seconds) => voltage.at(seconds))).toEqual([1, NaN, 3, Infinity]);
  });
});

describe('trace: as a whole', () => {
  test('law: the value at any instant is that of a plain search through the samples', () => {
    const samples = fc.array(fc.tuple(fc.integer({ min: 0, max: 40 }), fc.integer({ min: -3, max: 3 })), {
      minLength: 1,
      maxLength: 200,
    });
    fc.assert(
      fc.property(samples, fc.integer({ min: 0, max: 84 }), (unsorted, half) => {
        const sorted = [...unsorted].sort((a, b) => a[0] - b[0]);
        const seconds = half / 2;
        const last = sorted.filter(([at]) => at <= seconds).at(-1);
        const next = sorted.find(([at]) => at > seconds);
        expect(column(held, sorted).at(seconds)).toBe(last ? last[1] : NaN);
        const onLine =
          last && next ? last[1] + ((next[1] - last[1]) * (seconds - last[0])) / (next[0] - last[0]) : last?.[1];
        const found = column(linear, sorted).at(seconds);
        if (onLine === undefined) expect(found).toBeNaN();
        else expect(found).toBeCloseTo(onLine, 12);
      }),
      { seed: SEED, numRuns: 1000 },
    );
  });

  test('one hour of 20 signals that change 50 times a second with a clock takes a tenth of a byte a sample', () => {
    const trace = new Trace(Array.from({ length: 20 }, (_, index) => ({ ...held, name: `part.signal-${index}` })));
    for (let count = 0; count < 3600 * 50; count += 1) {
      for (let index = 0; index < 20; index += 1) trace.append(index, count / 50, count % 7);
    }
    expect(trace.sampleCount).toBe(3_600_000);
    // Beside the packed blocks, each column has an open part and room to unpack into.
    const open = 20 * (1024 + 64 + 1024) * BYTES_PER_SAMPLE;
    expect(trace.byteCount).toBeLessThanOrEqual(open + trace.sampleCount / 10);
    expect(trace.endSeconds).toBe(3599.98);
  });

  test('ends where the run ended, whatever changed last', () => {
    const trace = new Trace([held]);
    trace.append(0, 1, 5);
    expect(trace.endSeconds).toBe(1);
    trace.finish(6);
    expect(trace.endSeconds).toBe(6);
    expect(() => trace.finish(5)).toThrow('the run ended before its last sample');
  });

  test('a sample before the last one, or at no instant, is a broken invariant', () => {
    expect(() =>
      column(held, [
        [2, 0],
        [1, 0],
      ]),
    ).toThrow('a sample out of order');
    expect(() => column(held, [[NaN, 0]])).toThrow('a sample out of order');
    expect(() => column(linear, [[Infinity, 0]])).toThrow('a sample out of order');
    expect(() => new Trace([held, held])).toThrow('two signals with one name');
  });

  test('finds columns by name', () => {
    const trace = new Trace([held, linear]);
    expect(trace.column('battery.voltage')).toBe(trace.columns[1]);
    expect(trace.column('battery')).toBeUndefined();
  });
});

describe('trace: what a signal is', () => {
  test('a level is a plain count without modes whose name says so', () => {
    const level: SignalInfo = { name: 'pwm.level', dimension: 'count', shape: 'held', means: 'level' };
    expect(isLevel(level)).toBe(true);
    expect(isLevel({ ...level, name: 'pwm.levels' })).toBe(false);
    expect(isLevel({ ...level, modes: ['low', 'high'] })).toBe(false);
    expect(isLevel({ ...level, dimension: 'voltage' })).toBe(false);
  });

  test('being in a mode is being in one nested in it, by whole words', () => {
    const mode: SignalInfo = { ...held, name: 'left.mode', modes: ['armed', 'armed.driving', 'armed-late'] };
    expect([0, 1, 2, 3, NaN].map((value) => isInMode(mode, value, 'armed'))).toEqual([true, true, false, false, false]);
    expect(isInMode(mode, 0, 'armed.driving')).toBe(false);
  });
});
