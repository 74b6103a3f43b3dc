/** Energy is neither made nor lost: what the battery gave is work, loss and what is stored, on random benches and drives. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Course, driveRig, type Sections } from './drive-rig.ts';

const between = (min: number, max: number) =>
  fc.double({ min, max, noNaN: true }).map((value) => Number(value.toPrecision(4)));

const sections: fc.Arbitrary<Sections> = fc.record({
  battery: fc.record({
    chemistry: fc.constantFrom('lead-acid', 'lithium-ion', 'lithium-iron-phosphate', 'nickel-metal-hydride'),
    cells: fc.integer({ min: 7, max: 16 }),
    capacity: between(5, 40).map((value) => `${value} Ah`),
    charge: between(20, 95).map((value) => `${value} %`),
    resistance: between(10, 120).map((value) => `${value} mohm`),
    polarisation: between(0, 40).map((value) => `${value} mohm`),
    recovery: between(0.5, 60).map((value) => `${value} s`),
  }),
  harness: fc.record({
    main: fc.record({
      length: between(0, 3).map((value) => `${value} m`),
      area: between(2, 16).map((value) => `${value} mm2`),
      connectors: between(0, 20).map((value) => `${value} mohm`),
    }),
  }),
  controller: fc.record({ reverse: fc.constantFrom('brake-first', 'direct'), 'least-voltage': fc.constant('3 V') }),
  power: fc.record({
    limit: between(8, 120).map((value) => `${value} A`),
    'brake-limit': between(8, 120).map((value) => `${value} A`),
    'on-resistance': between(0, 20).map((value) => `${value} mohm`),
    'switching-time': between(0, 600).map((value) => `${value} ns`),
    idle: between(0, 80).map((value) => `${value} mA`),
    freewheel: fc.constantFrom('synchronous', 'diode'),
    braking: fc.constantFrom('regenerative', 'dynamic'),
    lead: fc.record({ length: between(0, 1).map((value) => `${value} m`) }),
    thermal: fc.record({ capacity: between(3, 100).map((value) => `${value} J/K`) }),
  }),
  motor: fc.record({
    resistance: between(40, 500).map((value) => `${value} mohm`),
    inductance: between(50, 900).map((value) => `${value} uH`),
    constant: between(0.03, 0.1).map((value) => `${value} V.s/rad`),
    gear: between(8, 30),
    inertia: between(0.0002, 0.004).map((value) => `${value} kg.m2`),
    friction: between(0, 0.08).map((value) => `${value} N.m`),
    viscous: between(0, 0.0002).map((value) => `${value} N.m.s/rad`),
  }),
  vehicle: fc.option(
    fc.record({
      mass: between(40, 300).map((value) => `${value} kg`),
      rolling: between(0.01, 0.06),
      grade: between(-12, 12).map((value) => `${value} %`),
      grip: between(0.2, 1),
      on: fc.constantFrom('ground', 'stands'),
    }),
    { nil: undefined },
  ),
  rail: fc.record({
    kind: fc.constantFrom('linear', 'switching'),
    from: fc.constantFrom('left', 'right'),
    load: between(20, 400).map((value) => `${value} mA`),
  }),
  isTwin: fc.constant(true),
}) as fc.Arbitrary<Sections>;

/** Up to five pulses in turn, each for 1.2 s: forward, coasting, braking, backward. */
const course: fc.Arbitrary<Course> = fc
  .array(between(-1, 1), { minLength: 2, maxLength: 5 })
  .map((drives) => drives.map((drive, index) => [0.5 + 1.2 * index, drive] as const));

describe('energy: battery = work + losses + stored', () => {
  test('to 0.1 % of what went to and fro, on 60 random benches', () => {
    fc.assert(
      fc.property(sections, course, (bench, drives) => {
        const seconds = 0.5 + 1.2 * drives.length;
        const run = driveRig(bench, drives, seconds);
        const at = (signal: string): number => run.at(signal, seconds);
        const taken = [
          'harness.loss',
          'rail.energy',
          ...['left', 'right'].flatMap((name) => [`${name}.loss`, `motors.${name}.loss`, `motors.${name}.stored`]),
          ...(bench.vehicle === undefined ? [] : ['vehicle.work', 'vehicle.stored']),
        ];
        const energies = run.samples('battery.energy').map(([, joules]) => joules);
        // Given and taken back count both.
        let moved = 0;
        for (let index = 1; index < energies.length; index += 1)
          moved += Math.abs(energies[index]! - energies[index - 1]!);
        const missing = at('battery.energy') - taken.reduce((sum, signal) => sum + at(signal), 0);
        expect(Math.abs(missing)).toBeLessThan(1e-3 * moved + 1e-4);
      }),
      { seed: 20261125, numRuns: 60 },
    );
  }, 120_000);
});
