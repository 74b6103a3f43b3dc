/** What a controller says of itself when a cause is asked for: one sentence a link, in numbers. */
import type { Explain, Told } from '../../sim/kernel/part.ts';
import { formatQuantity } from '../../sim/units/index.ts';
import type { Parameters } from './parameters.ts';

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

/** One sentence for each mode that is neither waiting nor armed. */
function tellStopped(mode: string, { name, numbers, read }: View): Told {
  const supply = formatQuantity(read('battery.voltage'), 'voltage');
  const pulse = time(read(`${name}.pulse`));
  if (mode === 'unpowered')
    return {
      says: `${name} is off: supply ${supply}, it needs ${formatQuantity(numbers['least-voltage'], 'voltage')}`,
      next: 'battery.voltage',
    };
  if (mode === 'starting')
    return { says: `${name} is starting up, which takes ${time(numbers.boot)}`, next: 'battery.voltage' };
  if (mode === 'locked-out')
    return {
      says: `${name} locked itself out after ${time(numbers.arming.refuse.after)} of a wrong startup pulse (${pulse}); cycle its power`,
      next: `${name}.pulse`,
    };
  if (mode === 'cut-off')
    return {
      says: `${name} cut off: its supply (${supply}) had been below ${formatQuantity(numbers.cutoff?.cut ?? 0, 'voltage')} for ${time(numbers.cutoff?.delay ?? 0)}`,
      next: 'battery.voltage',
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

const tellMode: Explain = ({ name, parameters, read, word }) => {
  const view: View = { name, numbers: parameters as Parameters, read };
  const mode = word(`${name}.mode`, read(`${name}.mode`));
  if (mode.startsWith('waiting-for-neutral')) return tellWaiting(view);
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
