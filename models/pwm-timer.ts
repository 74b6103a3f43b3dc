/**
 * PWM timer of the board: a compare value in, a pulse train on the pin out.
 *
 *     tick  = prescaler / clock
 *     fast                          frame top + 1 ticks, high for compare + 1 of them; compare 0 still gives one tick
 *     phase-correct, phase-and-frequency-correct
 *                                   frame 2 x top ticks, high for 2 x compare; none at 0
 *     the compare register is double-buffered: taken over at bottom (fast, phase-and-frequency-correct) or at top
 *
 * Source: ATmega48PA/88PA/168PA/328P datasheet 8161D, sections 14.7, 15.9 and tables 14-8, 15-4.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports, Self } from '../sim/kernel/part.ts';
import { count, formatQuantity, type Settled } from '../sim/units/index.ts';
import { FLOATING, HIGH, LINE_WORDS, LOW, makePin, WAVE_WORDS } from './pwm-pin.ts';

export { FLOATING, HIGH, LINE_WORDS, LOW };

/** Source: 8161D tables 14-9, 15-5 (timers 0 and 1) and 17-9 (timer 2, which also has 32 and 128). */
export const PRESCALERS = [1, 8, 32, 64, 128, 256, 1024] as const;
/** The dividers that each of the chip's timers has; 32 and 128 are codes of the asynchronous one only (datasheet 8271H, clock select bits). */
const COMMON_PRESCALERS: readonly number[] = [1, 8, 64, 256, 1024];
export const MODES = ['fast', 'phase-correct', 'phase-and-frequency-correct'] as const;
export type PwmMode = (typeof MODES)[number];

export const parameters = z.strictObject({
  bits: z.literal([8, 9, 10, 16]).prefault(8).describe('width of the counter; without `top` it counts to 2^bits - 1'),
  mode: z.enum(MODES).prefault('fast').describe('waveform'),
  prescaler: z
    .literal([...PRESCALERS])
    .prefault(256)
    .describe('divider from the board clock to the timer tick'),
  top: count({ min: 3, max: 65535, means: 'top value, where a register sets it', example: 19999 }).optional(),
  inverted: z.boolean().prefault(false).describe('the pin is low where it would be high'),
  'reset-prescaler': z
    .literal([...PRESCALERS])
    .prefault(64)
    .describe('divider that start-up code leaves, which the fault prescaler-at-reset falls back to'),
});
type Parameters = Settled<z.output<typeof parameters>>;

/** A signal of the program, where it runs as an image that sets the timer up by itself. */
const ofImage =
  (signal: string) =>
  ({ gives }: Self): string | undefined =>
    gives('firmware.output') ? signal : undefined;

/** What the board's pin driver does with the timer's output: values of `board.pin`. */
export const PIN_WORDS = ['floating', 'driven', 'stuck-low', 'stuck-high', 'open'] as const;

export const ports = {
  in: {
    clock: { means: 'board clock', from: () => 'board.clock' },
    compare: { means: 'value written to the compare register', from: () => 'firmware.compare' },
    pin: { means: 'what the pin driver does', from: () => 'board.pin' },
    output: { means: 'what the chip itself does to the pin', from: ofImage('firmware.output') },
    latched: { means: "compare value at work in the chip's timer", from: ofImage('firmware.latched') },
    tick: { means: "tick of the chip's timer", from: ofImage('firmware.tick') },
    wave: { means: "waveform of the chip's timer", from: ofImage('firmware.wave') },
  },
  out: {
    line: { means: 'level of the pulse line', dimension: 'count', words: LINE_WORDS },
    pulse: { means: 'high time of the latest pulse on the line', dimension: 'time', quiet: true },
    frame: { means: 'time from one pulse to the next', dimension: 'time', quiet: true },
    tick: { means: 'one tick of the timer', dimension: 'time' },
    step: { means: 'change of the pulse for one step of the compare value', dimension: 'time' },
    least: { means: 'pulse at compare 0', dimension: 'time' },
    latched: { means: 'compare value at work, after its double buffer', dimension: 'count' },
  },
} as const satisfies Ports;

interface Timer {
  isStopped(): boolean;
  stopCounting(): void;
  startFrame(): void;
  takeResetPrescaler(): void;
  takeOwnPrescaler(): void;
}

export const chart = setup({
  types: { context: {} as Timer, events: {} as { type: string } },
  guards: { stopped: ({ context }) => context.isStopped() },
  actions: {
    stopCounting: ({ context }) => context.stopCounting(),
    startFrame: ({ context }) => context.startFrame(),
    takeResetPrescaler: ({ context }) => context.takeResetPrescaler(),
    takeOwnPrescaler: ({ context }) => context.takeOwnPrescaler(),
  },
}).createMachine({
  id: 'pwm-timer',
  context: ({ input }) => input as Timer,
  initial: 'off',
  on: {
    'clock stopped': '.off',
    'prescaler-at-reset': { actions: 'takeResetPrescaler' },
    'mend prescaler-at-reset': { actions: 'takeOwnPrescaler' },
  },
  states: {
    // The output is connected to the pin by the first write to the compare register, as start-up code does it.
    off: { entry: 'stopCounting', on: { 'clock running': 'unconnected' } },
    unconnected: { on: { written: [{ guard: 'stopped', target: 'frozen' }, { target: 'counting' }] } },
    counting: { entry: 'startFrame', on: { stopped: 'frozen' } },
    frozen: { entry: 'stopCounting', on: { 'mend stopped': 'counting' } },
  },
});

/** Ticks from one pulse to the next. */
export function frameTicks(mode: PwmMode, top: number): number {
  return mode === 'fast' ? top + 1 : 2 * top;
}

/**
 * Ticks for which a non-inverted output is high in each frame. A compare above top never matches: fast PWM is then always
 * high; the other modes leave the output as it was, which is not told here.
 */
export function highTicks(mode: PwmMode, compare: number, top: number): number {
  if (compare >= top) return frameTicks(mode, top);
  return mode === 'fast' ? compare + 1 : 2 * compare;
}

/** Whether a frame starts with a non-inverted output high: frames start at bottom, those of `phase-correct` at top. */
export function startsHigh(mode: PwmMode, compare: number, top: number): boolean {
  return mode === 'fast' || compare >= top || (mode === 'phase-and-frequency-correct' && compare > 0);
}

/** Ticks from the start of a frame to its first edge; a whole frame where there is none. */
export function firstEdgeTicks(mode: PwmMode, compare: number, top: number): number {
  if (mode === 'fast') return Math.min(compare, top) + 1;
  if (compare <= 0 || compare >= top) return 2 * top;
  return mode === 'phase-correct' ? top - compare : compare;
}

/** Ticks from the start of a frame to its second edge; a whole frame where there is none. */
export function secondEdgeTicks(mode: PwmMode, compare: number, top: number): number {
  if (mode === 'fast') return top + 1;
  if (compare <= 0 || compare >= top) return 2 * top;
  return mode === 'phase-correct' ? top + compare : 2 * top - compare;
}

/** Least and greatest compare whose high time lies in a range of ticks; least > greatest when none does. */
export function comparesWithin(
  mode: PwmMode,
  leastTicks: number,
  mostTicks: number,
): { readonly least: number; readonly greatest: number } {
  // A hair of slack keeps a limit that is a whole number of ticks on paper from being lost to rounding.
  const slack = 1e-9;
  return mode === 'fast'
    ? { least: Math.ceil(leastTicks - 1 - slack), greatest: Math.floor(mostTicks - 1 + slack) }
    : { least: Math.ceil(leastTicks / 2 - slack), greatest: Math.floor(mostTicks / 2 + slack) };
}

/** Ticks for which the line is high in each frame, inverted or not. */
export function lineTicks(numbers: Pick<Parameters, 'bits' | 'top' | 'mode' | 'inverted'>, compare: number): number {
  const top = topOf(numbers);
  const high = highTicks(numbers.mode, compare, top);
  return numbers.inverted ? frameTicks(numbers.mode, top) - high : high;
}

/** The value that a register of so many bits holds after `written` was stored in it. */
export function registerValue(written: number, bits: number): number {
  const span = 2 ** bits;
  return ((written % span) + span) % span;
}

export const topOf = (numbers: Pick<Parameters, 'bits' | 'top'>): number => numbers.top ?? 2 ** numbers.bits - 1;

export const faults = {
  stopped: {
    enter: 'stopped',
    leave: 'mend stopped',
    means: 'the counter stands still and the line stays where it is',
  },
  'prescaler-at-reset': {
    enter: 'prescaler-at-reset',
    leave: 'mend prescaler-at-reset',
    means: 'the divider is the one that start-up code leaves',
  },
} as const satisfies Readonly<Record<string, Fault>>;

function make(host: Host, numbers: Parameters): Live {
  if (host.in.output! >= 0) return makePin(host, (context) => runChart(host, chart, context));
  const state = {
    hertz: 0,
    prescaler: numbers.prescaler as number,
    frameTick: 0,
    written: 0,
    latched: 0,
    output: LOW,
    pin: 0,
    riseSeconds: -1,
    isFirstEdgeDone: false,
    isStarting: false,
    isStopped: false,
  };
  const { now, values, due, out, bits } = host;
  const { mode } = numbers;
  const top = topOf(numbers);
  const registerBits = numbers.bits > 8 ? 16 : 8;
  const lineOut = out.line!;
  const pulseOut = out.pulse!;
  const frameOut = out.frame!;
  const latchedOut = out.latched!;
  const compareIn = host.in.compare!;

  const drive = (level: number): void => {
    state.output = level;
    applyPin();
  };
  const applyPin = (): void => {
    const { pin } = state;
    const isHigh = (state.output === HIGH) !== numbers.inverted;
    const line =
      pin === 0 || pin === 4
        ? FLOATING
        : pin === 2
          ? LOW
          : pin === 3
            ? HIGH
            : run.state.mode === counting || run.state.mode === frozen
              ? isHigh
                ? HIGH
                : LOW
              : LOW;
    const before = values[lineOut]!;
    if (before === line) return;
    host.blame(latchedOut);
    values[lineOut] = line;
    host.published(lineOut);
    if (line === HIGH) {
      if (state.riseSeconds >= 0) {
        values[frameOut] = now[0]! - state.riseSeconds;
        host.noted(frameOut);
      }
      state.riseSeconds = now[0]!;
    } else if (before === HIGH && state.riseSeconds >= 0) {
      values[pulseOut] = now[0]! - state.riseSeconds;
      host.noted(pulseOut);
    }
  };
  const tickSeconds = (ticks: number): number => (state.frameTick + ticks * state.prescaler) / state.hertz;

  /** Sets a timer to a tick of the present frame. */
  const setTimer = (timer: number, ticks: number): void => {
    due[timer] = (state.frameTick + ticks * state.prescaler) / state.hertz;
    host.moved(timer);
  };

  const tellTick = (): void => {
    const tick = state.prescaler / state.hertz;
    host.update(out.tick!, tick);
    const least = lineTicks(numbers, 0);
    host.update(out.step!, tick * (lineTicks(numbers, 1) - least));
    host.update(out.least!, tick * least);
  };

  const frame = (): void => {
    if (state.latched !== state.written) {
      state.latched = state.written;
      host.blame(compareIn);
      host.emit(latchedOut, state.latched);
    }
    const { latched } = state;
    const whole = frameTicks(mode, top);
    setTimer(frameTimer, whole);
    // No match comes and nothing else moves the output (8161D p. 127); in fast PWM bottom still sets it.
    if (latched > top && mode !== 'fast') return;
    drive(startsHigh(mode, latched, top) ? HIGH : LOW);
    state.isFirstEdgeDone = false;
    const first = firstEdgeTicks(mode, latched, top);
    if (first < whole) setTimer(edgeTimer, first);
  };
  const edgeTimer = host.timer(() => {
    drive(state.output === HIGH ? LOW : HIGH);
    if (state.isFirstEdgeDone) return;
    state.isFirstEdgeDone = true;
    const second = secondEdgeTicks(mode, state.latched, top);
    if (second < frameTicks(mode, top)) setTimer(edgeTimer, second);
  });
  const frameTimer = host.timer(() => {
    state.frameTick += frameTicks(mode, top) * state.prescaler;
    frame();
  });

  const run = runChart(host, chart, {
    isStopped: () => state.isStopped,
    stopCounting: () => {
      host.sleep(edgeTimer);
      host.sleep(frameTimer);
    },
    startFrame: () => {
      state.isStarting = true;
    },
    takeResetPrescaler: () => {
      state.prescaler = numbers['reset-prescaler'];
      state.isStarting = true;
    },
    takeOwnPrescaler: () => {
      state.prescaler = numbers.prescaler;
      state.isStarting = true;
    },
  } satisfies Timer);
  const counting = run.table.leaves.indexOf('counting');
  const frozen = run.table.leaves.indexOf('frozen');
  const events = {
    stopped: run.event('clock stopped'),
    running: run.event('clock running'),
    written: run.event('written'),
  };

  return {
    state,
    start: () => {
      run.start();
      host.emit(lineOut, FLOATING);
    },
    input: (changed) => {
      if (changed & bits.clock!) {
        state.hertz = values[host.in.clock!]!;
        run.send(events.stopped);
        state.output = LOW;
        state.written = 0;
        state.latched = 0;
        if (state.hertz > 0) {
          run.send(events.running);
          tellTick();
        }
      }
      if (changed & bits.compare! && state.hertz > 0) {
        state.written = registerValue(values[compareIn]!, registerBits);
        run.send(events.written);
      }
      if (changed & bits.pin!) state.pin = values[host.in.pin!]!;
      settle();
    },
    fault: (event) => {
      // Remembered apart from the chart, as a fault outlasts a reset of the board.
      if (event === 'stopped') state.isStopped = true;
      else if (event === 'mend stopped') state.isStopped = false;
      run.send(run.event(event));
      settle();
    },
  };

  /** Starts the first frame once the chart has said so, at a tick of the prescaler; else only looks at the pin. */
  function settle(): void {
    if (state.isStarting && run.state.mode === counting) {
      state.frameTick = Math.ceil(Math.round(now[0]! * state.hertz) / state.prescaler) * state.prescaler;
      tellTick();
      host.sleep(edgeTimer);
      host.wake(frameTimer, Math.max(tickSeconds(0), now[0]!));
      state.frameTick -= frameTicks(mode, top) * state.prescaler;
    }
    state.isStarting = false;
    applyPin();
  }
}

/** Waveform of the chip's timer as its registers set it; undefined where it makes no PWM. */
function registersOf(read: (signal: string) => number): Parameters | undefined {
  const wave = WAVE_WORDS[read('firmware.wave')]!;
  const action = read('firmware.action');
  if (wave === 'normal' || wave === 'ctc' || action < 2) return undefined;
  return {
    bits: 16,
    mode: wave,
    top: read('firmware.top'),
    inverted: action === 3,
    prescaler: Math.round(read('firmware.tick') * read('board.clock')) as Parameters['prescaler'],
    'reset-prescaler': 1,
  };
}

/** `48 ticks of 32 us`: where a pulse width comes from. */
const tellPulse: Explain = ({ name, parameters: raw, read, value, wanted, wired }) => {
  const numbers = wired('output') === undefined ? (raw as Parameters) : registersOf(read);
  if (numbers === undefined)
    return { says: `pulse ${formatQuantity(value, 'time')}: the program switches the pin itself`, next: null };
  const compare = read(`${name}.latched`);
  const tick = read(`${name}.tick`);
  const tickText = formatQuantity(tick, 'time');
  const top = topOf(numbers);
  const ticks = lineTicks(numbers, compare);
  const whole = frameTicks(numbers.mode, top);
  const rest = numbers.inverted ? `, taken from the ${whole} ticks of a frame as the output is inverted` : '';
  const rule =
    numbers.mode === 'fast'
      ? `compare ${compare} gives (${compare} + 1) x ${tickText}, as fast PWM also counts the tick of the match itself${rest}`
      : `compare ${compare} gives 2 x ${compare} x ${tickText}, as the counter passes it twice${rest}`;
  const says = `pulse ${formatQuantity(value, 'time')} = ${ticks} ticks: ${rule}`;
  if (wanted === undefined) return { says, next: `${name}.latched` };
  const [leastTicks, mostTicks] = [wanted.least / tick, wanted.most / tick];
  const { least, greatest } = numbers.inverted
    ? comparesWithin(numbers.mode, whole - mostTicks, whole - leastTicks)
    : comparesWithin(numbers.mode, leastTicks, mostTicks);
  const width = (candidate: number): string => formatQuantity(lineTicks(numbers, candidate) * tick, 'time');
  if (least > greatest || greatest < 0) {
    return {
      says: `${says}; no compare of this timer gives a pulse that ${wanted.to}: ${greatest} gives ${width(greatest)}, ${least} gives ${width(least)}`,
      next: `${name}.latched`,
    };
  }
  const best = compare > greatest ? greatest : least;
  const range =
    least === greatest
      ? `compare ${least} (${width(least)})`
      : `compare ${least} to ${greatest} (${width(least)} to ${width(greatest)})`;
  return {
    says: `${says}; ${range} would ${wanted.to}`,
    next: `${name}.latched`,
    wanted: { least, most: greatest, to: wanted.to },
    cure: `compare ${best} gives ${width(best)}`,
  };
};

/** `256 ticks of 8 us`: where the time from pulse to pulse comes from, and which divider would suit who takes it. */
const tellFrame: Explain = ({ name, parameters: raw, read, value, wanted, wired }) => {
  const numbers = wired('output') === undefined ? (raw as Parameters) : registersOf(read);
  if (numbers === undefined)
    return { says: `frame ${formatQuantity(value, 'time')}: the program switches the pin itself`, next: null };
  const clock = read('board.clock');
  const tick = read(`${name}.tick`);
  const divider = Math.round(tick * clock);
  const whole = frameTicks(numbers.mode, topOf(numbers));
  const own = divider === numbers.prescaler ? '' : `, not by ${numbers.prescaler}`;
  const says = `frame ${formatQuantity(value, 'time')} = ${whole} ticks of ${formatQuantity(tick, 'time')}: the clock of ${formatQuantity(clock, 'frequency')} is divided by ${divider}${own}`;
  if (wanted === undefined) return { says, next: null };
  const frameOf = (candidate: number): number => (whole * candidate) / clock;
  const fitting = PRESCALERS.filter(
    (candidate) => frameOf(candidate) >= wanted.least && frameOf(candidate) <= wanted.most,
  );
  if (fitting.length === 0) return { says: `${says}; no divider makes frames that ${wanted.to}`, next: null };
  const best = [numbers.prescaler, ...COMMON_PRESCALERS, ...fitting].find((one) => fitting.includes(one as never))!;
  return { says, next: null, cure: `prescaler ${best} makes frames of ${formatQuantity(frameOf(best), 'time')}` };
};

export const pwmTimer: PartKind = {
  kind: 'pwm-timer',
  means: "the board's PWM timer",
  at: 'board.pwm',
  always: true,
  defaults: {},
  parameters,
  ports,
  chart,
  faults,
  explain: {
    line: ({ name, value, word }) => ({
      says: `the pulse line is ${word(`${name}.line`, value)}`,
      next: value === FLOATING ? 'board.pin' : `${name}.pulse`,
    }),
    pulse: tellPulse,
    frame: tellFrame,
    latched: ({ value, wanted }) => ({
      says: `the timer works with compare ${value}, taken over from its double buffer at the start of a frame`,
      next: 'firmware.compare',
      ...(wanted === undefined ? {} : { wanted }),
    }),
  },
  tells: { along: 'signal', ports: ['pulse', 'frame'] },
  constants: ['bits', 'mode', 'prescaler'],
  make: make as PartKind['make'],
};
