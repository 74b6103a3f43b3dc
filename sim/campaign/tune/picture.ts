/** The pulse over the pedal's travel, for a picture: at the middles of all tolerances, and the range over them. */
import type { Interval } from '../../../models/throttle/interval.ts';
import { compareFor, comparesFor } from '../../../models/throttle/law-range.ts';
import { type ControllerNeeds, measuredRange, type ThrottlePath } from '../../../models/throttle/path.ts';
import { type Constants, pulseRange, type TimerSetting } from '../../../models/throttle/standing.ts';

export interface PicturePoint {
  /** 0 with the foot off, 1 with the pedal home. */
  readonly travel: number;
  readonly seconds: number;
  readonly range: Interval;
}

/** The pulse as the first controller measures it, at `count` places of the travel; at least two. */
export function pulseOverTravel(
  path: ThrottlePath,
  setting: TimerSetting,
  constants: Constants,
  count: number,
): PicturePoint[] {
  const [needs] = path.controllers as [ControllerNeeds];
  const { restCounts, fullCounts, middle } = path;
  const exact = { ...path, clockHertz: { least: middle.clockHertz, most: middle.clockHertz } };
  const between = (rest: number, full: number, travel: number): number => Math.round(rest + travel * (full - rest));
  return Array.from({ length: count }, (_, index) => {
    const travel = index / (count - 1);
    const compare = compareFor(between(middle.restCount, middle.fullCount, travel), constants);
    const counts = {
      least: between(restCounts.least, fullCounts.least, travel),
      most: between(restCounts.most, fullCounts.most, travel),
    };
    return {
      travel,
      seconds: pulseRange(exact, setting, { least: compare, most: compare }).least * (1 + needs.middle.clockError),
      range: measuredRange(pulseRange(path, setting, comparesFor(counts, constants)), needs),
    };
  });
}
