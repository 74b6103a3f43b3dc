/** Bridge, motor and vehicle together: limits, heat, braking, slip, slopes, coasting, and the steps of the vehicle. */
import { describe, expect, test } from 'vitest';
import { deratedShare } from '../../../models/controller/power-stage.ts';
import { gradeAt } from '../../../models/vehicle.ts';
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
const cart = {
  mass: '120 kg',
  wheel: '0.15 m',
  rolling: 0.02,
  drag: '0 m2',
  grip: 2,
  'driven-share': '100 %',
  on: 'ground',
};

describe('bridge: current limit', () => {
  test('a start is held at the limit, with the duty cycle that holds it there; the battery gives only its share', () => {
    const run = driveRig(
      { ...source, power: { limit: '40 A', 'on-resistance': '0 ohm' }, motor, vehicle: cart },
      [[0.5, 1]],
      1.2,
    );
    const amps = run.at('motors.left.current', 0.7);
    expect(amps).toBeGreaterThan(39.9);
    expect(amps).toBeLessThan(40.01);
    // u = R i + k w, and the power on both sides of a bridge without losses is the same.
    const volts = 0.1 * amps + run.at('motors.left.emf', 0.7);
    expect(run.at('left.volts', 0.7)).toBeCloseTo(volts, 2);
    expect(run.at('left.current', 0.7) * 24).toBeCloseTo(volts * amps, 0);
    expect(run.words('left.mode')).toContain('armed.limited');
  });

  test('the limit is met where the current gets there, and not passed: i = U / R (1 - exp(-t R / L))', () => {
    const run = driveRig(
      {
        battery: { resistance: '1e-6 ohm', polarisation: '0 ohm' },
        harness: { main: { length: '0 m' } },
        power: { limit: '40 A', 'on-resistance': '0 ohm', lead: { length: '0 m' } },
        motor: { resistance: '200 mohm', inductance: '2 mH', constant: '0.06 V.s/rad', inertia: '1 kg.m2' },
      },
      [[0.5, 1]],
      0.7,
    );
    const [from] = run.samples('left.drive', 0.4).find(([, drive]) => drive > 0)!;
    const volts = run.at('battery.voltage', 0.6);
    const meets = from - 0.01 * Math.log(1 - (40 * 0.2) / volts);
    expect(run.at('motors.left.current', meets - 2e-5)).toBeLessThan(40 - 0.1);
    for (const after of [2e-5, 1e-4, 1e-3, 0.01, 0.1]) {
      expect(run.at('motors.left.current', meets + after)).toBeCloseTo(40, 2);
    }
  });

  test('a bridge whose supply goes while the cart rolls holds the current that flows back at its limit', () => {
    const run = driveRig(
      {
        ...source,
        harness: { main: { length: '1 m' } },
        controller: { 'least-voltage': '0 V' },
        power: { limit: '40 A', 'brake-limit': '40 A' },
        motor,
        vehicle: { ...cart, mass: '500 kg' },
      },
      [[0.5, 1]],
      4,
      [{ at: 3, fault: 'harness', is: 'blown-fuse' }],
    );
    expect(run.at('left.supply', 3.1)).toBeLessThan(1);
    // Shorted, its back-emf would drive more than that through the winding.
    expect(run.at('motors.left.emf', 3.1) / 0.1).toBeGreaterThan(45);
    expect(run.at('motors.left.current', 3.1)).toBeCloseTo(-40, 1);
    expect([...run.column('motors.left.current')].length).toBeLessThan(20_000);
  });

  test('the pull at the limit is k i gear / wheel: 40 A x 0.06 x 20 / 0.15 = 320 N', () => {
    const run = driveRig({ ...source, power: { limit: '40 A' }, motor, vehicle: cart }, [[0.5, 1]], 1.2);
    expect(run.at('motors.left.pull', 0.7)).toBeCloseTo(320, -0.3);
    const added = run.at('motors.left.mass', 0.7);
    // 0.0004 kg m2 x (20 / 0.15)^2
    expect(added).toBeCloseTo(7.11, 2);
    expect(run.at('vehicle.acceleration', 0.7)).toBeCloseTo((320 - 120 * 9.80665 * 0.02) / (120 + added), 1);
  });
});

describe('bridge: heat', () => {
  const hot = {
    limit: '60 A',
    'on-resistance': '20 mohm',
    thermal: { resistance: '2 K/W', capacity: '2 J/K', derate: '60 degC', trip: '80 degC', ambient: '25 degC' },
  };

  test('temperature follows loss, thermal resistance and time constant', () => {
    const run = driveRig(
      {
        ...source,
        power: { ...hot, thermal: { ...hot.thermal, derate: '290 degC', trip: '300 degC' } },
        motor: { ...motor, inertia: '10 kg.m2' },
      },
      [[0.5, 1]],
      9,
    );
    // 60 A in 20 mohm are 72 W: 144 K with a time constant of 4 s.
    const start = run.samples('left.drive').find(([, drive]) => drive === 1)![0];
    expect(run.at('left.temperature', start + 4)).toBeCloseTo(25 + 144 * (1 - Math.exp(-1)), -0.5);
  });

  test('the limit falls from derate on, to a tenth just below trip', () => {
    expect([50, 60, 70, 80].map((celsius) => deratedShare(celsius, 60, 80))).toEqual(
      [1, 1, 0.55, 0.1].map((share) => expect.closeTo(share, 12)),
    );
    const run = driveRig({ ...source, power: hot, motor: { ...motor, inertia: '10 kg.m2' } }, [[0.5, 1]], 9);
    const celsius = run.at('left.temperature', 8);
    expect(celsius).toBeGreaterThan(60);
    expect(run.at('motors.left.current', 8)).toBeCloseTo(60 * deratedShare(celsius, 60, 80), 0);
  });

  test('beyond trip it switches off, and arms again only when cool and at neutral', () => {
    // Air so warm that even a tenth of the current is too much.
    const thermal = {
      ...hot.thermal,
      ambient: '78 degC',
      derate: '78.5 degC',
      capacity: '0.5 J/K',
      resistance: '4 K/W',
    };
    const run = driveRig(
      {
        ...source,
        power: { ...hot, thermal: { ...thermal, trip: '80 degC' } },
        motor: { ...motor, inertia: '10 kg.m2' },
      },
      [
        [0.5, 1],
        [6, 0],
      ],
      12,
    );
    expect(run.words('left.mode')).toContain('over-temperature');
    const off = run
      .samples('left.mode')
      .find(([, mode]) => run.column('left.mode').signal.modes![mode] === 'over-temperature')![0];
    expect(run.at('left.drive', off + 0.5)).toBe(0);
    expect(run.word('left.mode', 5.9)).not.toMatch(/^armed/);
    expect(run.word('left.mode', 11)).toBe('armed.neutral');
  });
});

describe('bridge: braking', () => {
  const course = [
    [0.5, 1],
    [4, -0.6],
  ] as const;
  const controller = { reverse: 'brake-first' };

  test('regenerative braking gives current back to the battery, dynamic braking does not, and both stop the cart alike', () => {
    const [back, burnt] = ['regenerative', 'dynamic'].map((braking) =>
      driveRig(
        { ...source, controller, power: { braking, limit: '80 A', 'brake-limit': '40 A' }, motor, vehicle: cart },
        course,
        8,
      ),
    );
    expect(Math.min(...back!.samples('battery.current', 4).map(([, amps]) => amps))).toBeLessThan(-5);
    expect(Math.min(...burnt!.samples('battery.current', 4).map(([, amps]) => amps))).toBeGreaterThan(-1e-9);
    for (const run of [back!, burnt!]) {
      expect(run.word('left.mode', 4.5)).toBe('armed.braking');
      expect(run.at('motors.left.current', 4.3)).toBeLessThan(-5);
      expect(run.at('vehicle.speed', 7.9)).toBeLessThan(run.at('vehicle.speed', 4) / 2);
    }
  });

  test('the braking current keeps below its limit', () => {
    const run = driveRig(
      { ...source, controller, power: { 'brake-limit': '15 A', limit: '80 A' }, motor, vehicle: cart },
      course,
      6,
    );
    expect(Math.min(...run.samples('motors.left.current', 4).map(([, amps]) => amps))).toBeGreaterThan(-15.6);
  });

  test('a falling pulse brakes with a synchronous bridge; with diodes the motor coasts down', () => {
    const [synchronous, diode] = ['synchronous', 'diode'].map((freewheel) =>
      driveRig(
        { ...source, power: { freewheel, limit: '80 A' }, motor, vehicle: cart },
        [
          [0.5, 1],
          [4, 0.3],
        ],
        5,
      ),
    );
    expect(synchronous!.at('motors.left.current', 4.2)).toBeLessThan(-10);
    expect(diode!.at('motors.left.current', 4.2)).toBe(0);
    expect(diode!.at('vehicle.speed', 4.9)).toBeGreaterThan(synchronous!.at('vehicle.speed', 4.9) + 0.5);
  });

  test('coasting downhill beyond the no-load speed gives back through the diodes, also with the drive at 0', () => {
    const run = driveRig(
      { ...source, power: { limit: '80 A' }, motor, vehicle: { ...cart, grade: '-20 %', rolling: 0.01 } },
      [[0.5, 0]],
      12,
    );
    const speed = run.at('vehicle.speed', 11.9);
    // 24 V / 0.06 V.s/rad x 0.15 m / 20
    expect(speed).toBeGreaterThan(3);
    expect(run.at('motors.left.current', 11.9)).toBeLessThan(-10);
    expect(run.at('vehicle.acceleration', 11.9)).toBeCloseTo(0, 1);
  });
});

describe('vehicle: ground', () => {
  test('rolling resistance holds a standing cart on a slope that is smaller, and not on one that is larger', () => {
    const [held, rolled] = ['1.9 %', '2.1 %'].map((grade) =>
      driveRig({ ...source, motor, vehicle: { ...cart, grade } }, [], 5),
    );
    expect(held!.at('vehicle.speed', 4.9)).toBe(0);
    expect(rolled!.at('vehicle.speed', 4.9)).toBeLessThan(-0.001);
    expect(rolled!.word('vehicle.mode', 4.9)).toBe('rolling-backward');
  });

  test('steady on the level: drive against rolling and drag', () => {
    const run = driveRig({ ...source, motor, vehicle: { ...cart, drag: '0.6 m2' } }, [[0.5, 0.8]], 40);
    const speed = run.at('vehicle.speed', 39.9);
    const resisting = 120 * 9.80665 * 0.02 + 0.5 * 1.225 * 0.6 * speed ** 2;
    expect(run.at('motors.left.pull', 39.9)).toBeCloseTo(resisting, 1);
  });

  test('a profile changes the slope where its points lie, going and coming', () => {
    const profile = [
      [0, 0],
      [4, 0.1],
      [6, 0.02],
    ] as const;
    expect([-1, 0, 3.99, 4, 5.9, 6, 99].map((metres) => gradeAt(profile, metres))).toEqual([
      0, 0, 0, 0.1, 0.1, 0.02, 0.02,
    ]);
    const run = driveRig(
      {
        ...source,
        power: { limit: '80 A' },
        motor,
        vehicle: {
          ...cart,
          profile: [
            ['0 m', '0 %'],
            ['4 m', '10 %'],
            ['6 m', '2 %'],
          ],
        },
      },
      [[0.5, 1]],
      8,
    );
    for (const [at, grade] of run.samples('vehicle.grade', 0.5)) {
      const edge = grade === 0.1 ? 4 : 6;
      expect(Math.abs(run.at('vehicle.distance', at) - edge), `grade ${grade}`).toBeLessThan(1e-4);
    }
    expect(run.samples('vehicle.grade', 0.5).map(([, grade]) => grade)).toEqual([0.1, 0.02]);
  });

  test('steps: slope, mass, lifting and lowering', () => {
    const script = [
      { at: 4, say: 'vehicle', form: 'grade', contents: { grade: 0.1 } },
      { at: 8, say: 'vehicle', form: 'mass', contents: { mass: 240 } },
      { at: 12, say: 'vehicle', form: 'on', contents: { on: 'stands' } },
      { at: 16, say: 'vehicle', form: 'on', contents: { on: 'ground' } },
    ] as const;
    const run = driveRig({ ...source, power: { limit: '200 A' }, motor, vehicle: cart }, [[0.5, 1]], 20, script);
    const pull = (at: number): number => run.at('motors.left.pull', at);
    expect(pull(3.9)).toBeCloseTo(120 * 9.80665 * 0.02, 0);
    expect(pull(7.9)).toBeCloseTo((120 * 9.80665 * 0.12) / Math.sqrt(1.01), 0);
    expect(pull(11.9)).toBeCloseTo((240 * 9.80665 * 0.12) / Math.sqrt(1.01), 0);
    expect(pull(15.9)).toBe(0);
    expect(run.at('vehicle.speed', 15.9)).toBe(0);
    expect([11.9, 15.9, 19.9].map((at) => run.word('motors.left.mode', at))).toEqual(['gripping', 'free', 'gripping']);
    // Let down with its wheel turning, it slips until both have one speed.
    expect(run.words('motors.left.mode', 16)).toEqual(['slipping', 'gripping']);
    expect(pull(19.9)).toBeCloseTo((240 * 9.80665 * 0.12) / Math.sqrt(1.01), -1);
  });

  test('a wheel that is asked for more than it grips slips, pulls what it grips, and grips again', () => {
    const run = driveRig(
      {
        ...source,
        power: { limit: '200 A' },
        motor: { ...motor, inertia: '0.004 kg.m2' },
        vehicle: { ...cart, grip: 0.3 },
      },
      [
        [0.5, 1],
        [1.5, 0.2],
      ],
      6,
    );
    expect(run.words('motors.left.mode')).toContain('slipping');
    const [from] = run
      .samples('motors.left.mode')
      .find(([, mode]) => run.column('motors.left.mode').signal.modes![mode] === 'slipping')!;
    expect(run.at('motors.left.pull', from + 0.1)).toBeCloseTo(0.3 * 120 * 9.80665, 3);
    expect(run.at('motors.left.speed', from + 0.1)).toBeGreaterThan(
      (run.at('vehicle.speed', from + 0.1) * 20) / 0.15 + 5,
    );
    expect(run.word('motors.left.mode', 5.9)).toBe('gripping');
  });

  test('a wheel that its friction locks holds on a slope as far as its tyre grips, and slides down a steeper one', () => {
    const locked = { ...motor, friction: '90 N.m' };
    const parked = (grade: string) =>
      driveRig(
        { ...source, motor: locked, vehicle: { ...cart, rolling: 0.02, drag: '0 m2', grip: 0.1, grade } },
        [],
        3,
      );
    expect(parked('11 %').at('vehicle.distance', 2.9)).toBe(0);
    const sliding = parked('20 %');
    // g (sin - (grip + rolling) cos) downhill, as the wheel stands.
    const pace = (9.80665 * (0.2 - 0.12)) / Math.sqrt(1.04);
    expect(sliding.at('vehicle.speed', 2.5)).toBeCloseTo(-pace * 2.5, 3);
    expect(sliding.at('motors.left.speed', 2.5)).toBe(0);
  });

  test('two drives share the work; one of them alone must do it all', () => {
    const twin = { ...source, power: { limit: '80 A' }, motor, vehicle: { ...cart, grade: '5 %' }, isTwin: true };
    const both = driveRig(twin, [[0.5, 1]], 10);
    expect(both.at('motors.left.current', 9.9)).toBeCloseTo(both.at('motors.right.current', 9.9), 9);
    const alone = driveRig({ ...twin, isTwin: false }, [[0.5, 1]], 10);
    expect(alone.at('motors.left.current', 9.9) / both.at('motors.left.current', 9.9)).toBeCloseTo(2, 1);
  });

  test('coasting: the distance since the drive ended is told, and the cart stands in the end', () => {
    const run = driveRig(
      { ...source, power: { limit: '80 A' }, motor, vehicle: cart },
      [
        [0.5, 1],
        [4, 0],
      ],
      30,
    );
    const off = run.samples('left.drive', 3).find(([, drive]) => drive === 0)![0];
    expect(run.word('vehicle.mode', 29.9)).toBe('standing');
    expect(run.at('vehicle.stopping', 29.9)).toBeCloseTo(
      run.at('vehicle.distance', 29.9) - run.at('vehicle.distance', off),
      1,
    );
  });
});

describe('motor: on stands', () => {
  test('runs to V / k less its friction, and friction brings it to a stand', () => {
    const run = driveRig(
      { ...source, motor: { ...motor, friction: '0.05 N.m' } },
      [
        [0.5, 1],
        [3, 0],
      ],
      9,
    );
    // i = friction / k = 0.833 A takes 0.087 V with 4 mohm of bridge.
    expect(run.at('motors.left.speed', 2.9)).toBeCloseTo((24 - 0.104 * 0.8333) / 0.06, 0);
    expect(run.at('motors.left.speed', 8.9)).toBe(0);
  });

  test('a warm winding has more resistance: 0.393 % a kelvin, by its own thermal RC', () => {
    const run = driveRig(
      {
        ...source,
        power: { limit: '60 A' },
        motor: {
          ...motor,
          inertia: '10 kg.m2',
          thermal: { ambient: '20 degC', resistance: '1 K/W', capacity: '10 J/K' },
        },
      },
      [[0.5, 1]],
      10,
    );
    const celsius = run.at('motors.left.temperature', 9.9);
    expect(celsius).toBeGreaterThan(150);
    expect(run.at('motors.left.drop', 9.9) - run.at('motors.left.emf', 9.9)).toBeCloseTo(
      60 * 0.1 * (1 + 0.00393 * (celsius - 20)),
      1,
    );
    expect(run.assembly.findings.map(({ code }) => code)).toContain('winding');
  });
});

describe('controller: low voltage', () => {
  const soft = {
    battery: { cells: 12, resistance: '60 mohm', polarisation: '0 ohm', capacity: '18 Ah' },
    harness: noWire,
  };
  const cutoff = { warn: '24 V', cut: '21 V', delay: '500 ms', latched: true };

  test('first the buzzer, then after its delay the cut, as its own terminals see it', () => {
    const run = driveRig(
      {
        ...soft,
        controller: { cutoff },
        power: { limit: '200 A', lead: { length: '1 m', area: '2.5 mm2' } },
        motor: { ...motor, inertia: '10 kg.m2' },
      },
      [
        [0.5, 0.3],
        [1.5, 0.6],
        [2.5, 1],
      ],
      5,
    );
    const first = (signal: string, value: number): number =>
      run.samples(signal, 0.4).find(([, found]) => found === value)?.[0] ?? Number.POSITIVE_INFINITY;
    const cut =
      run.samples('left.mode').find(([, mode]) => run.column('left.mode').signal.modes![mode] === 'cut-off')?.[0] ??
      Number.POSITIVE_INFINITY;
    const below = run.samples('left.supply', 0.5).find(([, volts]) => volts < 21)![0];
    expect(first('left.buzzer', 1)).toBeLessThan(cut);
    expect(cut - below).toBeGreaterThan(0.48);
    // Its supply is looked at 50 times a second.
    expect(cut - below).toBeLessThan(0.545);
    expect(run.at('left.drive', cut + 0.1)).toBe(0);
    // Latched: the supply is back, the pulse still asks, and nothing drives.
    expect(run.at('left.supply', 4.9)).toBeGreaterThan(24);
    expect(run.at('left.drive', 4.9)).toBe(0);
  });

  test('a limit above the cut holds the drive back instead, and the supply with it', () => {
    const limited = { ...cutoff, limit: '23 V', 'limit-to': '20 %' };
    const run = driveRig(
      { ...soft, controller: { cutoff: limited }, power: { limit: '200 A' }, motor: { ...motor, inertia: '10 kg.m2' } },
      [[0.5, 1]],
      3,
    );
    expect(run.words('left.mode')).toContain('armed.limited');
    expect(run.samples('left.drive').some(([, drive]) => drive === 0.2)).toBe(true);
    expect(run.words('left.mode')).not.toContain('cut-off');
  });
});
