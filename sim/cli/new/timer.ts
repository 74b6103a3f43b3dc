/** What a board's timer and converter make of the answers: the usual settings and constants, before anything is tried. */
import { countOf } from '../../../models/adc.ts';
import { frameTicks, highTicks, type PwmMode } from '../../../models/pwm-timer.ts';
import { type Answers, numberOf, wordOf } from './answers.ts';

/** Bits of the converter in boards of this kind. */
export const ADC_BITS = 10;
/** Counts that the mapping keeps away from what the pedal gives at rest and at full, so that noise and drift stay outside. */
const SPARE_COUNTS = 4;
const USUAL_FRAME_SECONDS = 0.02;

const modeOf = (answers: Answers): PwmMode => wordOf(answers, 'timer-mode') as PwmMode;
const bitsOf = (answers: Answers): number => Number(wordOf(answers, 'timer-bits'));

export const mostTop = (answers: Answers): number => 2 ** bitsOf(answers) - 1;

export function topOf(answers: Answers): number {
  const top = numberOf(answers, 'top');
  return Number.isNaN(top) ? mostTop(answers) : top;
}

export function tickSeconds(answers: Answers, prescaler = Number(wordOf(answers, 'prescaler'))): number {
  return prescaler / numberOf(answers, 'clock');
}

/** The longest pulse that anything asks for. */
export function longestPulse(answers: Answers): number {
  return Math.max(...(['neutral', 'full', 'reverse-pulse'] as const).map((name) => numberOf(answers, name) || 0));
}

/** Whether a timer with this divider and top can make the longest pulse and still fall. */
export function canMake(answers: Answers, prescaler: number, top: number): boolean {
  const tick = tickSeconds(answers, prescaler);
  // Fifty millionths of a tick of slack would be a coincidence; a whole tick beyond it is room.
  return highTicks(modeOf(answers), top - 2, top) * tick >= longestPulse(answers);
}

/** The dividers with which the longest pulse can be made. */
export function dividersThatDo(answers: Answers, dividers: readonly number[]): number[] {
  return dividers.filter((divider) => canMake(answers, divider, mostTop(answers)));
}

/** The finest divider with which the frame is one that the controllers take, or the finest that does at all. */
export function usualDivider(answers: Answers, dividers: readonly number[]): number {
  const able = dividersThatDo(answers, dividers).sort((a, b) => rarity(a) - rarity(b) || a - b);
  const frame = (divider: number): number =>
    frameTicks(modeOf(answers), mostTop(answers)) * tickSeconds(answers, divider);
  const [least, most] = [numberOf(answers, 'period-least'), numberOf(answers, 'period-most')];
  // A top register shortens the frame as needed; without one the frame is what it is.
  const isFree = wordOf(answers, 'timer-bits') === '16';
  const fits = (divider: number): boolean =>
    isFree ? frame(divider) >= Math.min(USUAL_FRAME_SECONDS, most) : frame(divider) >= least && frame(divider) <= most;
  return able.find(fits) ?? able[0]!;
}

/** 32 and 128 are dividers of one timer of the chip alone. */
const rarity = (divider: number): number => (divider === 32 || divider === 128 ? 1 : 0);

/** The top for a frame of 20 ms, as far as the controllers take that. */
export function usualTop(answers: Answers): number {
  const [least, most] = [numberOf(answers, 'period-least'), numberOf(answers, 'period-most')];
  const frame = Math.max(
    Math.min(USUAL_FRAME_SECONDS, (least + most) / 2),
    longestPulse(answers) + 4 * tickSeconds(answers),
  );
  const ticks = frame / tickSeconds(answers);
  const top = Math.ceil(modeOf(answers) === 'fast' ? ticks - 1 : ticks / 2);
  return Math.min(top, mostTop(answers));
}

/** The least top with which the longest pulse can be made. */
export function leastTop(answers: Answers): number {
  const ticks = longestPulse(answers) / tickSeconds(answers);
  return Math.min(mostTop(answers), Math.ceil(modeOf(answers) === 'fast' ? ticks : ticks / 2) + 3);
}

/** The count that the converter gives for the signal at rest or at full, its reference being the supply of the pedal. */
export function countFor(answers: Answers, name: 'pedal-rest' | 'pedal-full'): number {
  const supply = numberOf(answers, 'rail');
  const isSwitch = wordOf(answers, 'pedal') === 'switch';
  const volts = isSwitch ? (name === 'pedal-full' ? supply : 0) : numberOf(answers, name);
  const scale = isSwitch || wordOf(answers, 'ratiometric') === 'no' ? 1 : supply / numberOf(answers, 'pedal-supply');
  return countOf(volts * scale, supply, ADC_BITS);
}

/** Counts for rest and full a little inside of what the pedal gives. */
export function usualCounts(answers: Answers): readonly [rest: number, full: number] {
  const [rest, full] = [countFor(answers, 'pedal-rest'), countFor(answers, 'pedal-full')];
  const inwards = Math.sign(full - rest) * SPARE_COUNTS;
  return [rest + inwards, full - inwards];
}

/** The compare nearest to neutral, and the first that gives full drive. */
export function usualCompares(answers: Answers): readonly [rest: number, full: number] {
  const tick = tickSeconds(answers);
  const isFast = modeOf(answers) === 'fast';
  const compareFor = (seconds: number): number => (isFast ? seconds / tick - 1 : seconds / tick / 2);
  const within = (compare: number): number => Math.min(Math.max(compare, 0), topOf(answers) - 1);
  const [neutral, full] = [numberOf(answers, 'neutral'), numberOf(answers, 'full')];
  const rest = within(Math.round(compareFor(neutral)));
  // A hair of slack keeps a whole number of ticks from becoming the next one by rounding.
  const end = full > neutral ? Math.ceil(compareFor(full) - 1e-9) : Math.floor(compareFor(full) + 1e-9);
  if (within(end) !== rest) return [rest, within(end)];
  return rest > 0 && full < neutral ? [rest, rest - 1] : [rest, rest + 1];
}
