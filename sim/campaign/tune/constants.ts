/**
 * The mapping constants with the widest worst-case margin for one timer setting.
 *
 * For each compare that may be neutral: the high end nearest to it that leaves full drive as much margin as rest has. More
 * would only give away travel of the pedal. Of these pairs the one with the widest margin is taken. The margin at rest
 * rises and falls once over the compares, so that where there are very many a coarse look finds the stretch to search.
 */

import { comparesWithin } from '../../../models/pwm-timer.ts';
import type { LawConstants } from '../../../models/throttle/law-range.ts';
import { integerFor } from '../../../models/throttle/law-range.ts';
import type { ThrottlePath } from '../../../models/throttle/path.ts';
import {
  type Constants,
  type Need,
  type Standing,
  standingOf,
  type TimerSetting,
} from '../../../models/throttle/standing.ts';

export interface Choice {
  readonly constants: Constants;
  readonly standing: Standing;
}

/** Looked at one by one up to so many; beyond, in strides first. */
const COMPARES_MOST = 64;

/** Undefined where the timer cannot make a pulse anywhere near neutral. */
export function bestConstants(
  path: ThrottlePath,
  setting: TimerSetting,
  law: Pick<LawConstants, 'input' | 'clamp' | 'deadBand'>,
): Choice | undefined {
  const lows = neutralCompares(path, setting);
  if (lows === undefined) return undefined;
  const at = (low: number): Choice | undefined => withHighEnd(path, setting, law, low);
  const stride = Math.max(1, Math.ceil((lows.most - lows.least + 1) / COMPARES_MOST));
  let best = widest(spaced(lows.least, lows.most, stride).map(at));
  if (best !== undefined && stride > 1) {
    const { output } = best.constants;
    const [from, to] = [Math.max(lows.least, output[0] - stride), Math.min(lows.most, output[0] + stride)];
    best = widest([best, ...spaced(from, to, 1).map(at)]);
  }
  return best === undefined ? undefined : settled(path, setting, withReverse(path, setting, best));
}

function spaced(from: number, to: number, stride: number): number[] {
  return Array.from({ length: Math.floor((to - from) / stride) + 1 }, (_, index) => from + index * stride);
}

const widest = (choices: readonly (Choice | undefined)[]): Choice | undefined =>
  choices.reduce<Choice | undefined>(
    (best, choice) =>
      choice !== undefined &&
      (best === undefined || choice.standing.worst.seconds > best.standing.worst.seconds + 1e-12)
        ? choice
        : best,
    undefined,
  );

/** Compares whose pulse may lie where all controllers rest, and one beside them on both sides. */
function neutralCompares(
  path: ThrottlePath,
  { mode, prescaler, top }: TimerSetting,
): { least: number; most: number } | undefined {
  const tick = prescaler / path.middle.clockHertz;
  const least = Math.max(...path.controllers.map(({ rest }) => rest.least));
  const most = Math.min(...path.controllers.map(({ rest }) => rest.most));
  // Where windows do not overlap, what lies between them comes nearest.
  const found = comparesWithin(mode, Math.min(least, most) / tick, Math.max(least, most) / tick);
  const [from, to] = [Math.min(found.least, found.greatest) - 1, Math.max(found.least, found.greatest) + 1];
  const range = { least: Math.max(from, 0), most: Math.min(to, top - 2) };
  return range.least > range.most ? undefined : range;
}

function withHighEnd(
  path: ThrottlePath,
  setting: TimerSetting,
  law: Pick<LawConstants, 'input' | 'clamp' | 'deadBand'>,
  low: number,
): Choice | undefined {
  const [first] = path.controllers as [(typeof path.controllers)[0]];
  const direction = Math.sign(first.full.least - first.neutral.least);
  const choiceAt = (span: number): Choice => {
    const constants: Constants = { ...law, integer: 32, output: [low, low + direction * span], reverse: null };
    return { constants, standing: standingOf(path, setting, constants) };
  };
  return leastSpan(choiceAt, 'full', direction > 0 ? setting.top - 1 - low : low);
}

/** The span with the widest margin, about where `need` has as much as rest; without such a one, what comes nearest. */
function leastSpan(choiceAt: (span: number) => Choice, need: Need, spanMost: number): Choice | undefined {
  if (spanMost < 1) return undefined;
  const isEnough = ({ standing }: Choice): boolean =>
    leastOf(standing, need) >= Math.max(0, leastOf(standing, 'rest')) || !standing.hasPulses;
  let [low, high] = [0, spanMost];
  if (!isEnough(choiceAt(high))) return choiceAt(high);
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (isEnough(choiceAt(middle))) high = middle;
    else low = middle;
  }
  // Margin at full rises with the span and that at rest may fall, so that the best is here or one short of here. A step
  // further the line may be always high: then the last that gives pulses is as far as this timer goes.
  const [before, found] = [high > 1 ? choiceAt(high - 1) : undefined, choiceAt(high)];
  if (!found.standing.hasPulses) return before;
  return before !== undefined && before.standing.worst.seconds >= found.standing.worst.seconds ? before : found;
}

const leastOf = ({ margins }: Standing, need: Need): number =>
  Math.min(...margins.filter((margin) => margin.need === need).map(({ seconds }) => seconds));

/** The compare for full reverse, where the firmware has a range for it and a controller a pulse. */
function withReverse(path: ThrottlePath, setting: TimerSetting, choice: Choice): Choice {
  const needsIt =
    path.firmware.ranges?.reverse !== undefined && path.controllers.some(({ reverse }) => reverse !== null);
  if (!needsIt) return choice;
  const [low, high] = choice.constants.output;
  const direction = -Math.sign(high - low);
  const choiceAt = (span: number): Choice => {
    const constants = { ...choice.constants, reverse: low + direction * span };
    return { constants, standing: standingOf(path, setting, constants) };
  };
  return leastSpan(choiceAt, 'reverse', direction > 0 ? setting.top - 1 - low : low) ?? choice;
}

/** With the narrowest integers in which no count that the converter can give wraps round. */
function settled(path: ThrottlePath, setting: TimerSetting, { constants }: Choice): Choice {
  const counts = { least: 0, most: path.countMost };
  const outputs = [
    constants.output,
    ...(constants.reverse === null ? [] : [[constants.output[0], constants.reverse] as const]),
  ];
  const integer = outputs.some((output) => integerFor(counts, { ...constants, output }) === 32) ? 32 : 16;
  const narrowed: Constants = { ...constants, integer };
  return { constants: narrowed, standing: standingOf(path, setting, narrowed) };
}
