import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { distanceInside, driveOf, measuredSeconds, type PulseScale } from '../../../models/controller/pulse.ts';

const seeded = { seed: 20261125, numRuns: 1000 };
const microseconds = (min: number, max: number) => fc.integer({ min, max }).map((one) => one / 1e6);
const scale: PulseScale = { neutralSeconds: 1.5e-3, fullSeconds: 2e-3, reverseSeconds: 1e-3, deadSeconds: 20e-6 };

describe('controller: measured width', () => {
  test('a clock 2 % fast counts 1500 us as 1530 us', () => {
    expect(measuredSeconds(1.5e-3, 0.02, 0)).toBe(1.53e-3);
  });

  test.each([
    [1500, 1500],
    [1504, 1500],
    [1509.999, 1500],
    [1510, 1510],
  ])('in steps of 10 us, %d us is cut to %i us', (width, measured) => {
    expect(measuredSeconds(width / 1e6, 0, 10e-6) * 1e6).toBeCloseTo(measured, 9);
  });

  test('law: every whole number of steps is measured as itself', () =>
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 5000 }), fc.constantFrom(0.5, 1, 2, 4, 10, 32), (steps, step) => {
        const measured = measuredSeconds((steps * step) / 1e6, 0, step / 1e6);
        expect(Math.round(measured / (step / 1e6))).toBe(steps);
      }),
      seeded,
    ));

  test('law: never wider than the pulse, never a whole step narrower', () =>
    fc.assert(
      fc.property(microseconds(500, 2500), fc.integer({ min: 1, max: 50 }), (width, step) => {
        const measured = measuredSeconds(width, 0, step / 1e6);
        expect(measured).toBeLessThanOrEqual(width + 1e-11);
        expect(measured).toBeGreaterThan(width - step / 1e6 - 1e-11);
      }),
      seeded,
    ));
});

describe('controller: inside a range', () => {
  test('law: a value that stands on an edge on paper is inside, by 0', () =>
    fc.assert(
      fc.property(fc.integer({ min: 600, max: 2500 }), fc.integer({ min: 1, max: 300 }), (neutral, half) => {
        const [least, most] = [neutral / 1e6 - half / 1e6, neutral / 1e6 + half / 1e6];
        expect(distanceInside((neutral + half) / 1e6, least, most) + 0).toBe(0);
        expect(distanceInside((neutral - half) / 1e6, least, most) + 0).toBe(0);
        expect(distanceInside((neutral + half + 0.001) / 1e6, least, most)).toBeLessThan(0);
        expect(distanceInside(neutral / 1e6, least, most)).toBeCloseTo(half / 1e6, 12);
      }),
      seeded,
    ));
});

describe('controller: drive of a pulse', () => {
  test.each([
    [1500, 0],
    [1520, 0],
    [1480, 0],
    [1760, 0.5],
    [2000, 1],
    [2400, 1],
    [1240, -0.5],
    [1000, -1],
    [700, -1],
  ])('%i us gives %d: linear from the edge of the dead band to full, and to full reverse', (width, drive) => {
    expect(driveOf(width / 1e6, scale)).toBeCloseTo(drive, 9);
  });

  test('neutral at the low end: 1000 us stands, 1510 us is half, 2000 us is full; below there is nothing', () => {
    const low = { neutralSeconds: 1e-3, fullSeconds: 2e-3, reverseSeconds: Number.NaN, deadSeconds: 20e-6 };
    expect([900, 1000, 1020, 1510, 2000].map((width) => Math.round(driveOf(width / 1e6, low) * 1e9) / 1e9)).toEqual([
      0, 0, 0, 0.5, 1,
    ]);
  });

  test('law: zero on the whole of the dead band, its edges as well', () =>
    fc.assert(
      fc.property(
        fc.integer({ min: 1000, max: 2000 }),
        fc.integer({ min: 1, max: 100 }),
        fc.integer({ min: -100, max: 100 }),
        (neutral, dead, share) => {
          const numbers = {
            neutralSeconds: neutral / 1e6,
            fullSeconds: (neutral + 400) / 1e6,
            reverseSeconds: (neutral - 400) / 1e6,
            deadSeconds: dead / 1e6,
          };
          expect(driveOf((neutral + Math.trunc((dead * share) / 100)) / 1e6, numbers)).toBe(0);
          expect(driveOf((neutral + dead + 1) / 1e6, numbers)).toBeGreaterThan(0);
          expect(driveOf((neutral - dead - 1) / 1e6, numbers)).toBeLessThan(0);
        },
      ),
      seeded,
    ));

  test('law: never backwards, within -1 to 1, and a reversed channel is its mirror image', () =>
    fc.assert(
      fc.property(microseconds(500, 2500), microseconds(0, 50), (width, more) => {
        const drive = driveOf(width, scale);
        expect(Math.abs(drive)).toBeLessThanOrEqual(1);
        expect(driveOf(width + more, scale)).toBeGreaterThanOrEqual(drive);
        const mirrored = { ...scale, fullSeconds: 1e-3, reverseSeconds: 2e-3 };
        expect(driveOf(3e-3 - width, mirrored)).toBeCloseTo(drive, 9);
      }),
      seeded,
    ));
});
