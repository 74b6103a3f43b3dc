/** Turns along one number, against functions whose turns are known in closed form. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Axis, type Reading, shortest, turnsAlong } from '../../../sim/campaign/why/turning.ts';

const SEED = 20261125;

/** Reads `gain(x)`, counting the runs. */
function reader(gain: (value: number) => number) {
  const runs = { count: 0 };
  const read = async (value: number): Promise<Reading> => {
    runs.count += 1;
    const found = gain(value);
    return { isTurned: found > 0, gain: found };
  };
  return { runs, read };
}

const scan = (base: number): number[] =>
  [0.1, 0.2, 0.4, 0.6, 0.8, 0.92, 0.97, 0.99, 1, 1.01, 1.03, 1.08, 1.2, 1.5, 2.5, 5, 10].map((share) => share * base);
const realAxis = (base: number): Axis => ({ base, points: scan(base), isInteger: false });

describe('turning: real numbers', () => {
  test('law: the two neighbours hold the root of any straight line between them', () =>
    fc.assert(
      fc.asyncProperty(
        fc.double({ min: 0.12, max: 9.5, noNaN: true }),
        fc.double({ min: 1e-6, max: 1e6, noNaN: true }),
        async (share, base) => {
          fc.pre(Math.abs(share - 1) > 1e-3);
          const root = share * base;
          const sign = Math.sign(root - base);
          const { read, runs } = reader((value) => (sign * (value - root)) / base);
          const turns = await turnsAlong(realAxis(base), read);
          const turn = share > 1 ? turns.up! : turns.down!;
          const [low, high] = share > 1 ? [turn.same, turn.turned] : [turn.turned, turn.same];
          expect(low).toBeLessThanOrEqual(root);
          expect(high).toBeGreaterThanOrEqual(root);
          expect(high - low).toBeLessThanOrEqual(2e-5 * Math.abs(root - base));
          expect(share > 1 ? turns.down : turns.up).toBeUndefined();
          expect(runs.count).toBeLessThan(40);
        },
      ),
      { seed: SEED, numRuns: 300 },
    ));

  test('law: a step without any margin is closed in on by halving', () =>
    fc.assert(
      fc.asyncProperty(fc.double({ min: 1.0001, max: 9.9, noNaN: true }), async (root) => {
        const read = async (value: number): Promise<Reading> => ({
          isTurned: value >= root,
          gain: Number.NEGATIVE_INFINITY,
        });
        const turn = (await turnsAlong(realAxis(1), read)).up!;
        expect(turn.same).toBeLessThan(root);
        expect(turn.turned).toBeGreaterThanOrEqual(root);
        expect(turn.turned - turn.same).toBeLessThanOrEqual(2e-5 * root);
      }),
      { seed: SEED, numRuns: 100 },
    ));

  // A window of 1 % between two numbers of the scan, 20 % and 50 % off: no scanned number lies in it.
  test('a window that the scan steps over is found by its margin, and where it turns back is said', async () => {
    const { read } = reader((value) => Math.min(value - 1.3, 1.31 - value));
    const { up } = await turnsAlong(realAxis(1), read);
    expect(up!.same).toBeLessThanOrEqual(1.3);
    expect(up!.turned).toBeGreaterThan(1.3);
    expect(up!.turned).toBeLessThan(1.31);
    expect(up!.back).toBe(1.5);
  });

  test('a window that the margin does not show is not found, and costs no more than the scan', async () => {
    const read = async (value: number): Promise<Reading> => ({ isTurned: value > 1.3 && value < 1.31, gain: -1 });
    expect(await turnsAlong(realAxis(1), read)).toEqual({});
  });

  test('what lies between the number and one that makes no difference is not run', async () => {
    const asked: number[] = [];
    const read = async (value: number): Promise<Reading> => {
      asked.push(value);
      return { isTurned: value >= 8, gain: Number.NEGATIVE_INFINITY, isInert: value < 8 };
    };
    const { up } = await turnsAlong(realAxis(1), read);
    expect(up!.short).toBe(8);
    expect(asked).not.toContain(1.01);
    expect(asked).not.toContain(0.99);
  });

  // What never gets power has no margin; no slope leads there. A tenth to ten times: 8 numbers each way and the middle.
  test('a level margin that ends where there is none is no peak, and costs no more than the scan', async () => {
    const { read, runs } = reader((value) => (value > 2 ? Number.NEGATIVE_INFINITY : -16));
    expect(await turnsAlong(realAxis(1), read)).toEqual({});
    expect(runs.count).toBe(17);
  });

  // A controller measures in steps of 1 ns: near the turn its margin is level for 6.5e-7 of the pulse.
  test.each([1.5, 2.1, 4.4])('a margin that moves in small steps is closed in on by its line: %d', async (root) => {
    const { read, runs } = reader((value) => Math.floor((value - root) * 1e6) * 1e-6 + 1e-6);
    const turn = (await turnsAlong(realAxis(1), read)).up!;
    expect(turn.turned - turn.same).toBeLessThanOrEqual(2e-5 * root);
    expect(Math.abs(turn.turned - root)).toBeLessThanOrEqual(2e-5 * root);
    // 17 of the scan; halving alone would take 17 more.
    expect(runs.count).toBeLessThanOrEqual(17 + 12);
  });

  test('beyond a turn only its way back is looked for', async () => {
    const asked: number[] = [];
    const read = async (value: number): Promise<Reading> => {
      asked.push(value);
      const gain = Math.min(value - 1.02, 1.06 - value);
      return { isTurned: gain > 0, gain };
    };
    expect((await turnsAlong(realAxis(1), read)).up!.back).toBe(1.08);
    expect(asked).not.toContain(2.5);
    expect(asked).not.toContain(5);
  });

  test('nothing is looked for beyond a turn that is known to be nearer', async () => {
    const { read } = reader((value) => value - 4);
    expect((await turnsAlong(realAxis(1), read, { up: 3 })).up).toBeUndefined();
    expect((await turnsAlong(realAxis(1), read, { up: 4.5 })).up).toBeDefined();
  });
});

describe('turning: integers', () => {
  test('law: the neighbours are one apart, as trying every integer finds them', () =>
    fc.assert(
      fc.asyncProperty(fc.integer({ min: 1, max: 900 }), fc.integer({ min: 2, max: 90 }), async (root, base) => {
        fc.pre(root > base && root <= base * 10);
        const axis: Axis = {
          base,
          isInteger: true,
          points: [...new Set([...scan(base).map(Math.round), base - 1, base + 1, base + 2])].sort((a, b) => a - b),
        };
        const { read } = reader((value) => value - root + 0.5);
        expect((await turnsAlong(axis, read)).up).toMatchObject({ same: root - 1, turned: root, short: root });
      }),
      { seed: SEED, numRuns: 300 },
    ));
});

describe('turning: shortest number in a range', () => {
  test.each([
    [35.99994e-6, 36.0001e-6, 36e-6],
    [8.0842077e6, 8.0850531e6, 8.085e6],
    [0.6977283, 0.6956, 0.697],
    [-0.010416297, -0.010520533, -0.0105],
    [46, 47, 47],
    [-0.5, 0.5, 0],
  ])('from %d to %d it is %d', (from, to, expected) => expect(shortest(from, to)).toBe(expected));

  test('law: it lies after the one end and not after the other', () =>
    fc.assert(
      fc.property(
        fc.double({ min: -1e6, max: 1e6, noNaN: true }),
        fc.double({ min: 1e-6, max: 1e3, noNaN: true }),
        fc.boolean(),
        (from, width, isUp) => {
          const to = isUp ? from + width : from - width;
          fc.pre(to !== from);
          const found = shortest(from, to);
          // Compared, not subtracted: the difference of two denormal numbers may vanish.
          const [low, high] = isUp ? [from, to] : [to, from];
          expect(isUp ? found > low && found <= high : found >= low && found < high).toBe(true);
        },
      ),
      { seed: SEED, numRuns: 2000 },
    ));
});
