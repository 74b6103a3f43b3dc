/**
 * Every way in which a timer of the chip can make frames: timer, waveform mode, divider, and a top where a register sets
 * it. A free top changes nothing but the frame, so it is set for one frame that all controllers take.
 */

import { frameTicks } from '../../../models/pwm-timer.ts';
import { CHIP_TIMERS, type PwmSetup } from '../../../models/pwm-timer-registers.ts';
import type { ThrottlePath } from '../../../models/throttle/path.ts';

/** Frames about 50 times a second are common practice for servo pulses; no formal standard exists. */
const USUAL_FRAME_SECONDS = 0.02;
/** Distance to the ends of the accepted periods that a chosen frame keeps. */
const FRAME_GUARD = 0.05;
/** The least top that the datasheet allows (8161D, section 15.9.3). */
const LEAST_TOP = 3;

export function setupsFor(path: ThrottlePath): PwmSetup[] {
  const frameSeconds = frameFor(path);
  return CHIP_TIMERS.flatMap((timer) =>
    timer.modes.flatMap((waveform) =>
      timer.prescalers.flatMap(({ divider }): PwmSetup[] => {
        const most = 2 ** waveform.bits - 1;
        if (waveform.topFrom === 'fixed') return [{ timer, waveform, prescaler: divider, top: most }];
        const ticks = (frameSeconds * path.middle.clockHertz) / divider;
        const wanted = Math.round(waveform.mode === 'fast' ? ticks - 1 : ticks / 2);
        // As long as the counter allows where it is too short for that; 255 of 8 bits is the mode with the fixed top.
        const top = Math.min(wanted, waveform.bits === 8 ? most - 1 : most);
        return top < LEAST_TOP ? [] : [{ timer, waveform, prescaler: divider, top }];
      }),
    ),
  );
}

/** The frame that a free top is set for: the usual one if all controllers take it with room to spare, else in the middle. */
export function frameFor(path: ThrottlePath): number {
  const { least, most } = framesTaken(path);
  const [low, high] = [least * (1 + FRAME_GUARD), most * (1 - FRAME_GUARD)];
  if (low > high) return Math.sqrt(least * most);
  return low <= USUAL_FRAME_SECONDS && USUAL_FRAME_SECONDS <= high ? USUAL_FRAME_SECONDS : Math.sqrt(low * high);
}

/** Frames at the middle of the board's clock that every controller takes in the worst case of the clocks. */
function framesTaken({ controllers, clockHertz, middle }: ThrottlePath): {
  readonly least: number;
  readonly most: number;
} {
  const fast = middle.clockHertz / clockHertz.most;
  const slow = middle.clockHertz / clockHertz.least;
  return {
    least: Math.max(...controllers.map(({ period, clockError }) => period.least / (fast * (1 + clockError.least)))),
    most: Math.min(...controllers.map(({ period, clockError }) => period.most / (slow * (1 + clockError.most)))),
  };
}

export const frameSecondsOf = ({ waveform, prescaler, top }: PwmSetup, clockHertz: number): number =>
  (frameTicks(waveform.mode, top) * prescaler) / clockHertz;
