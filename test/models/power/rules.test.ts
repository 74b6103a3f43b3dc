/**
 * Every rule between parts of the power side: what is told, and that it stands at the value that breaks it. The place is
 * marked with « in the bench; numbers of the texts are worked out beside them.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { call, folderWith, shipped } from '../../cli/capture.ts';

interface Row {
  readonly rule: string;
  readonly find: string;
  /** With « before the value at which the rule must point. */
  readonly put: string;
  readonly told: string;
  readonly isWarning?: boolean;
}

const rows: readonly Row[] = [
  {
    rule: 'points of the open-circuit curve rise in charge',
    find: 'resistance: 38 mohm',
    put: 'resistance: 38 mohm, curve: [[0 %, 1.9 V], [50 %, 2.0 V], [«50 %, 2.1 V]]',
    told: 'battery.curve[2][0] is 50 %; the charge of each point must lie above that of the point before it',
  },
  {
    rule: 'points of the slope rise in distance',
    find: 'on: stands',
    put: 'on: stands, profile: [[0 m, 0 %], [20 m, 8 %], [«10 m, 0 %]]',
    told: 'vehicle.profile[2][0] is 10 m; the distance of each point must lie above that of the point before it',
  },
  {
    rule: 'a fuse is not larger than the wire carries',
    find: 'fuse: 60 A',
    put: 'fuse: «100 A',
    told: 'warning: harness.main.fuse is 100 A; the fuse lets 100 A flow for ever, more than the 82.72 A that a wire of 10 mm2 carries in free air',
    isWarning: true,
  },
  {
    // Standing: 60 + 5 mA of the rail, 2 x 30 mA of the controllers. 95 % charged: 2 x (12.45 + 0.8 x 0.2) = 25.22 V.
    // 10 ohm x (1 + 19 x 0.05) x (1 + 0.1 x 75) = 165.75 ohm take 20.72 V of it.
    rule: 'a battery feeds what is on while the vehicle stands',
    find: 'resistance: 38 mohm',
    put: 'resistance: «10 ohm, resistance-empty: 20, per-kelvin: 10 %, temperature: -50 degC',
    told: 'battery.resistance is 10 ohm; the battery cannot feed its load: standing still the bench takes 0.125 A, which leaves 4.5 V of 25.22 V, and left needs 5 V',
  },
  {
    // 2 x 100 A of limit. Battery 300 mohm x 1.05; harness 2.4 m / (58 x 10) = 4.14, connectors 2, fuse 1.5 mohm.
    rule: 'the drives at their limits leave half of the voltage',
    find: 'resistance: 38 mohm',
    put: 'resistance: «300 mohm',
    told: 'warning: battery.resistance is 300 mohm; the drives together may ask for 200.1 A, which would leave less than half of 25.22 V: battery and harness have 322.6 mohm',
    isWarning: true,
  },
  {
    // Full, a lead-acid battery of 12 cells stands at 2 x 12.65 V.
    rule: 'the cutoff lies below the voltage of the full battery',
    find: 'cutoff: { warn: 22.2 V, cut: 21 V, delay: 500 ms, release: 23 V',
    put: 'cutoff: { cut: «26 V, delay: 500 ms, release: 27 V',
    told: 'controllers.left.cutoff.cut is 26 V; the full battery gives 25.3 V without load, so left would cut off at once',
  },
  {
    rule: 'derating begins below the trip temperature (110 degC unless given)',
    find: 'reverse: brake-first',
    put: 'power: { thermal: { derate: «110 degC } }',
    told: 'controllers.left.power.thermal.derate is 110 degC; the current limit must begin to fall below the trip temperature of 110 degC',
  },
  {
    // 15 uH / 2 ohm = 7.5 us, below 10 us; 2 ohm x 10 us = 20 uH.
    rule: 'a winding is no faster than a winding can be',
    find: 'resistance: 95 mohm, inductance: 120 uH',
    put: 'resistance: 2 ohm, inductance: «15 uH',
    told: 'motors.left.inductance is 15 uH; with 2 ohm the current would settle in 7.5 us, faster than any winding and than the simulation can follow',
  },
  {
    // J / (viscous + k^2 / R) = 1e-9 / (10 + 0.061^2 / 0.095) s, below 10 ns.
    rule: 'a rotor is no faster than a rotor can be',
    find: 'gear: 28 }',
    put: 'gear: 28, viscous: 10 N.m.s/rad, inertia: «1e-9 kg.m2 }',
    told: 'motors.left.inertia is 1e-9 kg.m2; with its constant, resistance and viscous friction the rotor would follow in 0.09961 ns, faster than any motor',
  },
  {
    // 2 J/K x 4 mK/W = 8 ms, below 10 ms.
    rule: 'a winding warms no faster than can be followed',
    find: 'gear: 28 }',
    put: 'gear: 28, thermal: { resistance: 0.004 K/W, capacity: «2 J/K } }',
    told: 'motors.left.thermal.capacity is 2 J/K; with 0.004 K/W its temperature would settle in 8000 us, faster than anything warms and than the simulation can follow',
  },
  {
    rule: 'a bridge warms no faster than can be followed',
    find: 'reverse: brake-first',
    put: 'power: { thermal: { resistance: 0.004 K/W, capacity: «2 J/K } }',
    told: 'controllers.left.power.thermal.capacity is 2 J/K; with 0.004 K/W its temperature would settle in 8000 us, faster than anything warms and than the simulation can follow',
  },
  {
    rule: 'a regulator warms no faster than can be followed',
    find: 'limit: 2 A',
    put: 'limit: 2 A, thermal: { resistance: 0.004 K/W, capacity: «2 J/K }',
    told: 'rail.thermal.capacity is 2 J/K; with 0.004 K/W its temperature would settle in 8000 us, faster than anything warms and than the simulation can follow',
  },
  {
    rule: 'the brown-out with its hysteresis lies below the rail',
    find: '  clock: 8 MHz',
    put: '  brown-out: «4.9 V\n  hysteresis: 200 mV\n  clock: 8 MHz',
    told: 'board.brown-out is 4.9 V; the rail gives 5 V, so the board would never leave its reset',
  },
  {
    rule: 'the battery gives what the regulator needs',
    find: 'voltage: 5.0 V ± 2 %',
    put: 'voltage: «25 V',
    told: 'warning: rail.voltage is 25 V; the regulator needs 25.6 V, and the full battery gives 25.3 V: it never regulates',
    isWarning: true,
  },
  {
    rule: 'the load of the rail is below its limit',
    find: 'limit: 2 A',
    put: 'limit: 2 A, load: «3 A',
    told: 'warning: rail.load is 3 A; the rail is asked for 3 A and limits at 2 A',
    isWarning: true,
  },
];

const original = readFileSync(join(shipped, 'bench.yaml'), 'utf8');

/** The bench with the row's change, and line and column of its mark. */
function broken({ find, put }: Row): { readonly text: string; readonly place: string } {
  expect(original).toContain(find);
  const before = original.replace(find, put).split('«')[0]!.split('\n');
  return { text: original.replace(find, put.replace('«', '')), place: `${before.length}:${before.at(-1)!.length + 1}` };
}

describe('power rules: told at the value that breaks them', () => {
  test.each(rows)('$rule', async (row) => {
    const { text, place } = broken(row);
    const folder = folderWith({ 'bench.yaml': text });
    const { status, err } = await call(['check', join(folder, 'bench.yaml')]);
    const lines = err.replaceAll(`${folder}/`, '').split('\n');
    expect(lines.filter((line) => line.startsWith('bench.yaml:'))[0]).toBe(`bench.yaml:${place}: ${row.told}`);
    expect(status).toBe(row.isWarning === true ? 0 : 2);
  });

  test('none of them speaks of the shipped bench', async () => {
    expect(await call(['check', join(shipped, 'bench.yaml')])).toMatchObject({ status: 0, err: '' });
  });
});

describe('power rules: just within them nothing is told', () => {
  test.each([
    // 10 mm2 carries 82.72 A by the rule above.
    ['a fuse of 82 A on 10 mm2', 'fuse: 60 A', 'fuse: 82 A'],
    ['a load of the rail at its limit', 'limit: 2 A', 'limit: 2 A, load: 2 A'],
    [
      'a brown-out of 4.7 V with 200 mV of hysteresis',
      '  clock: 8 MHz',
      '  brown-out: 4.7 V\n  hysteresis: 200 mV\n  clock: 8 MHz',
    ],
    ['a winding of 20 us', 'resistance: 95 mohm, inductance: 120 uH', 'resistance: 2 ohm, inductance: 40 uH'],
    ['a winding that warms in 10 ms', 'gear: 28 }', 'gear: 28, thermal: { resistance: 0.01 K/W, capacity: 1 J/K } }'],
  ])('%s', async (_, find, put) => {
    const folder = folderWith({ 'bench.yaml': original.replace(find, put) });
    expect(await call(['check', join(folder, 'bench.yaml')])).toMatchObject({ status: 0, err: '' });
  });
});

describe('power rules: the nearest value that is told is allowed', () => {
  test.each([
    ['inertia', 'gear: 28 }', (value: string) => `gear: 28, viscous: 10 N.m.s/rad, inertia: ${value} }`, '1e-9 kg.m2'],
    [
      'capacity',
      'gear: 28 }',
      (value: string) => `gear: 28, thermal: { resistance: 0.3 K/W, capacity: ${value} } }`,
      '1e-5 J/K',
    ],
    [
      'inductance',
      'resistance: 95 mohm, inductance: 120 uH',
      (value: string) => `resistance: 7.77 ohm, inductance: ${value}`,
      '2 uH',
    ],
  ])('%s', async (_, find, put, tooLittle) => {
    const told = await call([
      'check',
      join(folderWith({ 'bench.yaml': original.replace(find, put(tooLittle)) }), 'bench.yaml'),
    ]);
    expect(told.status).toBe(2);
    const [, nearest] = /nearest: (.+)/.exec(told.err)!;
    const folder = folderWith({ 'bench.yaml': original.replace(find, put(nearest!)) });
    expect(await call(['check', join(folder, 'bench.yaml')])).toMatchObject({ status: 0, err: '' });
  });
});
