/** A step ends where a part meets its limit, wherever steps would have ended by themselves. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { Continuum } from '../../sim/kernel/continuum.ts';

/** How far beyond a limit is allowed. */
const WINDOW = 1e-6;

interface Meeting {
  readonly seconds: number;
  readonly value: number;
}

interface Course {
  readonly met: readonly Meeting[];
  /** All ends of steps, in seconds. */
  readonly ends: readonly number[];
}

/** Runs something that starts at 0 with a speed and is accelerated by its place; `limit` may be met once. */
function move(speed: number, acceleration: (place: number) => number, limit: number, endSeconds: number): Course {
  const now = new Float64Array(1);
  const continuum = new Continuum(new Float64Array(1));
  const { x, dx } = continuum;
  const met: Meeting[] = [];
  const ends: number[] = [];
  continuum.join('mass', {
    states: [
      { name: 'place', start: 0, scale: 1 },
      { name: 'speed', start: speed, scale: speed },
    ],
    slope: () => {
      dx[0] = x[1]!;
      dx[1] = acceleration(x[0]!);
    },
    excess: () => {
      if (met.length === 0) continuum.excess[0] = Math.max(continuum.excess[0]!, (x[0]! - limit) / WINDOW);
    },
    settle: () => {
      if (met.length === 0 && x[0]! >= limit) met.push({ seconds: now[0]!, value: x[0]! });
      return false;
    },
  });
  continuum.close();
  while (now[0]! < endSeconds) {
    continuum.advance(now);
    now[0] = continuum.instants[1]!;
    ends.push(now[0]);
  }
  return { met, ends };
}

/** A mass on a spring: x = sin(w t). */
const swing = (pace: number, limit: number, endSeconds: number): Course =>
  move(pace, (place) => -pace * pace * place, limit, endSeconds);

/** A stone: x = v t - t^2 / 2, which the rule follows without error, so that its steps hang on nothing but their own growth. */
const toss = (speed: number, limit: number, endSeconds: number): Course => move(speed, () => -1, limit, endSeconds);

describe('continuum: limits', () => {
  test('x = sin(w t) meets a limit at asin(limit) / w, within what is allowed, whatever the limit and the pace', () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.05, max: 0.98, noNaN: true }),
        fc.double({ min: 0.5, max: 200, noNaN: true }),
        (limit, pace) => {
          const { met } = swing(pace, limit, 2 / pace);
          expect(met).toHaveLength(1);
          expect(met[0]!.value - limit).toBeGreaterThanOrEqual(0);
          expect(met[0]!.value - limit).toBeLessThanOrEqual(WINDOW);
          // The states themselves may be off by what errors add up to: some ten steps of 1e-5 of a tenth of the scale and more.
          const slope = pace * Math.sqrt(1 - limit * limit);
          expect(Math.abs(met[0]!.seconds - Math.asin(limit) / pace)).toBeLessThan(1e-4 / slope);
        },
      ),
      { seed: 7, numRuns: 200 },
    );
  });

  test('a limit that is passed and left again within what would be one step is met on the way there', () => {
    const { ends } = toss(1, 1e9, 2);
    const last = ends.findIndex((end) => end > 1);
    const start = ends[last - 1]!;
    const length = ends[last]! - start;
    expect(length).toBeGreaterThan(0.01);
    // The top lies at 0.6 of that step; the stone is above the limit from 0.3 to 0.9 of it.
    const speed = start + 0.6 * length;
    const { met } = toss(speed, 0.5 * (speed * speed - (0.3 * length) ** 2), 2);
    expect(met).toHaveLength(1);
    expect(met[0]!.seconds).toBeCloseTo(start + 0.3 * length, 4);
  });

  test('a limit that is not met costs nothing: steps end as they would without it', () => {
    expect(swing(3, 1.5, 4).ends).toEqual(swing(3, 1e9, 4).ends);
  });
});

describe('continuum: what follows a pair', () => {
  test('is exact between the ends of a step too, within a transient much shorter than the step', () => {
    const now = new Float64Array(1);
    const continuum = new Continuum(new Float64Array(1));
    const { x, dx } = continuum;
    let input = 0;
    continuum.join('coil', {
      states: [
        { name: 'current', start: 0, scale: 10, isPairedWithNext: true },
        { name: 'speed', start: 0, scale: 10 },
        { name: 'way', start: 0, scale: 1 },
      ],
      slope: () => {
        dx[0] = 1000 * (input - x[0]!);
        dx[1] = x[0]! - x[1]!;
        dx[2] = 5 * x[0]!;
      },
    });
    continuum.close();
    const goTo = (seconds: number): void => {
      for (;;) {
        const end = continuum.instants[1]!;
        if (continuum.isUnderWay && end > seconds) break;
        if (continuum.isUnderWay) now[0] = end;
        continuum.advance(now);
      }
      now[0] = seconds;
    };
    goTo(1);
    input = 10;
    continuum.disturb();
    continuum.advance(now);
    // One step holds all of it; i = 10 (1 - exp(-1000 t)), and the way is five times its integral.
    expect(continuum.instants[1]! - 1).toBeGreaterThan(4e-3);
    for (const after of [2e-4, 5e-4, 1e-3, 2e-3, 3.7e-3]) {
      now[0] = 1 + after;
      continuum.refresh(now);
      expect(x[0]).toBeCloseTo(10 * (1 - Math.exp(-1000 * after)), 6);
      expect(x[2]).toBeCloseTo(50 * (after - (1 - Math.exp(-1000 * after)) / 1000), 6);
    }
  });
});
