/**
 * The mapping law: what a first program does with a pedal. Every control pass it reads a count, maps it to a compare
 * value and writes that to the timer.
 *
 *     compare = (count - inLow) x (outHigh - outLow) / (inHigh - inLow) + outLow
 *
 * in C integers (law.ts); counts outside the input range extrapolate unless clamped. Everything else (dead band, filter,
 * slew limit, start-up hold, plausibility window, limits by selector position, take-over by a radio) is off unless the
 * file asks for it.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports } from '../../sim/kernel/part.ts';
import { count, perSecond, ratio, type Settled, seconds } from '../../sim/units/index.ts';
import { POSITION_WORDS } from '../selector.ts';
import { HUNG } from './board.ts';
import { mappedCount, takenCount } from './law.ts';

const counts = (means: string, low: number, high: number, example: [number, number]) =>
  z
    .tuple([
      count({ min: low, max: high, means: `${means}, low end`, example: example[0] }),
      count({ min: low, max: high, means: `${means}, high end`, example: example[1] }),
    ])
    .describe(`${means}: [low, high]`);
const output = counts('compare values that the input range is mapped to', -32768, 65535, [46, 61]);

export const parameters = z.strictObject({
  kind: z.literal('mapping').describe('a linear law from counts to compare values'),
  every: seconds({ above: 0, max: 1, means: 'time from one control pass to the next', example: '10 ms' }).prefault(
    '10 ms',
  ),
  input: counts('counts of the pedal at rest and at full', 0, 65535, [186, 836]),
  output,
  integer: z
    .literal([16, 32])
    .prefault(32)
    .describe('bits of the integers that the law is computed in; 16 is the plain int of an 8-bit board'),
  clamp: z.boolean().prefault(false).describe('counts outside the input range are taken as its ends'),
  'dead-band': count({
    min: 0,
    max: 1023,
    means: 'counts to either side of the low end that still give the low output',
    example: 8,
  }).prefault(0),
  slew: perSecond({
    above: 0,
    means: 'greatest change of the compare value, in steps a second, from neutral at start-up on',
    example: '40 1/s',
  }).optional(),
  hold: seconds({
    min: 0,
    max: 60,
    means: 'how long the low output is held after start-up',
    example: '1.5 s',
  }).prefault('0 s'),
  plausible: counts(
    'counts outside of which the input is disbelieved and neutral is given',
    0,
    65535,
    [100, 940],
  ).optional(),
  'plausible-after': seconds({
    min: 0,
    max: 10,
    means: 'how long counts must be outside before they are disbelieved; until then they are believed',
    example: '50 ms',
  }).prefault('0 s'),
  filter: count({
    min: 0,
    max: 10,
    means: 'exponential filter: each pass closes the gap by 1 / 2^filter; 0 is none',
    example: 2,
  }).prefault(0),
  ranges: z
    .partialRecord(z.enum(POSITION_WORDS), z.strictObject({ output }))
    .optional()
    .describe('output range by selector position; positions that are not listed give neutral'),
  radio: z
    .strictObject({
      beyond: ratio({
        above: 0,
        max: 1,
        means: 'deflection of the stick, as a share of full, that takes over',
        example: '10 %',
      }),
      keep: seconds({
        min: 0,
        max: 60,
        means: 'how long the radio keeps control after the stick is back',
        example: '1 s',
      }).prefault('1 s'),
    })
    .optional()
    .describe('a radio receiver overrides the pedal'),
  'keeps-time': z
    .strictObject({
      prescaler: z.literal([1, 8, 64, 256, 1024]).describe('divider for which the program counts its time'),
    })
    .optional()
    .describe(
      'the PWM timer is also the time base: its frame, at this divider, is what the program takes for one unit of time',
    ),
});
type Parameters = Settled<z.output<typeof parameters>>;

export const ports = {
  in: {
    clock: { means: 'board clock; 0 stops the program', from: () => 'board.clock' },
    program: { means: 'whether the program stands still', from: () => 'board.program' },
    count: { means: 'result of the conversion', from: () => 'adc.count' },
    position: {
      means: 'selector position',
      from: ({ partNames }) => (partNames.has('selector') ? 'selector.position' : undefined),
      wakes: false,
    },
    tick: { means: 'tick of the PWM timer', from: () => 'pwm.tick' },
    step: { means: 'change of the pulse for one step of the compare value', from: () => 'pwm.step', wakes: false },
    least: { means: 'pulse at compare 0', from: () => 'pwm.least', wakes: false },
    radio: {
      means: "pulse of the radio receiver's channel",
      from: ({ partNames }) => (partNames.has('receiver') ? 'receiver.pulse' : undefined),
    },
    deflection: {
      means: 'deflection of the stick',
      from: ({ partNames }) => (partNames.has('receiver') ? 'receiver.deflection' : undefined),
      wakes: false,
    },
  },
  out: {
    convert: { means: 'conversions asked for: one each control pass', dimension: 'count', derived: true },
    count: { means: 'count that the law is given, after its filter', dimension: 'count', quiet: true },
    compare: { means: 'value written to the compare register', dimension: 'count' },
  },
} as const satisfies Ports;

interface Program {
  holdSeconds(): number;
  disbelieveSeconds(): number;
  keepSeconds(): number;
  isPlausible(): boolean;
  isDisbelievedAtOnce(): boolean;
  isRadioAway(): boolean;
}

export const chart = setup({
  types: { context: {} as Program, events: {} as { type: string } },
  guards: {
    implausibleAtOnce: ({ context }) => !context.isPlausible() && context.isDisbelievedAtOnce(),
    implausible: ({ context }) => !context.isPlausible(),
    plausible: ({ context }) => context.isPlausible(),
    radioAway: ({ context }) => context.isRadioAway(),
    radioBack: ({ context }) => !context.isRadioAway(),
  },
  delays: {
    hold: ({ context }) => context.holdSeconds(),
    disbelieve: ({ context }) => context.disbelieveSeconds(),
    keep: ({ context }) => context.keepSeconds(),
  },
}).createMachine({
  id: 'mapping',
  context: ({ input }) => input as Program,
  initial: 'stopped',
  on: { 'clock stopped': '.stopped' },
  states: {
    stopped: { on: { 'clock running': 'holding' } },
    holding: { after: { hold: 'mapping' } },
    mapping: {
      initial: 'trusting',
      states: {
        trusting: {
          on: {
            pass: [
              { guard: 'radioAway', target: '#mapping.overridden' },
              { guard: 'implausibleAtOnce', target: '#mapping.disbelieving' },
              { guard: 'implausible', target: 'doubting' },
            ],
          },
        },
        doubting: {
          on: {
            pass: [
              { guard: 'radioAway', target: '#mapping.overridden' },
              { guard: 'plausible', target: 'trusting' },
            ],
          },
          after: { disbelieve: '#mapping.disbelieving' },
        },
      },
    },
    disbelieving: {
      on: {
        pass: [
          { guard: 'radioAway', target: 'overridden' },
          { guard: 'plausible', target: 'mapping' },
        ],
      },
    },
    overridden: {
      initial: 'away',
      states: {
        away: { on: { pass: { guard: 'radioBack', target: 'back' } } },
        back: { on: { pass: { guard: 'radioAway', target: 'away' } }, after: { keep: '#mapping.mapping' } },
      },
    },
  },
});

export const faults = {} as const satisfies Readonly<Record<string, Fault>>;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    hertz: 0,
    isRunning: false,
    slowed: 1,
    passTick: 0,
    passTicks: 1,
    passCount: 0,
    filtered: 0,
    isFilterPrimed: false,
    compare: 0,
    hasWritten: false,
    slewed: 0,
  };
  const { now, values, due, out, bits } = host;
  const filteredOut = out.count!;
  const convertOut = out.convert!;
  const compareOut = out.compare!;
  const clockBit = bits.clock!;
  const countBit = bits.count!;
  const tickBit = bits.tick!;
  const countIn = host.in.count!;
  const positionIn = host.in.position!;
  const tickIn = host.in.tick!;
  const radioIn = host.in.radio!;
  const deflectionIn = host.in.deflection!;
  const [inLow, inHigh] = numbers.input;
  const {
    clamp: isClamped,
    'dead-band': deadBand,
    integer,
    filter,
    slew,
    output: plainOutput,
    every,
    'keeps-time': keepsTime,
  } = numbers;
  const hasRanges = numbers.ranges !== undefined;
  const rangeOf = POSITION_WORDS.map((word) => numbers.ranges?.[word]?.output);
  const neutral = numbers.output[0];
  const least = numbers.plausible?.[0] ?? Number.NEGATIVE_INFINITY;
  const most = numbers.plausible?.[1] ?? Number.POSITIVE_INFINITY;
  /** Without a window and a radio the chart has nothing to decide in a pass. */
  const decides = numbers.plausible !== undefined || numbers.radio !== undefined;
  const program: Program = {
    // A program that counts its time by the timer stretches every wait of its own with it.
    holdSeconds() {
      return numbers.hold * state.slowed;
    },
    disbelieveSeconds() {
      return numbers['plausible-after'] * state.slowed;
    },
    keepSeconds() {
      return (numbers.radio?.keep ?? 0) * state.slowed;
    },
    isDisbelievedAtOnce: () => numbers['plausible-after'] === 0,
    isPlausible: () => state.filtered >= least && state.filtered <= most,
    isRadioAway: () =>
      numbers.radio !== undefined && deflectionIn >= 0 && Math.abs(values[deflectionIn]!) > numbers.radio.beyond,
  };
  const run = runChart(host, chart, program);
  const pass = run.event('pass');
  const holding = run.inside('holding');
  const disbelieving = run.inside('disbelieving');
  const overridden = run.inside('overridden');

  /** One pass is a whole number of CPU ticks, so that its instants are counts over the clock. */
  const passTicks = (): number => Math.max(1, Math.round(every * state.slowed * state.hertz));
  /** How much longer than meant the program's unit of time lasts; 0 while the timer has not yet told its tick. */
  const slowedNow = (): number => (keepsTime === undefined ? 1 : (values[tickIn]! * state.hertz) / keepsTime.prescaler);
  const programIn = host.in.program!;
  /** The program stood still and goes on where it was. */
  const goOn = (): void => {
    state.isRunning = true;
    state.passTick = Math.round(now[0]! * state.hertz) + state.passTicks;
    host.wake(passTimer, state.passTick / state.hertz);
  };
  const passTimer = host.timer(() => {
    state.passCount += 1;
    values[convertOut] = state.passCount;
    host.published(convertOut);
    state.passTick += state.passTicks;
    due[passTimer] = state.passTick / state.hertz;
    host.moved(passTimer);
  });

  const law = (value: number): number => {
    const position = positionIn >= 0 ? values[positionIn]! : -1;
    const range = !hasRanges || position < 0 ? plainOutput : rangeOf[position];
    if (range === undefined) return neutral;
    const taken = takenCount(value, inLow, inHigh, isClamped, deadBand);
    return mappedCount(taken, inLow, inHigh, range[0], range[1], integer);
  };
  const slewed = (wanted: number): number => {
    if (slew === undefined) return wanted;
    const step = slew * every;
    state.slewed += Math.min(Math.max(wanted - state.slewed, -step), step);
    return Math.trunc(state.slewed);
  };
  const write = (compare: number): void => {
    if (state.hasWritten && state.compare === compare) return;
    state.compare = compare;
    state.hasWritten = true;
    host.emit(compareOut, compare);
  };
  const filterCount = (raw: number): void => {
    if (filter === 0 || !state.isFilterPrimed) state.filtered = raw;
    else state.filtered += Math.trunc((raw - state.filtered) / 2 ** filter);
    state.isFilterPrimed = true;
    values[filteredOut] = state.filtered;
    host.noted(filteredOut);
  };
  const act = (): void => {
    filterCount(values[countIn]!);
    if (decides) run.send(pass);
    const { mode } = run.state;
    if (overridden[mode] === 1 && radioIn >= 0) {
      host.blame(radioIn);
      jump(Math.round((values[radioIn]! - values[host.in.least!]!) / values[host.in.step!]!));
      return;
    }
    host.blame(countIn);
    if (holding[mode] === 1 || disbelieving[mode] === 1) jump(neutral);
    else write(slewed(law(state.filtered)));
  };
  /** Writes past the slew limit, which then goes on from here. */
  const jump = (compare: number): void => {
    state.slewed = compare;
    write(compare);
  };
  const begin = (): void => {
    state.isRunning = true;
    state.hasWritten = false;
    state.isFilterPrimed = false;
    state.slewed = neutral;
    run.send(run.event('clock running'));
    state.passTicks = passTicks();
    state.passTick = Math.round(now[0]! * state.hertz) + state.passTicks;
    host.wake(passTimer, state.passTick / state.hertz);
  };
  /** The timer's tick has changed under a program that keeps time by it: what is left of the pass stretches with it. */
  const keepTime = (): void => {
    const before = state.slowed;
    state.slowed = slowedNow();
    if (!state.isRunning || state.slowed === before) return;
    state.passTicks = passTicks();
    const nowTick = now[0]! * state.hertz;
    state.passTick = Math.ceil(nowTick + ((state.passTick - nowTick) * state.slowed) / before);
    host.wake(passTimer, state.passTick / state.hertz);
  };

  return {
    state,
    start: () => run.start(),
    input: (changed) => {
      if (changed & clockBit) {
        state.hertz = values[host.in.clock!]!;
        state.isRunning = false;
        host.sleep(passTimer);
        run.send(run.event('clock stopped'));
      }
      if (state.hertz > 0 && changed & (clockBit | tickBit)) {
        keepTime();
        // At the first start the timer tells its tick only after the clock has come, at the same instant.
        if (!state.isRunning && !(programIn >= 0 && values[programIn]! === HUNG) && state.slowed > 0) begin();
      }
      if (changed & bits.program! && state.hertz > 0) {
        if (values[programIn]! === HUNG) {
          state.isRunning = false;
          host.sleep(passTimer);
        } else if (!state.isRunning && state.slowed > 0) goOn();
      }
      if (changed & countBit && state.isRunning) act();
    },
    fault: () => {
      // The law has no faults of its own: it does what it was told.
    },
  };
}

const tellCompare: Explain = ({ parameters: raw, read, word, value, wanted, wired }) => {
  const numbers = raw as Parameters;
  const mode = word('firmware.mode', read('firmware.mode'));
  const filtered = read('firmware.count');
  const [low, high] = numbers.output;
  if (mode.startsWith('overridden'))
    return { says: `the radio has taken over and asks for compare ${value}`, next: wired('radio') ?? null };
  if (mode === 'disbelieving')
    return {
      says: `count ${filtered} is outside the plausible ${numbers.plausible?.join(' to ')}, so neutral is written: compare ${value}`,
      next: 'adc.count',
    };
  if (mode === 'holding') return { says: `the start-up hold writes neutral: compare ${value}`, next: null };
  const says = `count ${filtered} is mapped from ${numbers.input.join('..')} to ${low}..${high}: compare ${value}`;
  if (wanted === undefined) return { says, next: 'adc.count' };
  const shift = value > wanted.most ? wanted.most - value : value < wanted.least ? wanted.least - value : 0;
  const which =
    value === low
      ? `output low ${low + shift} instead of ${low}`
      : value === high
        ? `output high ${high + shift} instead of ${high}`
        : `output ${low + shift}..${high + shift} instead of ${low}..${high}`;
  return { says, next: 'adc.count', cure: `${which} would ${wanted.to}` };
};

export const mapping: PartKind = {
  kind: 'firmware',
  means: 'program of the board: a mapping law',
  at: 'board.firmware',
  variant: 'mapping',
  always: true,
  defaults: { kind: 'mapping', input: [184, 839], output: [46, 61] },
  parameters,
  ports,
  chart,
  faults,
  explain: {
    compare: tellCompare,
    count: ({ value }) => ({ says: `the program takes count ${value}`, next: 'adc.count' }),
  },
  tells: { along: 'signal', ports: ['compare', 'count'] },
  constants: ['input.0', 'input.1', 'output.0', 'output.1', 'dead-band', 'filter', 'hold'],
  make: make as PartKind['make'],
};
