/**
 * The arithmetic of the two-controller bench fused by hand into one function: no kernel, no charts, no ports, no
 * faults, no script but ramps of the pedal. It is what the bench is measured against, and it makes the same pulses.
 */
import { conversionHalfClocks, countOf, heldVolts } from '../../models/adc.ts';
import { mappedCount } from '../../models/board/law.ts';
import { driveOf, measuredSeconds } from '../../models/controller/pulse.ts';
import { laggedTravel, signalVolts } from '../../models/pedal.ts';
import { highTicks } from '../../models/pwm-timer.ts';
import type { Stream } from '../../sim/kernel/random.ts';

export interface Ramp {
  readonly seconds: number;
  readonly travel: number;
  readonly overSeconds: number;
}

/** Numbers of the bench in test/speed/two-controllers.ts. */
export const FUSED = {
  hertz: 8e6,
  passesPerSecond: 1000,
  adcPrescaler: 64,
  pwmPrescaler: 256,
  top: 255,
  /** The board starts 65 ms after it has power, and makes its first pass a period later. */
  firstTick: 528_000,
  input: [186, 828],
  output: [46, 62],
} as const;

/** One count of the timer. */
const TICK_SECONDS = FUSED.pwmPrescaler / FUSED.hertz;

/** Told of each pulse at its end: its width, and the drive that the first controller makes of it. */
export type PulseListener = (fallSeconds: number, pulseSeconds: number, drive: number) => void;

/** Returns the sum of both drives over all pulses and the count of these, so that nothing can be left out. */
export function fusedRun(
  seconds: number,
  ramps: readonly Ramp[],
  noise: Stream,
  listener?: PulseListener,
): { readonly driveSum: number; readonly pulseCount: number } {
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
  const windows = [0, 0];
  const armedSince = [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
  const scale = { neutralSeconds: 1500e-6, fullSeconds: 2000e-6, reverseSeconds: 1000e-6, deadSeconds: 20e-6 };
  const endTick = seconds * hertz;
  for (let tick = FUSED.firstTick; tick <= endTick; tick += passTicks) {
    const clocks = conversionHalfClocks(tick === FUSED.firstTick);
    const connectedSeconds = (clocks.hold * halfClock) / hertz;
    const start = Math.ceil(tick / FUSED.adcPrescaler) * FUSED.adcPrescaler;
    const sampleSeconds = (start + clocks.hold * halfClock) / hertz;
    const resultSeconds = (start + clocks.result * halfClock) / hertz;
    for (;;) {
      const next = ramps[ramp];
      const isEnd = rampEnd <= sampleSeconds && (next === undefined || rampEnd <= next.seconds);
      const at = isEnd ? rampEnd : (next?.seconds ?? Number.POSITIVE_INFINITY);
      if (at > sampleSeconds) break;
      sensed = laggedTravel(sensed, travel, slope, at - anchor, 3e-3);
      travel += slope * (at - anchor);
      anchor = at;
      if (isEnd) {
        travel = target;
        slope = 0;
        rampEnd = Number.POSITIVE_INFINITY;
      } else {
        target = next!.travel;
        slope = next!.overSeconds === 0 ? 0 : (target - travel) / next!.overSeconds;
        if (next!.overSeconds === 0) travel = target;
        rampEnd = next!.overSeconds === 0 ? Number.POSITIVE_INFINITY : at + next!.overSeconds;
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
      const fallSeconds = (frameTick + highTicks('fast', compare, FUSED.top) * FUSED.pwmPrescaler) / hertz;
      let firstDrive = 0;
      for (let controller = 0; controller < 2; controller += 1) {
        const pulse = measuredSeconds(fallSeconds - riseSeconds, 0, 0);
        const isNeutral = Math.abs(pulse - 1500e-6) <= 20e-6;
        if (fallSeconds > armedSince[controller]!) {
          const drive = driveOf(pulse, scale);
          driveSum += drive;
          if (controller === 0) firstDrive = drive;
        } else if (!isNeutral) {
          armedSince[controller] = Number.POSITIVE_INFINITY;
          windows[controller] = 0;
        } else if (windows[controller] === 0) {
          windows[controller] = 1;
          armedSince[controller] = fallSeconds + 1;
        }
        pulseCount += 1;
      }
      listener?.(fallSeconds, highTicks('fast', compare, FUSED.top) * TICK_SECONDS, firstDrive);
      frameTick += frame;
    }
    compare = written & 0xff;
    // The timer is started by the first write, at the next beat of its divider.
    if (frameTick === Number.POSITIVE_INFINITY)
      frameTick = Math.ceil(Math.round(resultSeconds * hertz) / FUSED.pwmPrescaler) * FUSED.pwmPrescaler;
  }
  return { driveSum, pulseCount };
}
