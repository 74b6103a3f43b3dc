/**
 * The arithmetic of the power bench fused by hand into one function: the signal chain of `fused.ts` and behind it the
 * equations of battery, harness, bridges, motors and vehicle, all in plain local variables. No kernel, no charts, no ports,
 * no faults, no books. It is what the bench is measured against, and it drives the same way.
 *
 * The states are integrated by the classic fourth-order rule of Runge and Kutta, one step a pass, cut where a
 * drive changes and finer for a while after it.
 */
import { conversionHalfClocks, countOf, heldVolts } from '../../models/adc.ts';
import { curveOf } from '../../models/battery.ts';
import { mappedCount } from '../../models/board/law.ts';
import { deratedShare } from '../../models/controller/power-stage.ts';
import { driveOf, measuredSeconds } from '../../models/controller/pulse.ts';
import { meltingPerSecond } from '../../models/fuse.ts';
import { laggedTravel, signalVolts } from '../../models/pedal.ts';
import { highTicks } from '../../models/pwm-timer.ts';
import { gradeNewtons, rollingNewtons } from '../../models/vehicle.ts';
import { COPPER_OHM_METRES, COPPER_PER_KELVIN } from '../../models/wire.ts';
import type { Stream } from '../../sim/kernel/random.ts';
import { FUSED, type Ramp } from './fused.ts';

/** Numbers of the bench in test/speed/power.ts, and the defaults that it leaves as they are. */
const CELLS = 12;
const CAPACITY = 18 * 3600;
const RATED_AMPS = 18 / 20;
const PEUKERT = 1.2;
const BATTERY_OHMS = 0.038;
const POLARISATION_OHMS = 0.015;
const RECOVERY_SECONDS = 30;
const FUSE_AMPS = 100;
/** Up to here the fuse heals; its curve begins above. */
const MELTING_AMPS = 1.1 * FUSE_AMPS;
const HEAL_SECONDS = 30;
const FUSE_OHMS = 1.4e-3;
const HARNESS_OHMS = (2 * 1.2 * COPPER_OHM_METRES) / 16e-6 + 2e-3 + FUSE_OHMS;
const LEAD_OHMS = (2 * 0.3 * COPPER_OHM_METRES) / 6e-6;
const RAIL_AMPS = 0.06 + 0.005;
const ON_OHMS = 4e-3;
const LIMIT_AMPS = 60;
const SWITCHING_SHARE = 0.5 * 300e-9 * 16e3;
const IDLE_AMPS = 0.03;
const BRIDGE_KELVIN_PER_WATT = 2;
const BRIDGE_SECONDS = 2 * 60;
const DERATE_CELSIUS = 85;
const TRIP_CELSIUS = 110;
const WINDING_OHMS = 0.095;
const WINDING_PER_KELVIN = COPPER_PER_KELVIN;
const HENRIES = 120e-6;
const CONSTANT = 0.061;
const INERTIA = 4e-4;
const FRICTION = 0.03;
const VISCOUS = 2e-5;
const WINDING_KELVIN_PER_WATT = 1.2;
const WINDING_SECONDS = 1.2 * 250;
const AMBIENT_CELSIUS = 25;
const GEAR_PER_METRE = 12 / 0.16;
const MASS = 140;
const GRADE = 0.02;
/** Half of the density of air times the drag area, in N s2/m2. */
const DRAG = 0.5 * 1.225 * 0.5;
const WARN_VOLTS = 22;
/** After a drive has changed, the currents are followed in finer steps for a while. */
const SETTLING_SECONDS = 5e-3;
const FINE_SECONDS = 0.25e-3;
const CURVE = curveOf('lead-acid');
/** The open-circuit voltage of the lead-acid table lies between points that are equally far apart. */
const CURVE_VOLTS = Float64Array.from(CURVE, ([, volts]) => volts);
const GRADE_NEWTONS = gradeNewtons(MASS, GRADE);
const HOLD_NEWTONS = rollingNewtons(MASS, 0.03, GRADE);
const TURNING_MASS = MASS + 2 * INERTIA * GEAR_PER_METRE * GEAR_PER_METRE;

/** Told once a pass, at its start. */
export type PowerListener = (
  seconds: number,
  metresPerSecond: number,
  leftAmps: number,
  rightAmps: number,
  batteryVolts: number,
  drive: number,
) => void;

export interface FusedPower {
  readonly pulseCount: number;
  readonly driveSum: number;
  readonly warnedLooks: number;
  readonly metres: number;
  readonly charge: number;
  readonly melted: number;
  readonly bridgeCelsius: number;
  readonly windingCelsius: number;
}

/** Drives for so long. All that is integrated is given back, so that nothing can be left out. */
export function fusedPowerRun(
  seconds: number,
  ramps: readonly Ramp[],
  noise: Stream,
  listener?: PowerListener,
): FusedPower {
  const { hertz } = FUSED;
  const passTicks = hertz / FUSED.passesPerSecond;
  const frame = (FUSED.top + 1) * FUSED.pwmPrescaler;
  const halfClock = FUSED.adcPrescaler / 2;
  let ramp = 0;
  let anchor = 0;
  let travel = 0;
  let slope = 0;
  let sensed = 0;
  let rampEnd = Number.POSITIVE_INFINITY;
  let target = 0;
  let held = 0;
  let compare = 46;
  let frameTick = Number.POSITIVE_INFINITY;
  let driveSum = 0;
  let pulseCount = 0;
  let leftArmedSince = Number.POSITIVE_INFINITY;
  let rightArmedSince = Number.POSITIVE_INFINITY;
  const scale = { neutralSeconds: 1500e-6, fullSeconds: 2000e-6, reverseSeconds: 1000e-6, deadSeconds: 20e-6 };

  // The drives at work, and those of the pulse that ends next.
  let leftDrive = 0;
  let rightDrive = 0;
  let nextLeft = 0;
  let nextRight = 0;
  let fallSeconds = Number.POSITIVE_INFINITY;
  let settledSeconds = 0;
  let look = 0;
  let warnedLooks = 0;

  let at = 0;
  let charge = 0.95;
  let slow = 0;
  let melted = 0;
  let leftAmps = 0;
  let rightAmps = 0;
  let leftBridge = AMBIENT_CELSIUS;
  let rightBridge = AMBIENT_CELSIUS;
  let leftWinding = AMBIENT_CELSIUS;
  let rightWinding = AMBIENT_CELSIUS;
  let speed = 0;
  let metres = 0;
  let batteryVolts = 0;
  let leftSupply = 25;
  let rightSupply = 25;

  const endTick = seconds * hertz;
  for (let tick = 0; tick <= endTick; tick += passTicks) {
    const tickSeconds = tick / hertz;
    // What flows and moves, up to the start of this pass.
    for (;;) {
      if (fallSeconds <= at) {
        if (nextLeft !== leftDrive || nextRight !== rightDrive) settledSeconds = at + SETTLING_SECONDS;
        leftDrive = nextLeft;
        rightDrive = nextRight;
        // Without a drive nothing holds the current: the bridge opens.
        if (leftDrive === 0) leftAmps = 0;
        if (rightDrive === 0) rightAmps = 0;
        fallSeconds = Number.POSITIVE_INFINITY;
      }
      // At the start of a pass the voltage is wanted even where no time has passed.
      let h = Math.min(fallSeconds, tickSeconds) - at;
      if (at < settledSeconds && h > FINE_SECONDS) h = FINE_SECONDS;
      const leftLimit =
        leftBridge <= DERATE_CELSIUS ? LIMIT_AMPS : LIMIT_AMPS * deratedShare(leftBridge, DERATE_CELSIUS, TRIP_CELSIUS);
      const rightLimit =
        rightBridge <= DERATE_CELSIUS
          ? LIMIT_AMPS
          : LIMIT_AMPS * deratedShare(rightBridge, DERATE_CELSIUS, TRIP_CELSIUS);
      let charge1 = charge;
      let slow1 = slow;
      let melted1 = melted;
      let leftAmps1 = leftAmps;
      let rightAmps1 = rightAmps;
      let leftBridge1 = leftBridge;
      let rightBridge1 = rightBridge;
      let leftWinding1 = leftWinding;
      let rightWinding1 = rightWinding;
      let speed1 = speed;
      let chargeSum = 0;
      let slowSum = 0;
      let meltedSum = 0;
      let leftAmpsSum = 0;
      let rightAmpsSum = 0;
      let leftBridgeSum = 0;
      let rightBridgeSum = 0;
      let leftWindingSum = 0;
      let rightWindingSum = 0;
      let speedSum = 0;
      let metresSum = 0;
      let push = 0;
      for (let stage = 0; stage < 4; stage += 1) {
        const turning = speed1 * GEAR_PER_METRE;
        const emf = CONSTANT * turning;
        const leftDrop = WINDING_OHMS * (1 + WINDING_PER_KELVIN * (leftWinding1 - 20)) * leftAmps1 + emf;
        const rightDrop = WINDING_OHMS * (1 + WINDING_PER_KELVIN * (rightWinding1 - 20)) * rightAmps1 + emf;
        const place = charge1 * (CURVE_VOLTS.length - 1);
        const point = Math.max(0, Math.min(CURVE_VOLTS.length - 2, Math.floor(place)));
        const open = CELLS * (CURVE_VOLTS[point]! + (place - point) * (CURVE_VOLTS[point + 1]! - CURVE_VOLTS[point]!));
        const inner = BATTERY_OHMS * (2 - charge1);
        let leftDuty = leftDrive;
        let rightDuty = rightDrive;
        let leftTaken = IDLE_AMPS;
        let rightTaken = IDLE_AMPS;
        let amps = 0;
        let splitter = 0;
        for (let round = 0; round < 24; round += 1) {
          let isLeaning = false;
          if (leftDrive > 0) {
            leftDuty = leftDrive;
            const needed = leftDrop + ON_OHMS * leftAmps1;
            const isAtMost = leftAmps1 >= 0.999 * leftLimit;
            const isAtLeast = leftAmps1 <= -0.999 * leftLimit;
            if (isAtMost || isAtLeast) {
              isLeaning = true;
              const free = leftDuty * leftSupply;
              if ((isAtMost && free > needed) || (isAtLeast && free < needed)) leftDuty = needed / leftSupply;
            }
            leftTaken = leftDuty * leftAmps1 + SWITCHING_SHARE * Math.abs(leftAmps1) + IDLE_AMPS;
          }
          if (rightDrive > 0) {
            rightDuty = rightDrive;
            const needed = rightDrop + ON_OHMS * rightAmps1;
            const isAtMost = rightAmps1 >= 0.999 * rightLimit;
            const isAtLeast = rightAmps1 <= -0.999 * rightLimit;
            if (isAtMost || isAtLeast) {
              isLeaning = true;
              const free = rightDuty * rightSupply;
              if ((isAtMost && free > needed) || (isAtLeast && free < needed)) rightDuty = needed / rightSupply;
            }
            rightTaken = rightDuty * rightAmps1 + SWITCHING_SHARE * Math.abs(rightAmps1) + IDLE_AMPS;
          }
          amps = leftTaken + rightTaken + RAIL_AMPS;
          batteryVolts = open - inner * amps - slow1;
          splitter = Math.max(0, batteryVolts - HARNESS_OHMS * amps);
          const leftWas = leftSupply;
          const rightWas = rightSupply;
          leftSupply = Math.max(0, splitter - LEAD_OHMS * (leftTaken + RAIL_AMPS));
          rightSupply = Math.max(0, splitter - LEAD_OHMS * rightTaken);
          if (!isLeaning || Math.abs(leftSupply - leftWas) + Math.abs(rightSupply - rightWas) < 1e-6) break;
        }
        // A bridge that is off lets nothing flow as long as the back-emf is below its supply.
        const leftVolts = leftDrive > 0 ? leftDuty * leftSupply - ON_OHMS * leftAmps1 : leftDrop;
        const rightVolts = rightDrive > 0 ? rightDuty * rightSupply - ON_OHMS * rightAmps1 : rightDrop;
        const leftDriving = CONSTANT * leftAmps1 - VISCOUS * turning;
        const rightDriving = CONSTANT * rightAmps1 - VISCOUS * turning;
        const leftFriction =
          turning !== 0 ? Math.sign(turning) * FRICTION : Math.max(-FRICTION, Math.min(FRICTION, leftDriving));
        const rightFriction =
          turning !== 0 ? Math.sign(turning) * FRICTION : Math.max(-FRICTION, Math.min(FRICTION, rightDriving));
        push = (leftDriving - leftFriction + rightDriving - rightFriction) * GEAR_PER_METRE - GRADE_NEWTONS;
        const chargeSlope = -(amps <= RATED_AMPS ? amps : amps * (amps / RATED_AMPS) ** (PEUKERT - 1)) / CAPACITY;
        const slowSlope = (POLARISATION_OHMS * amps - slow1) / RECOVERY_SECONDS;
        const meltedSlope =
          amps < MELTING_AMPS ? -melted1 / HEAL_SECONDS : meltingPerSecond(melted1, amps, FUSE_AMPS, 'maxi');
        const leftAmpsSlope = (leftVolts - leftDrop) / HENRIES;
        const rightAmpsSlope = (rightVolts - rightDrop) / HENRIES;
        const leftLoss = Math.max(0, leftSupply * leftTaken - leftVolts * leftAmps1);
        const rightLoss = Math.max(0, rightSupply * rightTaken - rightVolts * rightAmps1);
        const leftBridgeSlope = (AMBIENT_CELSIUS + leftLoss * BRIDGE_KELVIN_PER_WATT - leftBridge1) / BRIDGE_SECONDS;
        const rightBridgeSlope = (AMBIENT_CELSIUS + rightLoss * BRIDGE_KELVIN_PER_WATT - rightBridge1) / BRIDGE_SECONDS;
        const leftCopper = (leftDrop - emf) * leftAmps1;
        const rightCopper = (rightDrop - emf) * rightAmps1;
        const leftWindingSlope =
          (AMBIENT_CELSIUS + leftCopper * WINDING_KELVIN_PER_WATT - leftWinding1) / WINDING_SECONDS;
        const rightWindingSlope =
          (AMBIENT_CELSIUS + rightCopper * WINDING_KELVIN_PER_WATT - rightWinding1) / WINDING_SECONDS;
        const speedSlope =
          speed1 !== 0
            ? (push - Math.sign(speed1) * (HOLD_NEWTONS + DRAG * speed1 * speed1)) / TURNING_MASS
            : Math.abs(push) <= HOLD_NEWTONS
              ? 0
              : (push - Math.sign(push) * HOLD_NEWTONS) / TURNING_MASS;
        if (h === 0) break;
        // Weights of the rule: 1/6, 1/3, 1/3, 1/6; its next stages start half, half and a whole step on.
        const weight = stage === 0 || stage === 3 ? h / 6 : h / 3;
        const reach = stage === 2 ? h : 0.5 * h;
        chargeSum += weight * chargeSlope;
        slowSum += weight * slowSlope;
        meltedSum += weight * meltedSlope;
        leftAmpsSum += weight * leftAmpsSlope;
        rightAmpsSum += weight * rightAmpsSlope;
        leftBridgeSum += weight * leftBridgeSlope;
        rightBridgeSum += weight * rightBridgeSlope;
        leftWindingSum += weight * leftWindingSlope;
        rightWindingSum += weight * rightWindingSlope;
        speedSum += weight * speedSlope;
        metresSum += weight * speed1;
        charge1 = charge + reach * chargeSlope;
        slow1 = slow + reach * slowSlope;
        melted1 = melted + reach * meltedSlope;
        leftAmps1 = leftAmps + reach * leftAmpsSlope;
        rightAmps1 = rightAmps + reach * rightAmpsSlope;
        leftBridge1 = leftBridge + reach * leftBridgeSlope;
        rightBridge1 = rightBridge + reach * rightBridgeSlope;
        leftWinding1 = leftWinding + reach * leftWindingSlope;
        rightWinding1 = rightWinding + reach * rightWindingSlope;
        speed1 = speed + reach * speedSlope;
      }
      if (h === 0) break;
      const speedWas = speed;
      charge += chargeSum;
      slow += slowSum;
      melted += meltedSum;
      leftAmps = Math.max(-leftLimit, Math.min(leftLimit, leftAmps + leftAmpsSum));
      rightAmps = Math.max(-rightLimit, Math.min(rightLimit, rightAmps + rightAmpsSum));
      leftBridge += leftBridgeSum;
      rightBridge += rightBridgeSum;
      leftWinding += leftWindingSum;
      rightWinding += rightWindingSum;
      speed += speedSum;
      metres += metresSum;
      at += h;
      if ((speed * speedWas < 0 || Math.abs(speed) < 1e-4) && Math.abs(push) <= HOLD_NEWTONS) speed = 0;
      // The sum of steps is brought to the instant that it stands for.
      if (Math.abs(tickSeconds - at) < 1e-12) at = tickSeconds;
      if (Math.abs(fallSeconds - at) < 1e-12) at = fallSeconds;
    }
    listener?.(tickSeconds, speed, leftAmps, rightAmps, batteryVolts, leftDrive);
    look += 1;
    if (look === 20) {
      // A controller looks at its supply every 20 ms.
      look = 0;
      if (leftSupply < WARN_VOLTS) warnedLooks += 1;
      if (rightSupply < WARN_VOLTS) warnedLooks += 1;
    }
    if (tick < FUSED.firstTick) continue;

    // The signal chain: sample the pedal, map its count, make pulses, measure them.
    const clocks = conversionHalfClocks(tick === FUSED.firstTick);
    const connectedSeconds = (clocks.hold * halfClock) / hertz;
    const start = Math.ceil(tick / FUSED.adcPrescaler) * FUSED.adcPrescaler;
    const sampleSeconds = (start + clocks.hold * halfClock) / hertz;
    const resultSeconds = (start + clocks.result * halfClock) / hertz;
    for (;;) {
      const next = ramps[ramp];
      const isEnd = rampEnd <= sampleSeconds && (next === undefined || rampEnd <= next.seconds);
      const when = isEnd ? rampEnd : (next?.seconds ?? Number.POSITIVE_INFINITY);
      if (when > sampleSeconds) break;
      sensed = laggedTravel(sensed, travel, slope, when - anchor, 3e-3);
      travel += slope * (when - anchor);
      anchor = when;
      if (isEnd) {
        travel = target;
        slope = 0;
        rampEnd = Number.POSITIVE_INFINITY;
      } else {
        target = next!.travel;
        slope = next!.overSeconds === 0 ? 0 : (target - travel) / next!.overSeconds;
        if (next!.overSeconds === 0) travel = target;
        rampEnd = next!.overSeconds === 0 ? Number.POSITIVE_INFINITY : when + next!.overSeconds;
        ramp += 1;
      }
    }
    const volts =
      signalVolts(laggedTravel(sensed, travel, slope, sampleSeconds - anchor, 3e-3), 0.91, 4.08, 5, 5, true) +
      6e-3 * noise.normal();
    held = heldVolts(held, volts, 11_000, 14e-12, connectedSeconds);
    const written = mappedCount(
      countOf(held, 5, 10),
      FUSED.input[0],
      FUSED.input[1],
      FUSED.output[0],
      FUSED.output[1],
      32,
    );
    // Frames that begin before this write still use the old compare value; at the same instant the write comes first.
    while (frameTick / hertz < resultSeconds) {
      const riseSeconds = frameTick / hertz;
      fallSeconds = (frameTick + highTicks('fast', compare, FUSED.top) * FUSED.pwmPrescaler) / hertz;
      const leftPulse = measuredSeconds(fallSeconds - riseSeconds, 0, 0);
      const rightPulse = measuredSeconds(fallSeconds - riseSeconds, 0, 0);
      nextLeft = 0;
      nextRight = 0;
      if (fallSeconds > leftArmedSince) nextLeft = Math.max(0, driveOf(leftPulse, scale));
      else if (Math.abs(leftPulse - 1500e-6) > 20e-6) leftArmedSince = Number.POSITIVE_INFINITY;
      else if (leftArmedSince === Number.POSITIVE_INFINITY) leftArmedSince = fallSeconds + 1;
      if (fallSeconds > rightArmedSince) nextRight = Math.max(0, driveOf(rightPulse, scale));
      else if (Math.abs(rightPulse - 1500e-6) > 20e-6) rightArmedSince = Number.POSITIVE_INFINITY;
      else if (rightArmedSince === Number.POSITIVE_INFINITY) rightArmedSince = fallSeconds + 1;
      driveSum += nextLeft + nextRight;
      pulseCount += 2;
      frameTick += frame;
    }
    compare = written & 0xff;
    // The timer is started by the first write, at the next beat of its divider.
    if (frameTick === Number.POSITIVE_INFINITY)
      frameTick = Math.ceil(Math.round(resultSeconds * hertz) / FUSED.pwmPrescaler) * FUSED.pwmPrescaler;
  }
  return {
    pulseCount,
    driveSum,
    warnedLooks,
    metres,
    charge,
    melted,
    bridgeCelsius: leftBridge,
    windingCelsius: leftWinding,
  };
}
