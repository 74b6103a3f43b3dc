/** What a controller says of itself when a cause is asked for: one sentence a link, in numbers. */
import type { Explain, Told } from '../../sim/kernel/part.ts';
import { formatQuantity } from '../../sim/units/index.ts';
import { cableOhms } from '../wire.ts';
import type { Parameters } from './parameters.ts';
import { deratedShare } from './power-stage.ts';

const time = (seconds: number): string => formatQuantity(seconds, 'time');

interface View {
  readonly name: string;
  readonly numbers: Parameters;
  readonly read: (signal: string) => number;
}

/** Why a waiting controller does not arm, and what its pulse would have to be. */
function tellWaiting({ name, numbers, read }: View): Told {
  const pulse = read(`${name}.pulse`);
  const neutral = read(`${name}.neutral`);
  const { above, below } = numbers.arming.window;
  const [leastPeriod, mostPeriod] = numbers.pulse.period;
  const period = read(`${name}.period`);
  const window = `arming window ${time(neutral - below)} to ${time(neutral + above)}`;
  const blink = `it waits and blinks ${numbers.arming.refuse.blink}`;
  if (pulse === 0) return { says: `${name} has seen no pulse since power-on`, next: linkOf(numbers) };
  if (period > 0 && (period < leastPeriod || period > mostPeriod)) {
    const short = period < leastPeriod;
    return {
      says: `${name} refuses the startup pulse: frames come every ${time(period)}, ${time(short ? leastPeriod - period : period - mostPeriod)} too ${short ? 'fast' : 'slow'} for the accepted ${time(leastPeriod)} to ${time(mostPeriod)}; ${blink}`,
      next: framesOf(numbers),
      wanted: { least: leastPeriod, most: mostPeriod, to: 'are accepted' },
    };
  }
  const over = pulse - (neutral + above);
  const under = neutral - below - pulse;
  if (over > 0 || under > 0) {
    const by = over > 0 ? `${time(over)} above` : `${time(under)} below`;
    return {
      says: `${name} refuses the startup pulse: ${time(pulse)} is ${by} its ${window}; ${blink}`,
      next: `${name}.pulse`,
      wanted: { least: neutral - below, most: neutral + above, to: 'arm' },
    };
  }
  return {
    says: `${name} sees ${time(pulse)}, inside its ${window}, and waits until it has lasted ${time(numbers.arming.hold)}`,
    next: `${name}.pulse`,
  };
}

const linkOf = (numbers: Parameters): string => (numbers.input === 'receiver' ? 'receiver.line' : 'pwm.line');
const framesOf = (numbers: Parameters): string => (numbers.input === 'receiver' ? 'receiver.line' : 'pwm.frame');

const volts = (value: number): string => formatQuantity(value, 'voltage');

/** One sentence for each mode that is neither waiting nor armed. */
function tellStopped(mode: string, { name, numbers, read }: View): Told {
  const supply = volts(read(`${name}.supply`));
  const pulse = time(read(`${name}.pulse`));
  if (mode === 'unpowered')
    return {
      says: `${name} is off: it gets ${supply} and needs ${volts(numbers['least-voltage'])}`,
      next: `${name}.supply`,
    };
  if (mode === 'starting')
    return { says: `${name} is starting up, which takes ${time(numbers.boot)}`, next: `${name}.supply` };
  if (mode === 'locked-out')
    return {
      says: `${name} locked itself out after ${time(numbers.arming.refuse.after)} of a wrong startup pulse (${pulse}); cycle its power`,
      next: `${name}.pulse`,
    };
  if (mode === 'cut-off')
    return {
      says: `${name} cut off: its supply, now ${supply}, had been below ${volts(numbers.cutoff?.cut ?? 0)} for ${time(numbers.cutoff?.delay ?? 0)}`,
      next: `${name}.supply`,
    };
  if (mode === 'over-temperature')
    return {
      says: `${name} switched its bridge off at ${celsius(read(`${name}.temperature`))}, its trip temperature being ${celsius(numbers.power.thermal.trip)}`,
      next: `${name}.temperature`,
    };
  if (mode === 'signal-lost')
    return {
      says: `${name} has seen no valid pulse for ${time(numbers['signal-loss'].after)}: ${numbers['signal-loss'].then}`,
      next: linkOf(numbers),
    };
  return {
    says: `${name} is learning its end points (${mode}): the pulse at power-on was ${pulse}`,
    next: `${name}.pulse`,
  };
}

const celsius = (value: number): string => formatQuantity(value, 'temperature');

/** What holds a driving controller back: its supply, its heat, or the current itself. */
function tellLimited({ name, numbers, read }: View): Told {
  const { power, cutoff } = numbers;
  const supply = read(`${name}.supply`);
  const temperature = read(`${name}.temperature`);
  const current = Math.abs(read(`motors.${name}.current`));
  if (cutoff?.limit !== undefined && supply < cutoff.limit)
    return {
      says: `${name} limits its drive to ${formatQuantity(cutoff['limit-to'], 'ratio')}: its supply of ${volts(supply)} is below ${volts(cutoff.limit)}`,
      next: `${name}.supply`,
    };
  const limit = power.limit * deratedShare(temperature, power.thermal.derate, power.thermal.trip);
  if (temperature > power.thermal.derate)
    return {
      says: `${name} lets only ${formatQuantity(limit, 'current')} flow instead of ${formatQuantity(power.limit, 'current')}: its switches are at ${celsius(temperature)}, above ${celsius(power.thermal.derate)}`,
      next: `${name}.temperature`,
    };
  return {
    says: `${name} is at its current limit: ${formatQuantity(current, 'current')} of ${formatQuantity(power.limit, 'current')}`,
    next: `motors.${name}.current`,
  };
}

const tellMode: Explain = ({ name, parameters, read, word }) => {
  const view: View = { name, numbers: parameters as Parameters, read };
  const mode = word(`${name}.mode`, read(`${name}.mode`));
  if (mode.startsWith('waiting-for-neutral')) return tellWaiting(view);
  if (mode === 'armed.limited') return tellLimited(view);
  if (mode.startsWith('armed')) {
    return {
      says: `${name} is ${mode}: pulse ${time(read(`${name}.pulse`))}, neutral ${time(read(`${name}.neutral`))}, full ${time(read(`${name}.full`))}`,
      next: `${name}.pulse`,
    };
  }
  return tellStopped(mode, view);
};

export const explain: Readonly<Record<string, Explain>> = {
  mode: tellMode,
  arming: tellMode,
  refusal: tellMode,
  steps: ({ name, value }) => ({
    says: `${name} went ${value} times higher than ever since power-on`,
    next: `${name}.drive`,
  }),
  drive: (link) => {
    const mode = link.word(`${link.name}.mode`, link.read(`${link.name}.mode`));
    const drive = formatQuantity(link.value, 'ratio');
    if (!mode.startsWith('armed')) {
      const why = tellMode(link);
      return { ...why, says: `drive ${drive}: ${why.says}` };
    }
    return {
      says: `${link.name} (${mode}) gives drive ${drive} for a pulse of ${time(link.read(`${link.name}.pulse`))}`,
      next: `${link.name}.pulse`,
    };
  },
  supply: ({ name, parameters, value, read, wired }) => {
    const { lead } = (parameters as Parameters).power;
    const splitter = wired('supply') ?? 'harness.voltage';
    const rail = wired('rail');
    const current = read(`${name}.current`) + (rail === undefined ? 0 : read(rail));
    const ohms = cableOhms(lead);
    const own =
      ohms === 0
        ? 'it is joined straight to the splitter'
        : `its lead takes ${volts(read(splitter) - value)} at ${formatQuantity(current, 'current')} (${formatQuantity(ohms, 'resistance')})`;
    return {
      says: `${name} gets ${volts(value)} and takes ${formatQuantity(current, 'current')}: ${own}`,
      next: splitter,
    };
  },
  current: ({ name, value, read }) => ({
    says: `${name} takes ${formatQuantity(value, 'current')}: its motor has ${formatQuantity(read(`motors.${name}.current`), 'current')} at a duty cycle of ${formatQuantity(read(`${name}.duty`), 'ratio')}`,
    next: `motors.${name}.current`,
  }),
  buzzer: ({ name, parameters, value, read }) => ({
    says: `the buzzer of ${name} is ${value === 1 ? 'sounding' : 'silent'}: its supply is ${volts(read(`${name}.supply`))}, the warning comes below ${volts((parameters as Parameters).cutoff?.warn ?? 0)}`,
    next: `${name}.supply`,
  }),
  temperature: ({ name, parameters, value, read }) => ({
    says: `the switches of ${name} are at ${celsius(value)} with ${formatQuantity(read(`motors.${name}.current`), 'current')} in ${formatQuantity((parameters as Parameters).power['on-resistance'], 'resistance')}, the air being at ${celsius((parameters as Parameters).power.thermal.ambient)}`,
    next: `motors.${name}.current`,
  }),
  pulse: ({ name, parameters, value, wanted }) => {
    const numbers = parameters as Parameters;
    const off =
      numbers.pulse.clock === 0 ? '' : `, its clock being ${formatQuantity(numbers.pulse.clock, 'ratio')} off`;
    const scale = 1 + numbers.pulse.clock;
    return {
      says: `${name} measured ${time(value)}${off}`,
      next: numbers.input === 'receiver' ? 'receiver.pulse' : 'pwm.pulse',
      ...(wanted === undefined
        ? {}
        : { wanted: { ...wanted, least: wanted.least / scale, most: wanted.most / scale } }),
    };
  },
};
