/**
 * Power stage of a motor controller: the averaged bridge between its supply lead and the motor.
 *
 *     driving   u = duty x supply - Ron x i         current from the supply = duty x i
 *     limited   at the current limit the duty falls to what holds the current there
 *     braking   u = (1 - brake) x supply - Ron x i  against the motion, as soon as the back-emf exceeds it; regenerative
 *               braking gives the current back to the supply, dynamic braking burns it
 *     coasting  braking with brake 0: nothing flows unless the back-emf exceeds the supply
 *     heat      temperature' = (ambient + loss x thermal resistance - temperature) / time constant
 *
 * The average over a drive period is taken, not its ripple: electrical time constants are long against it. Switching
 * loss is 1/2 x supply x i x switching time x drive frequency (any text on power electronics).
 */
import type { Host } from '../../sim/kernel/part.ts';
import { cableOhms } from '../wire.ts';
import type { Parameters } from './parameters.ts';

export interface PowerStage {
  /** What the bridge is to do from now on: drive -1 to 1, or brake 0 to 1, or neither. */
  set(drive: number, brake: number, isPowered: boolean): void;
  /** Current limit at the present temperature as a share of the rated one. */
  derating(): number;
  isTooHot(): boolean;
  isCool(): boolean;
  /** The current limit has been at work in the latest step. */
  isLimiting(): boolean;
}

/** Closer than this share to a limit the current counts as being there. */
const AT_LIMIT = 0.999;
/** Diodes take a current below this share of the limit for none. */
const NOTHING = 1e-6;
/** A back-emf above this share of the supply may begin to conduct. */
const NEAR_SUPPLY = 0.8;

export function makePowerStage(host: Host, numbers: Parameters): PowerStage {
  const { power } = numbers;
  const { thermal } = power;
  const { values, in: inPorts, out } = host;
  const supplyIn = inPorts.supply!;
  const ampsIn = inPorts.amps!;
  const emfIn = inPorts.emf!;
  const dropIn = inPorts.drop!;
  const supplyOut = out.supply!;
  const currentOut = out.current!;
  const voltsOut = out.volts!;
  const dutyOut = out.duty!;
  const leastOut = out.least!;
  const mostOut = out.most!;
  const lossOut = out.loss!;
  const temperatureOut = out.temperature!;
  const leadOhms = cableOhms(power.lead);
  const onOhms = power['on-resistance'];
  const railIn = inPorts.rail!;
  const hasRail = inPorts.rail! >= 0;
  const switchingShare = 0.5 * power['switching-time'] * power.frequency;
  const hasMotor = ampsIn >= 0;
  const isSynchronous = power.freewheel === 'synchronous';
  const isRegenerative = power.braking === 'regenerative';
  const state = {
    drive: 0,
    brake: 0,
    isPowered: false,
    limitAmps: power.limit,
    /** Limit that the current stood at when the step began: 1 the greatest, -1 the least, 0 neither. */
    atLimit: 0,
  };
  host.attach({ state });
  /** 1 where the present draw holds the current: its voltage is then what the motor needs for that. */
  const isHolding = new Uint8Array(1);

  /**
   * A limit works from the step on that begins at it, as a step that passes it ends there (motor.ts): within a step the
   * slopes then have no edge. It lets go within a step, where the bridge would give less by itself.
   */
  const isHeldAt = (limit: number): boolean => state.atLimit === limit;
  /** Duty cycle with which the bridge holds the current where it is; a supply that is gone or too low does not keep it from that. */
  const holdingDuty = (dropVolts: number, supplyVolts: number): number => {
    isHolding[0] = 1;
    return supplyVolts > 0 ? Math.min(1, dropVolts / supplyVolts) : 0;
  };
  /** Diodes let nothing flow while the back-emf exceeds what the bridge would give. Without arguments: they would be boxed. */
  const isBlocking = (): boolean => {
    const sign = Math.sign(state.drive);
    return (
      isHeldAt(-sign) &&
      values[ampsIn]! * sign <= NOTHING * state.limitAmps &&
      Math.abs(state.drive) * values[supplyOut]! < values[emfIn]! * sign
    );
  };
  const drawBlocking = (): void => {
    values[dutyOut] = values[emfIn]! / values[supplyOut]!;
    values[currentOut] = power.idle;
    values[leastOut] = 0;
    values[mostOut] = 0;
  };
  const drawDriving = (supplyVolts: number, amps: number): void => {
    const sign = Math.sign(state.drive);
    const forward = amps * sign;
    const drop = values[dropIn]! * sign + onOhms * forward;
    const least = isSynchronous ? -state.limitAmps : 0;
    let duty = Math.abs(state.drive);
    const free = duty * supplyVolts;
    const isAtMost = isHeldAt(sign) && forward >= AT_LIMIT * state.limitAmps;
    const isAtLeast = isHeldAt(-sign) && forward <= AT_LIMIT * least;
    if ((isAtMost && free > drop) || (isAtLeast && free < drop)) duty = holdingDuty(drop, supplyVolts);
    if (isAtMost || isAtLeast) leaning[0] = 1;
    values[dutyOut] = duty * sign;
    values[currentOut] = duty * forward + switchingShare * Math.abs(amps) + power.idle;
    values[leastOut] = sign > 0 ? least : -state.limitAmps;
    values[mostOut] = sign > 0 ? state.limitAmps : -least;
  };
  const drawBraking = (supplyVolts: number, amps: number): void => {
    const emf = values[emfIn]!;
    const sign = Math.sign(emf);
    const share = 1 - state.brake;
    if (state.isPowered && Math.abs(emf) > NEAR_SUPPLY * share * supplyVolts && share > 0) leaning[0] = 1;
    const conducts = state.isPowered && Math.abs(emf) > share * supplyVolts && sign !== 0;
    values[leastOut] = conducts && sign > 0 ? -power['brake-limit'] : 0;
    values[mostOut] = conducts && sign < 0 ? power['brake-limit'] : 0;
    if (!conducts) {
      // Nothing flows: the terminals follow the back-emf.
      values[dutyOut] = 0;
      values[currentOut] = state.isPowered ? power.idle : 0;
      return;
    }
    const drop = values[dropIn]! + onOhms * amps;
    let duty = share * sign;
    const isAtLimit = isHeldAt(-sign) && -amps * sign >= AT_LIMIT * power['brake-limit'];
    if (isAtLimit && duty * supplyVolts * sign < drop * sign) duty = sign * holdingDuty(drop * sign, supplyVolts);
    values[dutyOut] = duty;
    values[currentOut] = (isRegenerative ? duty * amps : 0) + power.idle;
  };
  const heatSeconds = thermal.resistance * thermal.capacity;
  const {
    x,
    dx,
    books,
    bookRates,
    state: base,
    book,
    leaning,
  } = host.flow({
    states: [{ name: 'temperature', start: thermal.ambient, scale: 100 }],
    bookCount: 1,
    loops: [supplyOut],
    draw: () => {
      const supplyVolts = values[supplyOut]!;
      isHolding[0] = 0;
      values[temperatureOut] = x[base]!;
      if (!hasMotor) values[currentOut] = state.isPowered ? power.idle : 0;
      else if (!isSynchronous && state.drive !== 0 && supplyVolts > 0 && isBlocking()) drawBlocking();
      else if (state.drive !== 0 && supplyVolts > 0) drawDriving(supplyVolts, values[ampsIn]!);
      else drawBraking(supplyVolts, values[ampsIn]!);
    },
    feed: () => {
      const leadAmps = values[currentOut]! + (hasRail ? values[railIn]! : 0);
      const supplyVolts = Math.max(0, values[supplyIn]! - leadOhms * leadAmps);
      values[supplyOut] = supplyVolts;
      if (hasMotor) {
        const isStill = isHolding[0] === 1 || (values[leastOut] === 0 && values[mostOut] === 0);
        values[voltsOut] = isStill ? values[dropIn]! : values[dutyOut]! * supplyVolts - onOhms * values[ampsIn]!;
      }
      values[lossOut] = books[book]!;
    },
    slope: () => {
      const leadAmps = values[currentOut]! + (hasRail ? values[railIn]! : 0);
      const watts = lossWatts();
      dx[base] = (thermal.ambient + Math.max(0, watts) * thermal.resistance - x[base]!) / heatSeconds;
      bookRates[book] = (values[supplyIn]! - values[supplyOut]!) * leadAmps + watts;
    },
    settle: () => {
      state.limitAmps = power.limit * stage.derating();
      const before = state.atLimit;
      state.atLimit = hasMotor ? limitAt(values[ampsIn]!) : 0;
      return state.atLimit !== before;
    },
  });
  /** Which limit a current is at, by what the limits are from now on. */
  const limitAt = (amps: number): number => {
    const { drive, limitAmps } = state;
    if (drive === 0)
      return amps >= AT_LIMIT * power['brake-limit'] ? 1 : amps <= -AT_LIMIT * power['brake-limit'] ? -1 : 0;
    const sign = Math.sign(drive);
    const forward = amps * sign;
    if (forward >= AT_LIMIT * limitAmps) return sign;
    return forward <= (isSynchronous ? -AT_LIMIT : NOTHING) * limitAmps ? -sign : 0;
  };
  const lossWatts = (): number =>
    values[supplyOut]! * values[currentOut]! - (hasMotor ? values[voltsOut]! * values[ampsIn]! : 0);
  const stage: PowerStage = {
    set: (drive, brake, isPowered) => {
      if (drive === state.drive && brake === state.brake && isPowered === state.isPowered) return;
      state.drive = drive;
      state.brake = brake;
      state.isPowered = isPowered;
      host.disturb();
    },
    derating: () => deratedShare(x[base]!, thermal.derate, thermal.trip),
    isTooHot: () => x[base]! >= thermal.trip,
    isCool: () => x[base]! < thermal.derate,
    isLimiting: () => state.drive !== 0 && state.atLimit === Math.sign(state.drive),
  };
  return stage;
}

/** Share of the current limit that is left at a temperature: whole up to `derate`, a tenth just below `trip`. */
export function deratedShare(celsius: number, derateCelsius: number, tripCelsius: number): number {
  if (celsius <= derateCelsius) return 1;
  return Math.max(0.1, 1 - (0.9 * (celsius - derateCelsius)) / (tripCelsius - derateCelsius));
}
