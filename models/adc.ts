/**
 * Analogue-to-digital converter of the board: a voltage in, a count out.
 *
 *     count = floor(volts x 2^bits / reference), clipped to 0 .. 2^bits - 1
 *     a conversion takes 13 ADC clocks, the first after power-up 25; the input is held 1.5 (13.5) clocks after the start
 *     the held voltage closes on the source through (source + series resistance) x hold capacitance
 *
 * Source: ATmega48PA/88PA/168PA/328P datasheet 8161D, chapter 23 (times: 8271H p. 241; input circuit: ATmega169P
 * datasheet 8018A p. 222, 14 pF, 1 to 100 kohm, to half the supply). The pick-up of an open input is an assumption.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports } from '../sim/kernel/part.ts';
import { count, farads, formatQuantity, ohms, type Settled, volts } from '../sim/units/index.ts';

/** Above this clock the converter has less than its full resolution (8271H p. 241: 50 to 200 kHz). */
export const ADVISED_ADC_HERTZ = 200e3;

export const parameters = z.strictObject({
  bits: count({ min: 6, max: 16, means: 'resolution', example: 10 }).prefault(10),
  reference: z
    .union([
      z.literal('rail'),
      z.literal('internal'),
      volts({ above: 0, max: 30, means: 'external reference', example: '4.096 V' }),
    ])
    .prefault('rail')
    .describe('what the reference is: the rail, the internal bandgap (1.1 V), or a voltage of its own'),
  internal: volts({ above: 0, max: 5, means: 'voltage of the internal reference', example: '1.1 V ± 0.1 V' }).prefault(
    '1.1 V',
  ),
  prescaler: z
    .literal([2, 4, 8, 16, 32, 64, 128])
    .prefault(64)
    .describe('divider from the board clock to the ADC clock (8161D table 23-4)'),
  offset: count({ min: -64, max: 64, means: 'offset error in counts', example: '0 ± 2' }).prefault(0),
  series: ohms({ min: 0, max: 1e6, means: 'resistance between pin and hold capacitor', example: '10 kohm' }).prefault(
    '10 kohm',
  ),
  hold: farads({ min: 0, max: 1e-9, means: 'hold capacitor', example: '14 pF' }).prefault('14 pF'),
  pull: z
    .enum(['none', 'up', 'down'])
    .prefault('none')
    .describe('pull resistor on the pin, which an open wire follows'),
});
type Parameters = Settled<z.output<typeof parameters>>;

export const ports = {
  in: {
    clock: { means: 'board clock', from: () => 'board.clock' },
    convert: { means: 'request for a conversion', from: () => 'firmware.convert' },
    signal: { means: 'pin voltage', from: () => 'pedal.signal', wakes: false },
    impedance: { means: 'source resistance at the pin', from: () => 'pedal.impedance', wakes: false },
    supply: { means: 'rail, which may be the reference', from: () => 'rail.voltage', wakes: false },
  },
  out: {
    count: { means: 'result of the latest conversion', dimension: 'count' },
    held: { means: 'voltage on the hold capacitor when it was last sampled', dimension: 'voltage', quiet: true },
    reference: { means: 'reference of the latest conversion', dimension: 'voltage', quiet: true },
  },
} as const satisfies Ports;

interface Converter {
  setReferenceWrong(): void;
  setReferenceRight(): void;
  stickChannel(): void;
  freeChannel(): void;
}

export const chart = setup({
  types: { context: {} as Converter, events: {} as { type: string } },
  actions: {
    setReferenceWrong: ({ context }) => context.setReferenceWrong(),
    setReferenceRight: ({ context }) => context.setReferenceRight(),
    stickChannel: ({ context }) => context.stickChannel(),
    freeChannel: ({ context }) => context.freeChannel(),
  },
}).createMachine({
  id: 'adc',
  context: ({ input }) => input as Converter,
  initial: 'off',
  on: {
    'reference-wrong': { actions: 'setReferenceWrong' },
    'mend reference-wrong': { actions: 'setReferenceRight' },
    'channel-stuck': { actions: 'stickChannel' },
    'mend channel-stuck': { actions: 'freeChannel' },
    'clock stopped': '.off',
  },
  states: {
    off: { on: { 'clock running': 'first' } },
    // The first conversion after power-up takes longer; single conversions are no modes but numbers, a thousand a second.
    first: { on: { finished: 'ready' } },
    ready: {},
  },
});

/** The count of a converter that is ideal but for an offset, clipped (8161D section 23.7). */
export function countOf(volts: number, referenceVolts: number, bits: number, offsetCounts = 0): number {
  const full = 1 << bits;
  // A hair of slack keeps a voltage that stands on a step on paper from losing a count to rounding.
  const ideal = Math.floor((volts * full) / referenceVolts + offsetCounts + 1e-9);
  return ideal < 0 ? 0 : ideal >= full ? full - 1 : ideal;
}

/** Voltage on the hold capacitor after it was connected to the source for a time. */
export function heldVolts(
  beforeVolts: number,
  sourceVolts: number,
  sourceOhms: number,
  holdFarads: number,
  connectedSeconds: number,
): number {
  const lagSeconds = sourceOhms * holdFarads;
  // After 40 time constants (e^-40 = 4e-18) nothing of the old voltage is left in a float64.
  return connectedSeconds > 40 * lagSeconds
    ? sourceVolts
    : sourceVolts + (beforeVolts - sourceVolts) * Math.exp(-connectedSeconds / lagSeconds);
}

/** Clocks from the start of a conversion to the hold instant and to the result, doubled to stay whole. */
export function conversionHalfClocks(isFirst: boolean): { readonly hold: number; readonly result: number } {
  return isFirst ? FIRST : NORMAL;
}
const FIRST = { hold: 27, result: 50 } as const;
const NORMAL = { hold: 3, result: 26 } as const;
/** A conversion that a flag starts, counted from the flag (8161D table 23-1; sampled two clocks after it). */
export const AUTO_TRIGGERED_HALF_CLOCKS = { hold: 4, result: 27 } as const;

export const faults = {
  'reference-wrong': {
    enter: 'reference-wrong',
    leave: 'mend reference-wrong',
    means: 'the internal reference was selected instead',
  },
  'channel-stuck': {
    enter: 'channel-stuck',
    leave: 'mend channel-stuck',
    means: 'the multiplexer keeps giving the last sampled voltage',
  },
} as const satisfies Readonly<Record<string, Fault>>;

/** An open pin drifts towards half the supply and picks up hum; both are assumptions of ours. */
const FLOAT_SHARE = 0.02;
const PICK_UP_VOLTS = 0.05;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    hertz: 0,
    startTick: 0,
    isFirst: true,
    isBusy: false,
    isReferenceWrong: false,
    isStuck: false,
    heldVolts: 0,
    count: 0,
  };
  const { now, values, due, out, bits } = host;
  const clockBit = bits.clock!;
  const convertBit = bits.convert!;
  const heldOut = out.held!;
  const referenceOut = out.reference!;
  const countOut = out.count!;
  const clockIn = host.in.clock!;
  const signalIn = host.in.signal!;
  const impedanceIn = host.in.impedance!;
  const supplyIn = host.in.supply!;
  const sampleSupply = host.samplerOf(supplyIn);
  const sampleSignal = host.samplerOf(signalIn);
  const sampleImpedance = host.samplerOf(impedanceIn);
  const pickUp = host.stream('pick-up');
  const run = runChart(host, chart, {
    setReferenceWrong: () => {
      state.isReferenceWrong = true;
    },
    setReferenceRight: () => {
      state.isReferenceWrong = false;
    },
    stickChannel: () => {
      state.isStuck = true;
    },
    freeChannel: () => {
      state.isStuck = false;
    },
  } satisfies Converter);
  const finished = run.event('finished');

  const isRailReference = numbers.reference === 'rail';
  const fixedReferenceVolts = (): number =>
    typeof numbers.reference === 'number' && !state.isReferenceWrong ? numbers.reference : numbers.internal;
  const { bits: resolutionBits } = numbers;
  const { series, hold, offset } = numbers;
  /** Two CPU ticks make one half ADC clock at least, as every prescaler is even. */
  const { prescaler } = numbers;
  const halfClock = prescaler / 2;

  const openPinVolts = (): number => {
    const supplyVolts = values[supplyIn]!;
    if (numbers.pull === 'up') return supplyVolts;
    if (numbers.pull === 'down') return 0;
    const drifted =
      state.heldVolts + FLOAT_SHARE * (supplyVolts / 2 - state.heldVolts) + PICK_UP_VOLTS * pickUp.normal();
    return Math.min(Math.max(drifted, 0), supplyVolts);
  };
  const sampleTimer = host.timer(() => {
    if (!state.isStuck) {
      sampleSupply?.();
      sampleSignal?.();
      sampleImpedance?.();
      const sourceOhms = values[impedanceIn]!;
      const connectedSeconds = (NORMAL.hold * halfClock) / state.hertz;
      state.heldVolts =
        sourceOhms === Number.POSITIVE_INFINITY
          ? openPinVolts()
          : heldVolts(state.heldVolts, values[signalIn]!, sourceOhms + series, hold, connectedSeconds);
    }
    values[heldOut] = state.heldVolts;
    host.noted(heldOut);
    due[resultTimer] = (state.startTick + (state.isFirst ? FIRST : NORMAL).result * halfClock) / state.hertz;
    host.moved(resultTimer);
  });
  const resultTimer = host.timer(() => {
    state.isBusy = false;
    if (state.isFirst) {
      state.isFirst = false;
      run.send(finished);
    }
    const reference = isRailReference && !state.isReferenceWrong ? values[supplyIn]! : fixedReferenceVolts();
    values[referenceOut] = reference;
    host.noted(referenceOut);
    values[countOut] = countOf(state.heldVolts, reference, resolutionBits, offset);
    host.published(countOut);
  });

  return {
    state,
    start: () => run.start(),
    input: (changed) => {
      if (changed & clockBit) {
        state.hertz = values[clockIn]!;
        state.isFirst = true;
        host.sleep(sampleTimer);
        host.sleep(resultTimer);
        state.isBusy = false;
        run.send(run.event('clock stopped'));
        if (state.hertz > 0) run.send(run.event('clock running'));
      }
      if (changed & convertBit && state.hertz > 0 && !state.isBusy) {
        // A conversion starts at the next edge of the ADC clock, which runs free.
        const tick = Math.round(now[0]! * state.hertz);
        state.startTick = Math.ceil(tick / prescaler) * prescaler;
        state.isBusy = true;
        due[sampleTimer] = (state.startTick + (state.isFirst ? FIRST : NORMAL).hold * halfClock) / state.hertz;
        host.moved(sampleTimer);
      }
    },
    fault: (event) => {
      run.send(run.event(event));
    },
  };
}

const tellCount: Explain = ({ parameters: raw, read, value, wired }) => {
  const { bits } = raw as Parameters;
  const held = formatQuantity(read('adc.held'), 'voltage');
  const reference = formatQuantity(read('adc.reference'), 'voltage');
  return {
    says: `the ADC reads ${value}: ${held} x ${2 ** bits} / ${reference}, cut to a whole count`,
    next: wired('signal') ?? null,
  };
};

export const adc: PartKind = {
  kind: 'adc',
  means: "the board's analogue-to-digital converter",
  at: 'board.adc',
  always: true,
  defaults: {},
  parameters,
  ports,
  chart,
  faults,
  explain: { count: tellCount },
  tells: { along: 'signal', ports: ['count', 'held'] },
  make: make as PartKind['make'],
};
