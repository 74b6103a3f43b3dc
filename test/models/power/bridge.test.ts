/**
 * The bridge between supply and motor, each law alone: what switching burns, and from which back-emf on a motor that is
 * turned from outside gives current back. Numbers are closed forms, worked out beside each test.
 */
import { describe, expect, test } from 'vitest';
import { actsIn, benchParts } from '../rig.ts';
import { counted } from './counted.ts';
import { driveRig, noWire, stiff } from './drive-rig.ts';

const source = { battery: stiff(24, 10), harness: noWire };
const motor = {
  resistance: '100 mohm',
  constant: '0.06 V.s/rad',
  gear: 20,
  friction: '0 N.m',
  viscous: '0 N.m.s/rad',
  thermal: { ambient: '20 degC', capacity: '1000 kJ/K' },
};

describe('bridge: switching loss', () => {
  /** Held at its current limit by a rotor that hardly turns, with nothing else in the bridge that could burn. */
  const held = (frequency: string, time: string) =>
    driveRig(
      {
        ...source,
        power: { limit: '40 A', 'on-resistance': '0 ohm', frequency, 'switching-time': time },
        motor: { ...motor, inertia: '10 kg.m2' },
      },
      [[0.5, 1]],
      3,
    );

  test.each([
    // Voltage and current cross in straight lines, so that half of V I t is lost in a period (Mohan, Undeland, Robbins,
    // Power Electronics, eq. 2-6; from memory). 1/2 x 24 V x 40 A x 1 us x 20 kHz = 9.6 W.
    ['20 kHz', '1 us', 9.6],
    ['10 kHz', '1 us', 4.8],
    ['20 kHz', '250 ns', 2.4],
  ])('%s with %s of switching at 24 V and 40 A burn %f W', (frequency, time, watts) => {
    const run = held(frequency, time);
    expect(run.at('left.loss', 2.5) - run.at('left.loss', 1.5)).toBeCloseTo(watts, 1);
    // A bridge without other losses takes from its supply what the motor gets and what it burns.
    const toMotor = run.at('left.volts', 2) * run.at('motors.left.current', 2);
    expect(run.at('left.current', 2) * 24 - toMotor).toBeCloseTo(watts, 1);
  });

  test('it heats the bridge: 9.6 W on 2 K/W and 5 J/K are 19.2 K, of which 63.2 % come in 10 s', () => {
    const run = driveRig(
      {
        ...source,
        power: {
          limit: '40 A',
          'on-resistance': '0 ohm',
          frequency: '20 kHz',
          'switching-time': '1 us',
          thermal: { resistance: '2 K/W', capacity: '5 J/K', ambient: '25 degC' },
        },
        motor: { ...motor, inertia: '10 kg.m2' },
      },
      [[0.5, 1]],
      11,
    );
    const start = run.samples('left.drive').find(([, drive]) => drive === 1)![0];
    expect(run.at('left.temperature', start + 10)).toBeCloseTo(25 + 19.2 * (1 - Math.exp(-1)), 1);
  });
});

describe('bridge: a motor that is turned from outside', () => {
  // 20 % downhill, let go: 24 V / 0.06 V.s/rad x 0.15 m / 20 = 3 m/s is where the back-emf meets the supply.
  const cart = {
    mass: '120 kg',
    wheel: '0.15 m',
    rolling: 0.01,
    drag: '0 m2',
    grip: 2,
    'driven-share': '100 %',
    grade: '-20 %',
  };
  const pushed = driveRig({ ...source, power: { 'on-resistance': '4 mohm' }, motor, vehicle: cart }, [], 6);
  const emfs = pushed.samples('motors.left.emf', 0.5);
  const met = emfs.find(([, volts]) => volts > 24)![0];

  test('below the supply nothing flows and the terminals show the back-emf, up to 99 % of the supply', () => {
    const below = emfs.filter(([, volts]) => volts < 0.99 * 24);
    expect(below.length).toBeGreaterThan(20);
    expect(below.at(-1)![1]).toBeGreaterThan(0.95 * 24);
    for (const [at, volts] of below) {
      expect(pushed.at('motors.left.current', at), `at ${volts} V`).toBe(0);
      expect(pushed.at('left.duty', at), `at ${volts} V`).toBe(0);
      expect(pushed.at('left.volts', at)).toBeCloseTo(volts, 9);
    }
  });

  test('so it falls freely: g (sin - c cos) of the slope, less what the rotor holds, until both meet', () => {
    const slope = Math.atan(0.2);
    const added = 0.0004 * (20 / 0.15) ** 2;
    const acceleration = (120 * 9.80665 * (Math.sin(slope) - 0.01 * Math.cos(slope))) / (120 + added);
    // From rest, 3 m/s are reached after 3 / a.
    expect(Math.abs(met - 3 / acceleration)).toBeLessThan(0.02);
    expect(pushed.at('vehicle.speed', met / 2)).toBeCloseTo((acceleration * met) / 2, 3);
  });

  test('above it the diodes conduct: Ohm gives (emf - 24 V) / (100 + 4 mohm), and it ends where slope and brake agree', () => {
    const end = 5.9;
    const amps = (pushed.at('motors.left.emf', end) - 24) / 0.104;
    expect(-pushed.at('motors.left.current', end) / amps).toBeCloseTo(1, 3);
    // Steady: i = F wheel / (k gear).
    const slope = Math.atan(0.2);
    const newtons = 120 * 9.80665 * (Math.sin(slope) - 0.01 * Math.cos(slope));
    expect(-pushed.at('motors.left.current', end) / ((newtons * 0.15) / (0.06 * 20))).toBeCloseTo(1, 2);
    expect(pushed.at('battery.current', end)).toBeCloseTo(pushed.at('motors.left.current', end), 6);
  });
});

describe('bridge: diodes that block', () => {
  const moving = { ...motor, friction: '0.02 N.m' };
  const ground = { mass: '120 kg', wheel: '0.15 m', rolling: 0.06, grip: 2, 'driven-share': '100 %' };
  const course = [
    [0.5, 1],
    [3, 0.5],
  ] as const;
  const run = driveRig({ ...source, power: { freewheel: 'diode' }, motor: moving, vehicle: ground }, course, 8);

  test('while the back-emf is above what the bridge would give nothing flows, and the terminals show the back-emf', () => {
    const from = run.samples('left.drive', 3).find(([, drive]) => drive < 0.6)![0] + 0.01;
    const coasting = run.samples('motors.left.emf', from).filter(([at, volts]) => at < 4.5 && volts > 12.01);
    expect(coasting.length).toBeGreaterThan(20);
    for (const [at, volts] of coasting) {
      expect(run.at('motors.left.current', at)).toBe(0);
      expect(run.at('left.volts', at)).toBeCloseTo(volts, 9);
    }
  });

  test('when it has fallen below, current flows again, and it settles where pull and resistance agree', () => {
    // Rolling 120 x 9.80665 x 0.06 N and drag at 1/2 x 1.225 x 0.5 v^2, through 20 / 0.15 m and k, and 0.02 N m of friction.
    const speed = run.at('vehicle.speed', 7.9);
    const torque = ((120 * 9.80665 * 0.06 + 0.5 * 1.225 * 0.5 * speed ** 2) * 0.15) / 20 + 0.02;
    expect(run.at('motors.left.current', 7.9)).toBeCloseTo(torque / 0.06, 1);
  });

  test('the edge between the two takes no more steps than any other: no chatter from one side to the other', () => {
    const parts = benchParts({
      bench: 'diodes',
      battery: {},
      pedal: { kind: 'hall', rest: '0.91 V', full: '4.08 V' },
      board: {
        clock: '8 MHz',
        adc: { pull: 'down' },
        firmware: { kind: 'mapping', input: [186, 828], output: [46, 62] },
      },
      controllers: {
        left: {
          pulse: { neutral: '1500 us', full: '2000 us' },
          arming: { hold: '0.2 s' },
          power: { freewheel: 'diode' },
        },
      },
      motors: { left: { resistance: '95 mohm', constant: '0.061 V.s/rad', gear: 28 } },
      vehicle: { mass: '140 kg', wheel: '0.16 m' },
    });
    const acts = actsIn(parts, [
      { at: 0, say: 'battery', form: 'connect' },
      { at: 0.9, say: 'pedal', form: 'press', contents: { press: 1, over: 0.2 } },
      { at: 1.7, say: 'pedal', form: 'press', contents: { press: 0, over: 0.1 } },
    ]);
    const { assembly, steps } = counted(parts, acts, 3000);
    assembly.kernel.run(3);
    expect(assembly.kernel.values[assembly.signalIndex.get('vehicle.speed')!]).toBeGreaterThan(0.5);
    expect(steps()).toBeGreaterThan(50);
  });
});
