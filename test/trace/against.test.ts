/** Recorded trains beside simulated ones: whatever was done to a train on purpose is what is told of it. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { compareTrains, type Train, trainOf } from '../../sim/trace/against.ts';
import { Column } from '../../sim/trace/trace.ts';

type Frame = readonly [rise: number, width: number];
function train(frames: readonly Frame[], fromSeconds = 0, untilSeconds = (frames.at(-1)?.[0] ?? 0) + 0.02): Train {
  return {
    riseSeconds: Float64Array.from(frames, ([rise]) => rise),
    fallSeconds: Float64Array.from(frames, ([rise, width]) => rise + width),
    fromSeconds,
    untilSeconds,
  };
}
/** Frames of 20 ms whose widths wander, so that each stretch is like no other. */
const frames = (count: number): Frame[] =>
  Array.from({ length: count }, (_, index) => [0.1 + index / 50, 1.5e-3 + 2e-6 * ((index * index) % 97)] as const);
const shifted = (list: readonly Frame[], by: number): Frame[] => list.map(([rise, width]) => [rise + by, width]);
const simulated = train(frames(100), 0, 2.2);
const compare = (recorded: Train, alignment: 'best-shift' | 'first-edge' | 'none' = 'best-shift') =>
  compareTrains(simulated, recorded, 10e-6, alignment)!;

describe('against: alignment', () => {
  test('law: a copy moved by any time agrees, and the shift is that time, by the best shift and by the first edge', () =>
    fc.assert(
      fc.property(fc.double({ min: -50, max: 50, noNaN: true }), (by) => {
        const recorded = train(shifted(frames(100), by), by, by + 2.2);
        for (const alignment of ['best-shift', 'first-edge'] as const) {
          const comparison = compare(recorded, alignment);
          expect(comparison.shiftSeconds).toBeCloseTo(by, 9);
          expect(comparison).toMatchObject({ holds: true, frameCount: 100, beyondCount: 0 });
        }
      }),
      { seed: 20261125, numRuns: 30 },
    ));

  test('a recording of the middle alone: the best shift finds it, the first edge does not', () => {
    const recorded = train(shifted(frames(100).slice(40, 80), -0.9), 0, 0.795);
    expect(compare(recorded)).toMatchObject({ holds: true, frameCount: 40, onlySimulatedCount: 0 });
    expect(compare(recorded).shiftSeconds).toBeCloseTo(-0.9, 9);
    expect(compare(recorded, 'first-edge').holds).toBe(false);
  });

  test('a recording that began long before: its frames before the start are not held against it', () => {
    const before: Frame[] = Array.from({ length: 50 }, (_, index) => [index / 50 - 1.9, 1e-3]);
    const recorded = train(
      [...before, ...frames(100)].map(([rise, width]) => [rise + 2, width]),
      0,
      4.2,
    );
    expect(compare(recorded)).toMatchObject({ frameCount: 100, onlySimulatedCount: 0 });
    expect(compare(recorded).shiftSeconds).toBeCloseTo(2, 9);
  });

  test('none: as they stand; where nothing falls together there is nothing to compare', () => {
    expect(compare(train(frames(100), 0, 2.2), 'none')).toMatchObject({ holds: true, shiftSeconds: 0 });
    expect(compareTrains(simulated, train(shifted(frames(10), 30), 30, 31), 10e-6, 'none')).toBeUndefined();
    expect(compareTrains(simulated, train([]), 10e-6, 'best-shift')).toBeUndefined();
  });
});

describe('against: what differs', () => {
  const disturbed = (change: (frame: Frame, index: number) => readonly Frame[]): Train =>
    train(
      frames(100).flatMap((frame, index) => [...change(frame, index)]),
      0,
      2.2,
    );

  test('one pulse 16 us longer: that frame, that difference, that instant', () => {
    const comparison = compare(disturbed(([rise, width], index) => [[rise, index === 30 ? width + 16e-6 : width]]));
    expect(comparison).toMatchObject({ beyondCount: 1, frameCount: 100, holds: false });
    expect(comparison.first).toMatchObject({ what: 'width', point: { frame: 31 } });
    expect(comparison.first!.seconds).toBeCloseTo(0.7, 9);
    const { largest, meanSeconds } = comparison.width;
    expect(largest!.recordedSeconds - largest!.simulatedSeconds).toBeCloseTo(16e-6, 12);
    expect(meanSeconds).toBeCloseTo(16e-8, 12);
  });

  test('the tolerance itself is not beyond it, a nanosecond more is', () => {
    const by = (extra: number) => compare(disturbed(([rise, width]) => [[rise, width + extra]]));
    expect(by(10e-6).holds).toBe(true);
    expect(by(10.001e-6)).toMatchObject({ holds: false, beyondCount: 100 });
  });

  test('a dropped frame and one too many are told as such, and the frames after them still agree', () => {
    const dropped = compare(disturbed((frame, index) => (index === 50 ? [] : [frame])));
    expect(dropped).toMatchObject({ onlySimulatedCount: 1, onlyRecordedCount: 0, frameCount: 99, beyondCount: 1 });
    expect(dropped.first).toMatchObject({ what: 'only-simulated' });
    const extra = compare(disturbed((frame, index) => (index === 50 ? [frame, [frame[0] + 0.013, 1e-3]] : [frame])));
    expect(extra).toMatchObject({ onlySimulatedCount: 0, onlyRecordedCount: 1, frameCount: 100, beyondCount: 1 });
    expect(extra.first!.seconds).toBeCloseTo(1.113, 9);
  });

  test('a clock 0.2 % slow: periods differ by 40 us each, the rises drift by 198 periods of that, and no frame is lost', () => {
    const slow = train(
      frames(100).map(([rise, width]) => [0.1 + (rise - 0.1) * 1.002, width * 1.002]),
      0,
      2.4,
    );
    const comparison = compare(slow, 'first-edge');
    expect(comparison).toMatchObject({ frameCount: 100, onlySimulatedCount: 0, onlyRecordedCount: 0 });
    expect(comparison.period.meanSeconds).toBeCloseTo(40e-6, 9);
    expect(comparison.offset.lastSeconds).toBeCloseTo(99 * 40e-6, 9);
    expect(comparison.first).toMatchObject({ what: 'period', point: { frame: 2 } });
  });

  test('a clock 5 % off over five seconds still pairs frame with frame, though the rises end 12 frames apart', () => {
    const long = frames(250);
    const slow = train(
      long.map(([rise, width]) => [0.1 + (rise - 0.1) * 1.05, width]),
      0,
      6,
    );
    const comparison = compareTrains(train(long, 0, 6), slow, 10e-6, 'first-edge')!;
    expect(comparison).toMatchObject({ frameCount: 250, onlySimulatedCount: 0, onlyRecordedCount: 0 });
    expect(comparison.width.meanSeconds).toBeCloseTo(0, 12);
  });
});

describe('against: the simulated train', () => {
  test('only high is high: a floating line is no pulse, nor is what the start or the end cuts', () => {
    const column = new Column({
      name: 'x',
      dimension: 'count',
      shape: 'held',
      means: '',
      modes: ['low', 'high', 'floating'],
    });
    for (const [at, value] of [
      [0, 2],
      [0.1, 0],
      [0.2, 1],
      [0.3, 0],
      [0.4, 1],
      [0.5, 2],
      [0.6, 1],
    ] as const)
      column.append(at, value);
    const { riseSeconds, fallSeconds } = trainOf(column, 1);
    expect([...riseSeconds]).toEqual([0.2, 0.4]);
    expect([...fallSeconds]).toEqual([0.3, 0.5]);
  });
});
