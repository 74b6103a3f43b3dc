/** Current into the battery, from a cart that is pushed downhill: what it stores, and that a full one stores nothing. */
import { describe, expect, test } from 'vitest';
import { driveRig, noWire } from './drive-rig.ts';

/** 20 % downhill with the drive at 0: the diodes give back all the way. */
const downhill = (charge: string) =>
  driveRig(
    {
      battery: {
        cells: 12,
        capacity: '1 Ah',
        charge,
        resistance: '40 mohm',
        'resistance-empty': 1,
        polarisation: '0 ohm',
      },
      harness: noWire,
      motor: { resistance: '100 mohm', constant: '0.06 V.s/rad', friction: '0 N.m', viscous: '0 N.m.s/rad' },
      vehicle: { mass: '120 kg', wheel: '0.15 m', rolling: 0.01, drag: '0 m2', grip: 2, grade: '-20 %' },
    },
    [],
    12,
  );

describe('battery: charging', () => {
  test('what flows in is stored: the charge rises by the ampere-seconds over the capacity (coulomb counting)', () => {
    const run = downhill('50 %');
    const amps = run.samples('battery.current', 6);
    expect(Math.max(...amps.map(([, value]) => value))).toBeLessThan(-10);
    let coulombs = 0;
    for (let index = 1; index < amps.length; index += 1) {
      const [[before, from], [after, to]] = [amps[index - 1]!, amps[index]!];
      coulombs -= ((after - before) * (from + to)) / 2;
    }
    const [first, last] = [amps[0]![0], amps.at(-1)![0]];
    expect(run.at('battery.charge', last) - run.at('battery.charge', first)).toBeCloseTo(coulombs / 3600, 5);
  });

  test('a full one takes no more charge, though the current still flows through its resistance', () => {
    const run = downhill('100 %');
    const into = -run.at('battery.current', 11.5);
    expect(into).toBeGreaterThan(10);
    for (const [, charge] of run.samples('battery.charge', 0.1)) expect(charge).toBeCloseTo(1, 8);
    // 12 cells at rest have 25.3 V; the resistance adds to it what it takes from a load.
    expect(run.at('battery.voltage', 11.5)).toBeCloseTo(25.3 + 0.04 * into, 6);
  });

  test('what a full one was given without storing it does not carry over: a load empties it at once', () => {
    const run = driveRig(
      {
        battery: { cells: 12, capacity: '1 Ah', resistance: '40 mohm', polarisation: '0 ohm', peukert: 1 },
        harness: noWire,
        rail: { load: '0 A', quiescent: '0 A', limit: '100 A', dropout: '0 V', thermal: { resistance: '0.001 K/W' } },
        motor: { resistance: '100 mohm', constant: '0.06 V.s/rad', friction: '0 N.m', viscous: '0 N.m.s/rad' },
        vehicle: { mass: '120 kg', wheel: '0.15 m', rolling: 0.01, drag: '0 m2', grip: 2, grade: '-20 %' },
      },
      [],
      14,
      [
        { at: 10, say: 'vehicle', form: 'on', contents: { on: 'stands' } },
        { at: 12, say: 'rail', form: 'load', contents: { load: 36 } },
      ],
    );
    expect(run.at('battery.current', 9.9)).toBeLessThan(-10);
    // 36 A out of 1 Ah are 1 % a second.
    expect(run.at('battery.charge', 13.9)).toBeCloseTo(1 - 0.019, 4);
  });
});
