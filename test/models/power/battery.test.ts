/** Battery: voltage by charge, resistance, slow drop, protection, and each fault and step. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { battery, cellVolts, curveOf, leftWhenEmpty, peukertAmps, seriesOhms } from '../../../models/battery.ts';
import { harness } from '../../../models/harness.ts';
import { rail } from '../../../models/rail.ts';
import { type Doing, rig } from '../rig.ts';

const connect: Doing = { at: 0, say: 'battery', form: 'connect' };
/** A linear regulator takes from the harness what is taken from it: the load of these tests. */
const load = (at: number, amps: number): Doing => ({ at, say: 'rail', form: 'load', contents: { load: amps } });
/** 12 cells with 40 mohm, no slow part unless asked for, and a harness without resistance. */
const plain = {
  cells: 12,
  capacity: '18 Ah',
  charge: '100 %',
  resistance: '40 mohm',
  polarisation: '0 ohm',
  peukert: 1,
};
const run = (section: object, script: readonly Doing[], seconds: number) =>
  rig(
    {
      battery: [battery, { ...plain, ...section }],
      harness: [harness, { main: { length: '0 m' } }],
      rail: [
        rail,
        {
          load: '0 A',
          quiescent: '0 A',
          limit: '100 A',
          dropout: '0 V',
          voltage: '1 V',
          thermal: { resistance: '0.001 K/W' },
        },
      ],
    },
    [connect, ...script],
    seconds,
  );

const CHEMISTRIES = ['lead-acid', 'lithium-iron-phosphate', 'lithium-ion', 'nickel-metal-hydride'] as const;

describe('battery: open circuit', () => {
  test('law: more charge never gives less voltage, in every chemistry', () => {
    const share = fc.double({ min: 0, max: 1, noNaN: true });
    fc.assert(
      fc.property(fc.constantFrom(...CHEMISTRIES), share, share, (chemistry, one, other) => {
        const curve = curveOf(chemistry);
        const [low, high] = [Math.min(one, other), Math.max(one, other)];
        expect(cellVolts(low, curve)).toBeLessThanOrEqual(cellVolts(high, curve));
      }),
      { seed: 20261125, numRuns: 500 },
    );
  });

  test.each(CHEMISTRIES)('%s: at the terminals of a battery without load, by charge and by its step', (chemistry) => {
    const curve = curveOf(chemistry);
    const found = run(
      { chemistry, charge: '80 %' },
      [{ at: 1, say: 'battery', form: 'charge', contents: { charge: 0.3 } }],
      2,
    );
    expect(found.at('battery.voltage', 0.9)).toBeCloseTo(12 * cellVolts(0.8, curve), 9);
    expect(found.at('battery.voltage', 1.5)).toBeCloseTo(12 * cellVolts(0.3, curve), 9);
  });

  test('a measured curve takes the place of the chemistry', () => {
    const found = run(
      {
        cells: 1,
        curve: [
          ['0 %', '3 V'],
          ['50 %', '3.5 V'],
          ['100 %', '4.2 V'],
        ],
        charge: '75 %',
      },
      [],
      1,
    );
    expect(found.at('battery.voltage', 0.5)).toBeCloseTo(3.85, 9);
  });

  test('below empty the voltage falls to nothing and stays there', () => {
    expect([0.1, 0, -0.015, -0.03, -1].map(leftWhenEmpty)).toEqual([1, 1, 0.5, 0, 0]);
    const found = run({ charge: '0.1 %', capacity: '1 Ah' }, [load(0.1, 10)], 30);
    expect(found.at('battery.charge', 29)).toBe(0);
    expect(found.at('battery.voltage', 29)).toBeLessThan(0.1);
  });
});

describe('battery: under load', () => {
  test('the series resistance drops I R at once, half as much again at half charge when empty has twice', () => {
    const full = run({}, [load(1, 20)], 1.002);
    expect(full.at('battery.voltage', 0.999) - full.at('battery.voltage', 1.001)).toBeCloseTo(0.8, 3);
    const half = run({ charge: '50 %' }, [load(1, 20)], 1.002);
    expect(half.at('battery.voltage', 0.999) - half.at('battery.voltage', 1.001)).toBeCloseTo(1.2, 3);
  });

  test('cold raises it by 1 % a kelvin, by the step and by the bench', () => {
    expect(seriesOhms(0.04, 2, 1, 0.01, -5)).toBeCloseTo(0.052, 12);
    const found = run(
      {},
      [load(0.5, 20), { at: 1, say: 'battery', form: 'temperature', contents: { temperature: -5 } }],
      2,
    );
    expect(found.at('battery.voltage', 0.999) - found.at('battery.voltage', 1.001)).toBeCloseTo(20 * 0.012, 3);
  });

  test('the slow part closes 63.2 % of the way in one time constant, and recovers alike', () => {
    const found = run(
      { polarisation: '20 mohm', recovery: '2 s', capacity: '10000 Ah' },
      [load(1, 30), load(11, 0)],
      14,
    );
    expect(found.at('battery.slow', 3)).toBeCloseTo(0.6 * (1 - Math.exp(-1)), 3);
    expect(found.at('battery.slow', 13)).toBeCloseTo(found.at('battery.slow', 11) * Math.exp(-1), 3);
  });

  test("charge falls by the current's share of the capacity, by more above the rated current where Peukert's law holds", () => {
    const none = run({}, [load(0, 18)], 36);
    expect(none.at('battery.charge', 36)).toBeCloseTo(0.99, 6);
    const some = run({ peukert: 1.2 }, [load(0, 18)], 36);
    expect(1 - some.at('battery.charge', 36)).toBeCloseTo(0.01 * 20 ** 0.2, 6);
    expect(peukertAmps(0.5, 0.9, 1.2)).toBe(0.5);
  });
});

describe('battery: faults', () => {
  const volts = (section: object, is: string, amount?: number, amps = 20): [number, number, number] => {
    const found = run(
      section,
      [load(0.5, amps), { at: 1, fault: 'battery', is, until: 2, ...(amount === undefined ? {} : { amount }) }],
      3,
    );
    return [found.at('battery.voltage', 0.99), found.at('battery.voltage', 1.5), found.at('battery.voltage', 2.5)];
  };

  test.each([
    ['weak-cell', 1.2, 1.2],
    ['sulphated', 3, 20 * 0.04 * 2],
    ['terminal-loose', 0.05, 20 * 0.05],
  ])('%s of %f takes %f V while it lasts', (is, amount, lost) => {
    const [before, during, after] = volts({ capacity: '10000 Ah' }, is, amount);
    expect(before - during).toBeCloseTo(lost, 3);
    expect(after).toBeCloseTo(before, 3);
  });

  test('disconnected: nothing at the terminals, and the switch cannot help until the plug is back', () => {
    const found = run(
      {},
      [
        { at: 1, fault: 'battery', is: 'disconnected', until: 3 },
        { at: 2, say: 'battery', form: 'connect' },
      ],
      4,
    );
    expect([0.9, 1.5, 2.5, 3.5].map((at) => found.word('battery.mode', at))).toEqual([
      'connected',
      'torn',
      'torn',
      'connected',
    ]);
    expect(found.at('battery.voltage', 2.5)).toBe(0);
    expect(found.at('battery.voltage', 3.5)).toBeGreaterThan(25);
  });

  test('the step disconnect takes the voltage away and connect brings it back', () => {
    const found = run(
      {},
      [
        { at: 1, say: 'battery', form: 'disconnect' },
        { at: 2, say: 'battery', form: 'connect' },
      ],
      3,
    );
    expect(found.words('battery.mode', 0.5)).toEqual(['disconnected', 'connected']);
    expect(found.at('battery.voltage', 1.5)).toBe(0);
  });
});

describe('battery: protection board', () => {
  const protection = { 'over-current': '50 A', after: '20 ms', 'under-voltage': '1.5 V' };

  test('opens after an over-current has lasted, not on a shorter one, and stays open until connected by hand', () => {
    const found = run(
      { protection },
      [load(1, 60), load(1.015, 10), load(2, 60), { at: 4, say: 'battery', form: 'connect' }, load(3, 0)],
      5,
    );
    expect(found.word('battery.mode', 1.5)).toBe('connected');
    const [opened] = found.samples('battery.mode', 1.5)[0]!;
    expect(opened).toBeCloseTo(2.02, 9);
    expect(found.at('battery.voltage', 3.5)).toBe(0);
    expect(found.word('battery.mode', 4.5)).toBe('connected');
    expect(found.assembly.findings.map(({ code }) => code)).toEqual(['protection']);
  });

  test('opens on under-voltage of the mean cell', () => {
    const found = run({ protection, resistance: '200 mohm' }, [load(1, 45)], 2);
    // 25.3 V less 9 V are 16.3 V, or 1.36 V a cell.
    expect(found.word('battery.mode', 1.1)).toBe('tripped');
  });

  test('opens at the instant at which the slow part of its drop has taken what was left', () => {
    const found = run(
      {
        protection,
        curve: [
          ['0 %', '2.1 V'],
          ['100 %', '2.1 V'],
        ],
        'resistance-empty': 1,
        resistance: '40 mohm',
        polarisation: '150 mohm',
        recovery: '30 s',
      },
      [load(1, 45)],
      60,
    );
    // 25.2 V - 1.8 V - 6.75 V (1 - exp(-t / 30 s)) = 18 V.
    const [opened] = found.samples('battery.mode', 1.5)[0]!;
    expect(opened).toBeCloseTo(1 - 30 * Math.log(1 - 5.4 / 6.75), 2);
  });

  test('closes again by itself a second after it opened where its rule says so', () => {
    const found = run({ protection: { ...protection, reconnect: 'load-removed' } }, [load(1, 60), load(1.5, 5)], 4);
    expect(found.words('battery.mode', 0.5)).toEqual(['tripped', 'connected']);
    const [, [closed]] = found.samples('battery.mode', 0.5) as [[number, number], [number, number]];
    expect(closed).toBeCloseTo(found.samples('battery.mode', 0.5)[0]![0] + 1, 6);
  });
});
