/**
 * How a timer setting with its mapping constants stands against what the controllers ask, in the worst case of all
 * tolerances:
 *
 *     frame    each frame is one that the controller takes
 *     rest     with the foot off, the pulse lies where it arms and stands still
 *     full     with the pedal home, the pulse gives full drive
 *     reverse  the same backwards, where the bench has it
 *     valid    no pulse between them is one that the controller throws away
 *
 * A margin is a time: how far the worst case is from failing, below 0 if it fails.
 */
import { driveOf, measuredSeconds } from '../controller/pulse.ts';
import { frameTicks, highTicks, type PwmMode } from '../pwm-timer.ts';
import { clearance, hull, type Interval } from './interval.ts';
import { compareFor, comparesFor, type LawConstants } from './law-range.ts';
import { type ControllerNeeds, measuredRange, type ThrottlePath } from './path.ts';

export interface TimerSetting {
  readonly mode: PwmMode;
  readonly bits: 8 | 9 | 10 | 16;
  readonly prescaler: number;
  readonly top: number;
}

export interface Constants extends LawConstants {
  /** Compare for full reverse at full pedal; null where the bench has no reverse. */
  readonly reverse: number | null;
}

export type Need = 'frame' | 'rest' | 'full' | 'reverse' | 'valid';

export interface Margin {
  readonly need: Need;
  readonly controller: string;
  readonly seconds: number;
  /** What the controller may measure, and where it would have to lie; an end may be infinite. */
  readonly measured: Interval;
  readonly wanted: Interval;
}

export interface Standing {
  readonly margins: readonly Margin[];
  readonly worst: Margin;
  /** A compare outside what gives pulses at all: no pulse, or a line that is always high. */
  readonly hasPulses: boolean;
  readonly restCompares: Interval;
  readonly fullCompares: Interval;
}

export function standingOf(path: ThrottlePath, setting: TimerSetting, constants: Constants): Standing {
  const restCompares = comparesFor(path.restCounts, constants);
  const fullCompares = comparesFor(path.fullCounts, constants);
  const reverseCompares =
    constants.reverse === null ? null : comparesFor(path.fullCounts, backwards(constants, constants.reverse));
  const all = hull(restCompares, fullCompares, ...(reverseCompares === null ? [] : [reverseCompares]));
  const width = (compares: Interval): Interval => pulseRange(path, setting, compares);
  const margins = path.controllers.flatMap((needs): Margin[] => {
    const direction = Math.sign(needs.full.least - needs.neutral.least);
    const beyond = (end: Interval, sign: number): Interval =>
      sign > 0
        ? { least: end.most, most: Number.POSITIVE_INFINITY }
        : { least: Number.NEGATIVE_INFINITY, most: end.least };
    const margin = (need: Need, measured: Interval, wanted: Interval): Margin => ({
      need,
      controller: needs.name,
      seconds: clearance(measured, wanted),
      measured,
      wanted,
    });
    return [
      margin('frame', frameRange(path, setting, needs), needs.period),
      margin('rest', measuredRange(width(restCompares), needs), needs.rest),
      margin('full', measuredRange(width(fullCompares), needs), beyond(needs.full, direction)),
      ...(reverseCompares === null || needs.reverse === null
        ? []
        : [margin('reverse', measuredRange(width(reverseCompares), needs), beyond(needs.reverse, -direction))]),
      margin('valid', measuredRange(width(all), needs), needs.valid),
    ];
  });
  const worst = margins.reduce((least, margin) => (margin.seconds < least.seconds ? margin : least));
  const hasPulses =
    all.most < setting.top && highTicks(setting.mode, Math.max(all.least, 0), setting.top) > 0 && all.least >= 0;
  return { margins, worst, hasPulses, restCompares, fullCompares };
}

/** The law with the reverse compare at its high end. */
export const backwards = (constants: Constants, reverse: number): LawConstants => ({
  ...constants,
  output: [constants.output[0], reverse],
});

/** High time on the line for a range of compare values, over the board clock's tolerance. */
export function pulseRange(
  { clockHertz }: ThrottlePath,
  { mode, prescaler, top }: TimerSetting,
  compares: Interval,
): Interval {
  return {
    least: (highTicks(mode, compares.least, top) * prescaler) / clockHertz.most,
    most: (highTicks(mode, compares.most, top) * prescaler) / clockHertz.least,
  };
}

/** Time from pulse to pulse as the controller measures it. */
function frameRange(
  { clockHertz }: ThrottlePath,
  { mode, prescaler, top }: TimerSetting,
  needs: ControllerNeeds,
): Interval {
  const ticks = frameTicks(mode, top) * prescaler;
  const { clockError } = needs;
  return {
    least: measuredSeconds(ticks / clockHertz.most, clockError.least, 0),
    most: measuredSeconds(ticks / clockHertz.least, clockError.most, 0),
  };
}

/** Drive steps that a slow sweep of the pedal passes on the first controller, everything at its middle. */
export function driveSteps(path: ThrottlePath, { mode, prescaler, top }: TimerSetting, law: LawConstants): number {
  const { restCount, fullCount, clockHertz } = path.middle;
  const { middle } = path.controllers[0]!;
  const scale = { ...middle, reverseSeconds: Number.NaN };
  const step = Math.sign(fullCount - restCount) || 1;
  let [highest, steps] = [0, 0];
  for (let count = restCount; (fullCount - count) * step >= 0; count += step) {
    const pulse = (highTicks(mode, compareFor(count, law), top) * prescaler) / clockHertz;
    const drive = driveOf(measuredSeconds(pulse, middle.clockError, middle.resolutionSeconds), scale);
    if (drive <= highest) continue;
    highest = drive;
    steps += 1;
  }
  return steps;
}
