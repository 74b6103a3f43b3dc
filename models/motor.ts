/**
 * Brushed permanent-magnet motor with its gear, one a drive.
 *
 *     L i' = u - R i - k w            R rises with the winding's temperature, 0.393 % a kelvin
 *     J w' = k i - viscous w - friction - load        (on stands; on the ground the vehicle's acceleration is shared)
 *     pull at the ground = (k i - viscous w - friction) x gear / wheel radius, up to what the tyre grips
 *     standing on the ground, its friction holds the vehicle together with the rolling resistance: see vehicle.ts
 *
 * A gripping drive turns with the vehicle; when the force it would need exceeds the grip it slips on its own until the
 * speeds meet again. Source: any text on electric machines (check values: CTMS "DC Motor Speed", DOE handbook ES-06).
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Fault, Host, Live, PartKind, Ports, Self } from '../sim/kernel/part.ts';
import {
  degreesCelsius,
  formatQuantity,
  henries,
  joulesPerKelvin,
  kelvinPerWatt,
  kilogramSquareMetres,
  newtonMetreSecondsPerRadian,
  newtonMetres,
  ohms,
  ratio,
  type Settled,
  voltSecondsPerRadian,
} from '../sim/units/index.ts';
import { STANDING_METRES_PER_SECOND } from './vehicle.ts';
import { COPPER_PER_KELVIN } from './wire.ts';

export const parameters = z.strictObject({
  resistance: ohms({
    above: 0,
    max: 100,
    means: 'winding and brushes at 20 degC, leads included',
    example: '95 mohm',
  }).prefault('100 mohm'),
  inductance: henries({ above: 1e-6, max: 1, means: 'inductance of the winding', example: '120 uH' }).prefault(
    '120 uH',
  ),
  constant: voltSecondsPerRadian({
    min: 1e-4,
    max: 10,
    means: 'volts per rad/s, which is also newton metres per ampere',
    example: '0.061 V.s/rad',
  }).prefault('0.05 V.s/rad'),
  gear: ratio({ min: 0.01, max: 1000, means: 'turns of the motor for one of the wheel', example: 28 }).prefault(20),
  inertia: kilogramSquareMetres({
    min: 1e-9,
    max: 10,
    means: 'inertia of rotor and wheel, seen from the motor',
    example: '0.0004 kg.m2',
  }).prefault('0.0004 kg.m2'),
  friction: newtonMetres({
    min: 0,
    max: 100,
    means: 'friction of brushes, bearings and gear, seen from the motor',
    example: '0.05 N.m',
  }).prefault('0.03 N.m'),
  viscous: newtonMetreSecondsPerRadian({
    min: 0,
    max: 10,
    means: 'friction that grows with the speed',
    example: '0.00002 N.m.s/rad',
  }).prefault('0.00002 N.m.s/rad'),
  thermal: z
    .strictObject({
      resistance: kelvinPerWatt({
        above: 0,
        max: 1000,
        means: 'from the winding to the air',
        example: '1.2 K/W',
      }).prefault('1.2 K/W'),
      capacity: joulesPerKelvin({
        above: 0,
        max: 1e6,
        means: 'heat that warms the winding by a kelvin',
        example: '250 J/K',
      }).prefault('250 J/K'),
      limit: degreesCelsius({
        min: 0,
        max: 300,
        means: 'temperature at which the winding suffers',
        example: '130 degC',
      }).prefault('130 degC'),
      ambient: degreesCelsius({
        min: -50,
        max: 120,
        means: 'temperature of the air about it',
        example: '25 degC',
      }).prefault('25 degC'),
    })
    .prefault({})
    .describe('how warm its winding gets'),
});
type Parameters = Settled<z.output<typeof parameters>>;
export type MotorNumbers = Parameters;

/** `motors.left` belongs to the controller `left`. */
const bridgePort =
  (port: string) =>
  ({ name, partNames }: Self): string | undefined => {
    const own = name.slice(name.indexOf('.') + 1);
    return partNames.has(own) ? `${own}.${port}` : undefined;
  };

export const ports = {
  in: {
    volts: { means: 'average voltage of its controller', from: bridgePort('volts'), wakes: false },
    least: { means: 'least current that the bridge lets flow', from: bridgePort('least'), wakes: false },
    most: { means: 'greatest current that the bridge lets flow', from: bridgePort('most'), wakes: false },
    grip: {
      means: 'force at which its wheel slips',
      from: ({ partNames }) => (partNames.has('vehicle') ? 'vehicle.grip' : undefined),
    },
    wheel: {
      means: 'radius of its wheel',
      from: ({ partNames }) => (partNames.has('vehicle') ? 'vehicle.wheel' : undefined),
    },
    speed: {
      means: 'speed of the vehicle',
      from: ({ partNames }) => (partNames.has('vehicle') ? 'vehicle.speed' : undefined),
      wakes: false,
    },
    acceleration: {
      means: 'acceleration of the vehicle',
      from: ({ partNames }) => (partNames.has('vehicle') ? 'vehicle.acceleration' : undefined),
      wakes: false,
    },
  },
  out: {
    current: { means: 'current in the winding', dimension: 'current', kind: 'flowing' },
    speed: { means: 'speed of the motor', dimension: 'angular-speed', kind: 'flowing' },
    drop: { means: 'voltage that resistance and back-emf take', dimension: 'voltage', kind: 'flowing' },
    emf: { means: 'back-emf', dimension: 'voltage', kind: 'flowing' },
    torque: { means: 'torque of the motor less its friction', dimension: 'torque', kind: 'flowing' },
    pull: {
      means: 'force at the ground; of a standing drive, before its friction',
      dimension: 'force',
      kind: 'flowing',
    },
    thrust: { means: 'force at the ground before what its friction takes', dimension: 'force', kind: 'flowing' },
    mass: { means: 'mass that the turning parts add to the vehicle', dimension: 'mass', kind: 'flowing' },
    temperature: { means: 'temperature of the winding', dimension: 'temperature', kind: 'flowing' },
    loss: { means: 'energy lost in winding, friction and slip', dimension: 'energy', kind: 'flowing', isBook: true },
    stored: { means: 'energy in inductance and rotation', dimension: 'energy', kind: 'flowing' },
    hold: {
      means: 'force at the ground that its friction takes; of a standing drive, what its tyre passes on of it',
      dimension: 'force',
      kind: 'flowing',
    },
  },
} as const satisfies Ports;

export const chart = setup({ types: { events: {} as { type: string } } }).createMachine({
  id: 'motor',
  initial: 'free',
  states: {
    free: { on: { lowered: 'gripping' } },
    gripping: { on: { lifted: 'free', slip: 'slipping' } },
    slipping: { on: { lifted: 'free', grip: 'gripping' } },
  },
});

/** Winding resistance at a temperature, from its value at 20 degC. */
export function windingOhms(ohmsAt20: number, celsius: number): number {
  return ohmsAt20 * (1 + COPPER_PER_KELVIN * (celsius - 20));
}

/** Steady speed in rad/s at a voltage against a load torque. */
export function steadySpeed(
  volts: number,
  resistanceOhms: number,
  constant: number,
  viscous: number,
  loadNewtonMetres: number,
): number {
  return (constant * volts - resistanceOhms * loadNewtonMetres) / (viscous * resistanceOhms + constant * constant);
}

/** As much of a force or torque as friction or a tyre takes. */
const within = (most: number, wanted: number): number => Math.min(most, Math.max(-most, wanted));

export const faults = {} as const satisfies Readonly<Record<string, Fault>>;

/** A step may pass a current limit by this share of the stall current. */
const OVERSHOOT_SHARE = 2e-5;
/** A wheel that grips again may have passed the ground's speed by this share of its full speed. */
const SLIP_SHARE = 1e-5;
/** A wheel that begins to slip may have asked the tyre for so much more than it holds, as a share of that. */
const GRIP_SHARE = 1e-3;
/** Slower than this a wheel that nothing moves stands, and so fast it may have become where it turned round. */
const STANDING_RADIANS_PER_SECOND = 0.02;

function make(host: Host, numbers: Parameters): Live {
  const { constant, inductance, inertia, friction, viscous, gear, thermal } = numbers;
  const state = {
    isGripping: false,
    slipSign: 0,
    /** Which way it turned when the step began: 1, -1, or 0 where it stood. */
    direction: 0,
    ratio: 0,
    gripNewtons: 0,
  };
  const { values, in: inPorts, out } = host;
  const voltsIn = inPorts.volts!;
  const leastIn = inPorts.least!;
  const mostIn = inPorts.most!;
  const speedIn = inPorts.speed!;
  const accelerationIn = inPorts.acceleration!;
  const currentOut = out.current!;
  const speedOut = out.speed!;
  const dropOut = out.drop!;
  const emfOut = out.emf!;
  const torqueOut = out.torque!;
  const pullOut = out.pull!;
  const thrustOut = out.thrust!;
  const holdOut = out.hold!;
  const massOut = out.mass!;
  const temperatureOut = out.temperature!;
  const heatSeconds = thermal.resistance * thermal.capacity;
  const scaleAmps = 25 / numbers.resistance;
  const scaleSpeed = 25 / constant;

  /**
   * Coulomb friction against the direction of the step's start, so that a step's slopes have no edge; at standstill it takes
   * what moves the wheel, up to its size.
   */
  const frictionTorque = (movingTorque: number): number => {
    if (state.direction !== 0) return state.direction * friction;
    return within(friction, movingTorque);
  };
  const isGrounded = (): boolean => state.gripNewtons > 0;
  /** What a sliding tyre takes from the drive, seen from the motor. */
  const slidingTorque = (): number =>
    isGrounded() && !state.isGripping ? (state.slipSign * state.gripNewtons) / state.ratio : 0;

  const {
    x,
    dx,
    books,
    bookRates,
    state: base,
    book,
    excess,
  } = host.flow({
    states: [
      { name: 'current', start: 0, scale: scaleAmps, isPairedWithNext: true },
      { name: 'speed', start: 0, scale: scaleSpeed },
      { name: 'temperature', start: thermal.ambient, scale: 100 },
    ],
    bookCount: 1,
    draw: () => {
      const amps = x[base]!;
      const speed = x[base + 1]!;
      values[currentOut] = amps;
      values[speedOut] = speed;
      values[temperatureOut] = x[base + 2]!;
      values[emfOut] = constant * speed;
      values[dropOut] = windingOhms(numbers.resistance, x[base + 2]!) * amps + constant * speed;
      const driving = constant * amps - viscous * speed;
      const isHolding = isGrounded() && state.isGripping;
      const torque = driving - frictionTorque(driving - slidingTorque());
      values[torqueOut] = torque;
      const thrust = isGrounded() ? (isHolding ? driving * state.ratio : state.slipSign * state.gripNewtons) : 0;
      const held = friction * state.ratio;
      values[pullOut] = isHolding && state.direction !== 0 ? torque * state.ratio : thrust;
      if (isGrounded() && state.direction === 0) {
        // A wheel that stands passes on whatever keeps it so, as far as the tyre grips, also where the ground slides by.
        const least = within(state.gripNewtons, driving * state.ratio - held);
        const most = within(state.gripNewtons, driving * state.ratio + held);
        values[thrustOut] = 0.5 * (least + most);
        values[holdOut] = 0.5 * (most - least);
      } else {
        values[thrustOut] = thrust;
        values[holdOut] = isHolding ? held : 0;
      }
      values[massOut] = isHolding ? inertia * state.ratio * state.ratio : 0;
    },
    feed: () => {
      values[out.loss!] = books[book]!;
      values[out.stored!] = 0.5 * (inductance * x[base]! * x[base]! + inertia * x[base + 1]! * x[base + 1]!);
    },
    slope: () => {
      const amps = x[base]!;
      const speed = x[base + 1]!;
      const slope = ((voltsIn < 0 ? 0 : values[voltsIn]!) - values[dropOut]!) / inductance;
      dx[base] = slope;
      const torque = values[torqueOut]!;
      if (!isGrounded()) dx[base + 1] = torque / inertia;
      else if (state.isGripping) dx[base + 1] = values[accelerationIn]! * state.ratio;
      else dx[base + 1] = (torque - slidingTorque()) / inertia;
      const slipWatts =
        isGrounded() && !state.isGripping ? state.gripNewtons * Math.abs(speed / state.ratio - values[speedIn]!) : 0;
      const copperWatts = (values[dropOut]! - constant * speed) * amps;
      dx[base + 2] = (thermal.ambient + copperWatts * thermal.resistance - x[base + 2]!) / heatSeconds;
      bookRates[book] = copperWatts + (constant * amps - torque) * speed + slipWatts;
    },
    excess: () => {
      excess[0] = Math.max(excess[0]!, currentExcess(), slipExcess(), turnExcess());
    },
    settle: () => {
      tellHeat();
      const isClamped = clampCurrent();
      const hasJumped = (isGrounded() ? settleWheel() : settleFree()) || isClamped;
      state.direction = Math.sign(x[base + 1]!);
      return hasJumped;
    },
  });
  const currentExcess = (): number => {
    if (leastIn < 0) return Number.NEGATIVE_INFINITY;
    const over = Math.max(x[base]! - values[mostIn]!, values[leastIn]! - x[base]!);
    return over / (OVERSHOOT_SHARE * scaleAmps);
  };
  /** Force that the tyre must pass on if the wheel is to go on with the ground, or to stand on it. */
  const neededNewtons = (): number => {
    const acceleration = values[accelerationIn]!;
    const turning = inertia * acceleration * state.ratio;
    if (Math.abs(values[speedIn]!) >= STANDING_METRES_PER_SECOND) return (values[torqueOut]! - turning) * state.ratio;
    const driving = constant * x[base]! - viscous * x[base + 1]!;
    const most = acceleration > 0 ? friction : -friction;
    const held = acceleration === 0 ? within(friction, driving) : most;
    return (driving - held - turning) * state.ratio;
  };
  /** A wheel that asks for more than its grip, or a slipping one that has passed the speed of the ground. */
  const slipExcess = (): number => {
    if (!isGrounded()) return Number.NEGATIVE_INFINITY;
    if (state.isGripping) return (Math.abs(neededNewtons()) / state.gripNewtons - 1) / GRIP_SHARE;
    const past = -(x[base + 1]! - values[speedIn]! * state.ratio) * state.slipSign;
    // Near enough that beside standing ground it counts as standing as well.
    return past / Math.min(SLIP_SHARE * scaleSpeed, 0.5 * STANDING_METRES_PER_SECOND * state.ratio);
  };
  /** Where a wheel that the ground does not hold turns round, friction changes its sign, or holds it. */
  const turnExcess = (): number => {
    if ((state.isGripping && isGrounded()) || state.direction === 0) return Number.NEGATIVE_INFINITY;
    return (-x[base + 1]! * state.direction) / STANDING_RADIANS_PER_SECOND;
  };
  /** The bridge lets no more flow than its limits; what the inductance held beyond is lost in it. */
  const clampCurrent = (): boolean => {
    if (leastIn < 0) return false;
    const amps = x[base]!;
    const kept = Math.min(Math.max(amps, values[leastIn]!), values[mostIn]!);
    if (kept === amps) return false;
    books[book]! += 0.5 * inductance * (amps * amps - kept * kept);
    x[base] = kept;
    return true;
  };
  const tellHeat = (): void => {
    if (x[base + 2]! > thermal.limit)
      host.finding('winding', `the winding of ${host.name} went above ${formatQuantity(thermal.limit, 'temperature')}`);
  };
  /** Where the ground does not hold it, friction brings the wheel to a stand. */
  const settleFree = (): boolean => {
    const speed = x[base + 1]!;
    const hasTurned = speed * state.direction < 0;
    if (!hasTurned && (speed === 0 || Math.abs(speed) >= STANDING_RADIANS_PER_SECOND)) return false;
    if (Math.abs(constant * x[base]! - slidingTorque()) > friction) return hasTurned;
    turnAt(0);
    return true;
  };
  /** On the ground: whether the tyre holds, and the wheel's speed where it does. */
  const settleWheel = (): boolean => {
    const vehicleSpeed = values[speedIn]! * state.ratio;
    if (!state.isGripping) {
      const slip = x[base + 1]! - vehicleSpeed;
      if (slip * state.slipSign > 0) return settleFree();
      state.isGripping = true;
      host.wake(shown, host.now[0]!);
      turnAt(vehicleSpeed);
      return true;
    }
    const needed = neededNewtons();
    if (Math.abs(needed) > state.gripNewtons) {
      state.isGripping = false;
      state.slipSign = Math.sign(needed);
      host.wake(shown, host.now[0]!);
      return true;
    }
    if (x[base + 1] === vehicleSpeed) return false;
    // What rounding has let drift apart is put right; a stop of the vehicle stops the wheel.
    const hasJumped = vehicleSpeed === 0;
    turnAt(vehicleSpeed);
    return hasJumped;
  };
  /** Sets the speed by hand; what its energy was before goes into friction. */
  const turnAt = (speed: number): void => {
    const before = x[base + 1]!;
    books[book]! += 0.5 * inertia * (before * before - speed * speed);
    x[base + 1] = speed;
  };
  const run = runChart(host, chart, {});
  const shown = host.timer(() => {
    run.send(run.event(state.isGripping ? 'grip' : 'slip'));
  });
  return {
    state,
    start: () => run.start(),
    input: () => {
      const gripNewtons = inPorts.grip! < 0 ? 0 : values[inPorts.grip!]!;
      const wheelMetres = inPorts.wheel! < 0 ? 0 : values[inPorts.wheel!]!;
      const wasGrounded = isGrounded();
      state.gripNewtons = wheelMetres > 0 ? gripNewtons : 0;
      state.ratio = wheelMetres > 0 ? gear / wheelMetres : 0;
      if (isGrounded() && !wasGrounded) {
        // A wheel that still turns when it is let down slips until it has the ground's speed.
        host.refresh();
        state.slipSign = Math.sign(x[base + 1]! - values[speedIn]! * state.ratio);
        state.isGripping = state.slipSign === 0;
        run.send(run.event('lowered'));
        if (!state.isGripping) run.send(run.event('slip'));
      } else if (!isGrounded() && wasGrounded) run.send(run.event('lifted'));
      host.disturb();
    },
    fault: () => {
      // The faults of a drive are those of its controller and wires.
    },
  };
}

export const motor: PartKind = {
  kind: 'motor',
  means: 'motor with gear',
  at: 'motors.*',
  partName: (key) => `motors.${key}`,
  parameters,
  ports,
  chart,
  faults,
  tells: { along: 'motion', ports: ['speed', 'current'] },
  roles: { speed: 'turning' },
  explain: {
    current: ({ name, value, read }) => ({
      says: `${name} takes ${formatQuantity(value, 'current')} at ${formatQuantity(read(`${name}.speed`), 'angular-speed')}, where its back-emf is ${formatQuantity(read(`${name}.emf`), 'voltage')}`,
    }),
    temperature: ({ name, value, read }) => ({
      says: `the winding of ${name} is at ${formatQuantity(value, 'temperature')} with ${formatQuantity(read(`${name}.current`), 'current')}`,
      next: `${name}.current`,
    }),
  },
  make: make as PartKind['make'],
};
