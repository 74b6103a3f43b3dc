/**
 * Rules between values: each right for itself, but not together. A rule looks at the middles of the quantities.
 *
 * An error is a bench that cannot be; a warning is one that can be built but will surprise its builder.
 */
import type { PartKind } from '../sim/kernel/part.ts';
import { formatQuantity, nominal } from '../sim/units/index.ts';
import { ADVISED_ADC_HERTZ } from './adc.ts';
import type { Parameters as Controller } from './controller/parameters.ts';
import { powerRules } from './power-rules.ts';
import { comparesWithin, frameTicks, highTicks, type PwmMode, topOf } from './pwm-timer.ts';

export interface RuleFinding {
  /** Where in the bench file. */
  readonly path: readonly (string | number)[];
  readonly severity: 'error' | 'warning';
  readonly says: string;
  readonly allowed?: string;
  readonly nearest?: string;
}

/** What a rule needs of a part. */
interface DescribedPart {
  readonly name: string;
  readonly kind: PartKind;
  readonly path: readonly string[];
  readonly parameters: unknown;
}

const time = (seconds: number): string => formatQuantity(seconds, 'time');

export function rules(parts: readonly DescribedPart[]): RuleFinding[] {
  const numbers = <T>(kind: string): T | undefined => {
    const part = parts.find((candidate) => candidate.kind.kind === kind);
    return part === undefined ? undefined : (nominal(part.parameters) as T);
  };
  const controllers = parts.filter((part) => part.kind.kind === 'controller');
  // A compiled image sets timer and converter up by itself: what the bench says of them is then not at work.
  const isImage = numbers<{ kind: string }>('firmware')?.kind === 'image';
  return [
    ...pedalRules(numbers('pedal')!),
    ...(isImage ? [] : boardRules(numbers('board')!, numbers('adc')!)),
    ...mappingRules(numbers('firmware'), numbers('pwm-timer')!, numbers('adc')!),
    ...controllers.flatMap((part) => controllerRules(part.path, nominal(part.parameters) as Controller)),
    ...(isImage ? [] : alike(controllers)).flatMap((parts) =>
      pulseRules(
        parts.map((part) => part.name),
        nominal(parts[0]!.parameters) as Controller,
        numbers('pwm-timer')!,
        numbers('board')!,
      ),
    ),
    ...railRules(numbers('rail')!, controllers),
    ...selectorRules(numbers('selector')),
    ...receiverRules(numbers('receiver')),
    ...powerRules(parts),
  ];
}

interface PedalNumbers {
  readonly kind: string;
  readonly rest: number;
  readonly full: number;
  readonly at: number;
}

function pedalRules(pedal: PedalNumbers): RuleFinding[] {
  if (pedal.kind === 'switch') return [];
  const found: RuleFinding[] = [];
  if (pedal.rest === pedal.full)
    found.push({
      path: ['pedal', 'full'],
      severity: 'error',
      says: 'full is the same voltage as rest, so the pedal could not be told from one that stands still',
    });
  else if (pedal.rest > pedal.full)
    found.push({
      path: ['pedal', 'rest'],
      severity: 'warning',
      says: `rest (${formatQuantity(pedal.rest, 'voltage')}) is above full (${formatQuantity(pedal.full, 'voltage')}): a falling pedal; swap them if that is not meant`,
    });
  for (const key of ['rest', 'full'] as const) {
    if (pedal[key] > pedal.at)
      found.push({
        path: ['pedal', key],
        severity: 'error',
        says: `a sensor cannot give more than its supply of ${formatQuantity(pedal.at, 'voltage')}`,
      });
  }
  return found;
}

function boardRules(board: { clock: number }, adc: { prescaler: number }): RuleFinding[] {
  const adcHertz = board.clock / adc.prescaler;
  if (adcHertz <= ADVISED_ADC_HERTZ) return [];
  const nearest = [2, 4, 8, 16, 32, 64, 128].find((divider) => board.clock / divider <= ADVISED_ADC_HERTZ);
  return [
    {
      path: ['board', 'adc', 'prescaler'],
      severity: 'warning',
      says: `the ADC clock is ${formatQuantity(adcHertz, 'frequency')}; above ${formatQuantity(ADVISED_ADC_HERTZ, 'frequency')} it has less than its full resolution (datasheet 8271H p. 241)`,
      ...(nearest === undefined ? {} : { nearest: String(nearest) }),
    },
  ];
}

interface MappingNumbers {
  readonly kind: string;
  readonly input: readonly [number, number];
  readonly output: readonly [number, number];
  readonly integer: 16 | 32;
  readonly plausible?: readonly [number, number];
}
interface TimerNumbers {
  readonly bits: 8 | 9 | 10 | 16;
  readonly mode: PwmMode;
  readonly prescaler: number;
  readonly top?: number;
}

function mappingRules(firmware: MappingNumbers | undefined, timer: TimerNumbers, adc: { bits: number }): RuleFinding[] {
  if (firmware === undefined || firmware.kind !== 'mapping') return [];
  const found: RuleFinding[] = [];
  const path = (key: string): string[] => ['board', 'firmware', key];
  const most = 2 ** adc.bits - 1;
  const top = topOf(timer as never);
  if (firmware.input[0] === firmware.input[1])
    found.push({
      path: path('input'),
      severity: 'error',
      says: 'both ends of the input are the same count, and the law would divide by zero',
    });
  for (const value of firmware.input)
    if (value > most)
      found.push({ path: path('input'), severity: 'error', says: `the ADC gives counts of 0 to ${most} only` });
  for (const value of firmware.output) {
    if (value < 0 || value > top)
      found.push({
        path: path('output'),
        severity: 'error',
        says: `compare ${value} lies outside what the timer can hold`,
        allowed: `0 to ${top}`,
      });
  }
  if (firmware.plausible !== undefined && firmware.plausible[0] >= firmware.plausible[1])
    found.push({
      path: path('plausible'),
      severity: 'error',
      says: 'the window is empty: its low end must lie below its high end',
    });
  const product = Math.abs((firmware.input[1] - firmware.input[0]) * (firmware.output[1] - firmware.output[0]));
  if (firmware.integer === 16 && product > 32767)
    found.push({
      path: path('integer'),
      severity: 'warning',
      says: `the product reaches ${product}, more than a 16-bit integer holds (32767), and wraps round`,
    });
  return found;
}

function controllerRules(at: readonly string[], numbers: Controller): RuleFinding[] {
  const { pulse, arming, cutoff } = numbers;
  const [leastPulse, mostPulse] = pulse.valid;
  const found: RuleFinding[] = [];
  const window = [pulse.neutral - arming.window.below, pulse.neutral + arming.window.above] as const;
  if (window[0] < leastPulse || window[1] > mostPulse)
    found.push({
      path: [...at, 'arming', 'window'],
      severity: 'error',
      says: `the window of ${time(window[0])} to ${time(window[1])} is wider than the valid pulses`,
      allowed: `within ${time(leastPulse)} to ${time(mostPulse)}`,
    });
  for (const key of ['neutral', 'full', 'reverse'] as const) {
    const value = pulse[key];
    if (value !== undefined && (value < leastPulse || value > mostPulse))
      found.push({
        path: [...at, 'pulse', key],
        severity: 'error',
        says: 'the controller itself would not take it for a pulse',
        allowed: `${time(leastPulse)} to ${time(mostPulse)}`,
      });
  }
  if (Math.abs(pulse.full - pulse.neutral) <= (pulse.dead ?? Math.max(arming.window.above, arming.window.below)))
    found.push({
      path: [...at, 'pulse', 'full'],
      severity: 'error',
      says: 'full lies inside the dead band about neutral',
    });
  if (pulse.reverse !== undefined && (pulse.reverse - pulse.neutral) * (pulse.full - pulse.neutral) >= 0)
    found.push({
      path: [...at, 'pulse', 'reverse'],
      severity: 'error',
      says: 'reverse lies on the same side of neutral as full',
    });
  if (mostPulse >= pulse.period[1])
    found.push({
      path: [...at, 'pulse', 'period'],
      severity: 'error',
      says: `the longest valid pulse (${time(mostPulse)}) does not fit into the longest period`,
    });
  if (cutoff?.warn !== undefined && cutoff.warn < cutoff.cut)
    found.push({ path: [...at, 'cutoff', 'warn'], severity: 'warning', says: 'the warning comes only after the cut' });
  if (cutoff?.release !== undefined && cutoff.release < cutoff.cut)
    found.push({
      path: [...at, 'cutoff', 'release'],
      severity: 'error',
      says: `release lies below the cut at ${formatQuantity(cutoff.cut, 'voltage')}, so it would release and cut for ever`,
    });
  return found;
}

/** Controllers that want the same pulses, together, so that what is wrong for all of them is said once. */
function alike(controllers: readonly DescribedPart[]): DescribedPart[][] {
  const groups = new Map<string, DescribedPart[]>();
  for (const part of controllers) {
    const { input, pulse, arming } = nominal(part.parameters) as Controller;
    const wants = JSON.stringify([input, pulse.neutral, pulse.period, arming.window]);
    groups.set(wants, [...(groups.get(wants) ?? []), part]);
  }
  return [...groups.values()];
}

/** A pulse that the timer cannot make, or a frame that the controllers do not take. */
function pulseRules(
  names: readonly string[],
  numbers: Controller,
  timer: TimerNumbers,
  board: { clock: number },
): RuleFinding[] {
  if (numbers.input !== 'pwm') return [];
  const found: RuleFinding[] = [];
  const top = topOf(timer as never);
  const tick = timer.prescaler / board.clock;
  const frame = frameTicks(timer.mode, top) * tick;
  const [leastPeriod, mostPeriod] = numbers.pulse.period;
  const { neutral } = numbers.pulse;
  const whose = names.join(' and ');
  if (frame < leastPeriod || frame > mostPeriod) {
    found.push({
      path: ['board', 'pwm', 'prescaler'],
      severity: 'warning',
      says: `a frame lasts ${time(frame)}, outside the ${time(leastPeriod)} to ${time(mostPeriod)} of ${whose}: no arming`,
    });
  } else if (highTicks(timer.mode, top - 1, top) * tick < neutral) {
    found.push({
      path: ['board', 'pwm'],
      severity: 'error',
      says: `the longest pulse that this timer can make is ${time(frame)}, shorter than the neutral of ${whose}, ${time(neutral)}`,
    });
  } else {
    const { below, above } = numbers.arming.window;
    const { least, greatest } = comparesWithin(timer.mode, (neutral - below) / tick, (neutral + above) / tick);
    if (least > greatest)
      found.push({
        path: ['board', 'pwm'],
        severity: 'warning',
        says: `with ticks of ${time(tick)} no compare gives a pulse inside the arming window of ${whose}, ${time(neutral - below)} to ${time(neutral + above)}`,
      });
  }
  return found;
}

function railRules(
  rail: { readonly from?: string; readonly second?: { readonly from?: string } },
  controllers: readonly DescribedPart[],
): RuleFinding[] {
  const names = controllers.map((part) => part.name);
  const wanted = [
    { path: ['rail', 'from'], name: rail.from },
    { path: ['rail', 'second', 'from'], name: rail.second?.from },
  ];
  return wanted.flatMap(({ path, name }): RuleFinding[] =>
    name === undefined || names.includes(name)
      ? []
      : [{ path, severity: 'error', says: 'there is no such controller', allowed: names.join(', ') }],
  );
}

function selectorRules(
  selector: { readonly positions: readonly string[]; readonly start: string } | undefined,
): RuleFinding[] {
  if (selector === undefined) return [];
  const { positions, start } = selector;
  const found: RuleFinding[] = [];
  if (!positions.includes(start))
    found.push({
      path: ['selector', 'start'],
      severity: 'error',
      says: `the lever has no position ${start}`,
      allowed: positions.join(', '),
    });
  const twice = positions.find((position, index) => positions.indexOf(position) < index);
  if (twice !== undefined)
    found.push({
      path: ['selector', 'positions'],
      severity: 'error',
      says: `the lever passes ${twice} twice, and a step could not say which of the two is meant`,
    });
  return found;
}

interface ReceiverNumbers {
  readonly neutral: number;
  readonly full: number;
  readonly reverse: number;
  readonly frame: number;
}

function receiverRules(receiver: ReceiverNumbers | undefined): RuleFinding[] {
  if (receiver === undefined) return [];
  return (['neutral', 'full', 'reverse'] as const)
    .filter((key) => receiver[key] >= receiver.frame)
    .map((key) => ({
      path: ['receiver', key],
      severity: 'error',
      says: `a pulse of ${time(receiver[key])} does not end within a frame of ${time(receiver.frame)}`,
    }));
}
