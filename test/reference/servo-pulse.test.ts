/**
 * Servo pulses. No formal standard exists (none was found of IEC, ISO, SAE or IEEE); common practice is 1.5 +-0.5 ms about
 * every 20 ms (electronics.stackexchange 176739). Numbers of a maker's manual: 22 ms frames, "100 %" 1100 to 1900 us.
 */
import { describe, expect, test } from 'vitest';
import { receiver, stickPulse } from '../../models/receiver.ts';
import { measurePulses } from '../../sim/trace/measure.ts';
import { rig } from '../models/rig.ts';

const train = (section: object, stick = 0) => {
  const run = rig(
    { receiver: [receiver, section] },
    [
      { at: 0, feed: 'receiver.supply', to: 5 },
      { at: 0, say: 'receiver', form: 'stick', contents: { stick } },
    ],
    2.01,
  );
  return measurePulses(run.column('receiver.line'), { fromSeconds: 0.01, untilSeconds: 2.01 });
};

describe('reference: servo pulse', () => {
  test('preset: 1.5 ms every 20 ms, which is 7.5 % at 50 Hz', () => {
    const { widthSeconds, periodSeconds, duty } = train({});
    expect(widthSeconds?.mean).toBeCloseTo(1.5e-3, 9);
    expect(1 / periodSeconds!.mean).toBeCloseTo(50, 6);
    expect(100 * duty!).toBeCloseTo(7.5, 6);
  });

  test.each([
    [-1, 1000],
    [1, 2000],
  ])('full throw %i: %i us', (stick, microseconds) => {
    expect(train({}, stick).widthSeconds!.mean * 1e6).toBeCloseTo(microseconds, 3);
  });

  test('a throw of "100 %" that is 400 us: 1100 to 1900 us', () => {
    expect(stickPulse(1, 1.5e-3, 1.9e-3, 1.1e-3)).toBeCloseTo(1.9e-3, 12);
    expect(stickPulse(-1, 1.5e-3, 1.9e-3, 1.1e-3)).toBeCloseTo(1.1e-3, 12);
  });

  test("trap: 22 ms frames are 45.45 Hz, not the manual's own 44.45 Hz", () => {
    expect(1 / train({ frame: '22 ms' }).periodSeconds!.mean).toBeCloseTo(45.4545, 3);
  });
});
