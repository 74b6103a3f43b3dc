/**
 * Standing still: rolling resistance and the friction of the drives hold a vehicle together (Coulomb: whatever is asked of
 * them, up to their sum). Thresholds are worked out from the bench's numbers.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { actsIn, benchParts } from '../rig.ts';
import { counted } from './counted.ts';
import { driveRig, noWire, stiff } from './drive-rig.ts';

const GRAVITY = 9.80665;
const cart = { mass: '120 kg', wheel: '0.15 m', rolling: 0.02, drag: '0 m2', grip: 2, 'driven-share': '100 %' };
/** Seen at the ground, 0.3 N.m through a gear of 20 on 0.15 m are 40 N. */
const motor = {
  resistance: '100 mohm',
  constant: '0.06 V.s/rad',
  gear: 20,
  friction: '0.3 N.m',
  viscous: '0 N.m.s/rad',
};
const source = { battery: stiff(24, 10), harness: noWire };
/** Slope at which m g (sin - c cos) is a force: tan a = (F / (m g cos a)) + c, near enough with cos a from one round. */
const slopeFor = (newtons: number): number => {
  let angle = 0;
  for (let round = 0; round < 50; round += 1) angle = Math.asin(newtons / (120 * GRAVITY) + 0.02 * Math.cos(angle));
  return Math.tan(angle);
};
const percent = (slope: number): string => `${(100 * slope).toPrecision(8)} %`;

describe('standing: what holds', () => {
  test.each([
    ['down', 1],
    ['up', -1],
  ])('one drive of 40 N of friction holds a slope that points %s until both together no longer can', (_, sign) => {
    const slope = slopeFor(40);
    const [held, rolled] = [0.995, 1.005].map((share) =>
      driveRig({ ...source, motor, vehicle: { ...cart, grade: percent(sign * share * slope) } }, [], 3),
    );
    expect(held!.at('vehicle.speed', 2.9)).toBe(0);
    expect(Math.sign(rolled!.at('vehicle.speed', 2.9))).toBe(-sign);
  });

  test('two drives hold twice as much', () => {
    const slope = slopeFor(80);
    const [held, rolled] = [0.995, 1.005].map((share) =>
      driveRig({ ...source, motor, isTwin: true, vehicle: { ...cart, grade: percent(share * slope) } }, [], 3),
    );
    expect(held!.at('vehicle.speed', 2.9)).toBe(0);
    expect(rolled!.at('vehicle.speed', 2.9)).toBeLessThan(0);
  });

  test('a drive at its current limit starts the cart only above 40 N of friction and 23.5 N of rolling', () => {
    // k i gear / wheel = 8 N for each ampere: 63.5 N need 7.94 A.
    const amps = (40 + 120 * GRAVITY * 0.02) / 8;
    const [held, started] = [0.99, 1.03].map((share) =>
      driveRig({ ...source, power: { limit: `${amps * share} A` }, motor, vehicle: cart }, [[0.5, 1]], 3),
    );
    expect(held!.at('motors.left.current', 2.9)).toBeCloseTo(0.99 * amps, 1);
    expect(held!.at('vehicle.speed', 2.9)).toBe(0);
    expect(started!.at('vehicle.speed', 2.9)).toBeGreaterThan(0.01);
  });

  test('moving, friction and rolling brake together: let go, it stops after v / a with a = (40 + 23.5 N) / m', () => {
    const run = driveRig(
      { ...source, power: { limit: '60 A', freewheel: 'diode' }, motor, vehicle: cart },
      [
        [0.5, 1],
        [3, 0],
      ],
      10,
    );
    const off = run.samples('left.drive', 3).find(([, drive]) => drive === 0)![0] + 0.05;
    const mass = 120 + 0.0004 * (20 / 0.15) ** 2;
    const braking = (40 + 120 * GRAVITY * 0.02) / mass;
    const stops = off + run.at('vehicle.speed', off) / braking;
    expect(run.at('vehicle.speed', stops - 0.1)).toBeCloseTo(0.1 * braking, 3);
    expect(run.at('vehicle.speed', stops + 0.05)).toBe(0);
    expect(run.word('vehicle.mode', 9.9)).toBe('standing');
  });
});

describe('standing: a wheel that its friction holds, on ground that gives way', () => {
  // A drive grips with 1 % of the weight: 0.6 x 0.01 x 120 kg, 7 N. Its rotor and its friction of 40 N want more.
  const light = { ...cart, grip: 0.6, 'driven-share': '1 %', grade: '-30 %' };
  const run = driveRig({ ...source, motor, vehicle: light }, [], 3);
  const angle = Math.atan(0.3);
  const grip = 0.6 * 0.01 * 120 * GRAVITY * Math.cos(angle);

  test('the cart slides down with the wheel at a stand: m a = m g (sin - c cos) - grip', () => {
    const from = 1;
    const acceleration = GRAVITY * (Math.sin(angle) - 0.02 * Math.cos(angle)) - grip / 120;
    expect(run.at('vehicle.speed', 2.9) - run.at('vehicle.speed', from)).toBeCloseTo(acceleration * 1.9, 2);
    expect(run.at('motors.left.speed', 2.9)).toBe(0);
    expect(run.word('motors.left.mode', 2.9)).toBe('slipping');
  });

  test('what the tyre rubs off is on the books: grip x way', () => {
    const way = run.at('vehicle.distance', 2.9) - run.at('vehicle.distance', 1);
    const heat = run.at('motors.left.loss', 2.9) - run.at('motors.left.loss', 1);
    expect(heat / (grip * way)).toBeCloseTo(1, 3);
  });
});

describe('standing: no run for ever', () => {
  const log = (least: number, most: number) =>
    fc.double({ min: Math.log(least), max: Math.log(most), noNaN: true }).map((value) => Math.exp(value));

  test('law: whatever friction, rolling and slope, a start and a stop take no more than 500 steps a second', () => {
    fc.assert(
      fc.property(
        log(1e-3, 100),
        log(1e-3, 1),
        fc.double({ min: -0.3, max: 0.3, noNaN: true }),
        fc.constantFrom('stands', 'ground'),
        (friction, rolling, grade, on) => {
          const parts = benchParts({
            bench: 'standing',
            battery: {},
            pedal: { kind: 'hall', rest: '0.91 V', full: '4.08 V' },
            board: {
              clock: '8 MHz',
              adc: { pull: 'down' },
              firmware: { kind: 'mapping', input: [186, 828], output: [46, 62] },
            },
            controllers: { left: { pulse: { neutral: '1500 us', full: '2000 us' }, arming: { hold: '0.2 s' } } },
            motors: { left: { friction: `${friction} N.m`, gear: 28 } },
            vehicle: { rolling, grade: percent(grade), on },
          });
          const acts = actsIn(parts, [
            { at: 0, say: 'battery', form: 'connect' },
            { at: 0.9, say: 'pedal', form: 'press', contents: { press: 1, over: 0.2 } },
            { at: 1.5, say: 'pedal', form: 'press', contents: { press: 0, over: 0.1 } },
          ]);
          counted(parts, acts, 2000).assembly.kernel.run(4);
        },
      ),
      { seed: 20261125, numRuns: 150 },
    );
  });
});
