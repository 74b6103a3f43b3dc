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
import type { Explain, Fault, Host, Live, PartKind, Ports, Self } from '../sim/kernel/part.ts';
import { count, farads, formatQuantity, ohms, type Settled, volts } from '../sim/units/index.ts';
import { ofChip, SOURCE_WORDS } from './adc-of-chip.ts';
import { ADVISED_ADC_HERTZ, conversionHalfClocks, countOf, FIRST, heldVolts, NORMAL, openVolts } from './conversion.ts';

export { ADVISED_ADC_HERTZ, conversionHalfClocks, countOf, heldVolts };

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
    .prefault(128)
    .describe(
      'divider from the board clock to the ADC clock (8161D table 23-4); full resolution wants 50 to 200 kHz, which 128 gives from 6.4 MHz to 25.6 MHz',
    ),
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
export type Parameters = Settled<z.output<typeof parameters>>;

/** A signal of the program, where it runs as an image that sets the converter up by itself. */
const ofImage =
  (signal: string) =>
  ({ gives }: Self): string | undefined =>
    gives('firmware.hold') ? signal : undefined;

export const ports = {
  in: {
    clock: { means: 'board clock', from: () => 'board.clock' },
    convert: {
      means: 'request for a conversion',
      from: ({ gives }) => (gives('firmware.hold') ? undefined : 'firmware.convert'),
    },
    hold: { means: "the chip's registers time the conversion: the input is held now", from: ofImage('firmware.hold') },
    result: { means: 'and now the result is there', from: ofImage('firmware.result') },
    source: { means: 'what the multiplexer is set to', from: ofImage('firmware.source'), wakes: false },
    against: { means: 'reference that the program chose', from: ofImage('firmware.against'), wakes: false },
    settling: { means: 'how long the input was connected', from: ofImage('firmware.settling'), wakes: false },
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

function make(host: Host, numbers: Parameters): Live {
  if (host.in.hold! >= 0) return ofChip(host, numbers, (context) => runChart(host, chart, context));
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
  const holdTicks = NORMAL.hold * halfClock;
  const resultTicks = NORMAL.result * halfClock;
  const firstHoldTicks = FIRST.hold * halfClock;
  const firstResultTicks = FIRST.result * halfClock;

  const drawPickUp = (): number => pickUp.normal();
  const openPinVolts = (): number => openVolts(state.heldVolts, values[supplyIn]!, numbers.pull, drawPickUp);
  const takeSample = (): void => {
    if (!state.isStuck) {
      sampleSupply?.();
      sampleSignal?.();
      sampleImpedance?.();
      const sourceOhms = values[impedanceIn]!;
      const connectedSeconds = holdTicks / state.hertz;
      state.heldVolts =
        sourceOhms === Number.POSITIVE_INFINITY
          ? openPinVolts()
          : heldVolts(state.heldVolts, values[signalIn]!, sourceOhms + series, hold, connectedSeconds);
    }
    values[heldOut] = state.heldVolts;
    host.noted(heldOut);
    due[resultTimer] = (state.startTick + (state.isFirst ? firstResultTicks : resultTicks)) / state.hertz;
    if (host.leapt(resultTimer)) giveResult();
  };
  const giveResult = (): void => {
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
  };
  const sampleTimer = host.timer(takeSample);
  const resultTimer = host.timer(giveResult);

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
        due[sampleTimer] = (state.startTick + (state.isFirst ? firstHoldTicks : holdTicks)) / state.hertz;
        if (host.leapt(sampleTimer)) takeSample();
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
  const chosen = wired('source');
  const source = chosen === undefined ? 'pedal' : SOURCE_WORDS[read(chosen)]!;
  if (source !== 'pedal')
    return {
      says: `the ADC reads ${value} (held ${held}, reference ${reference}), as the program's multiplexer is set to ${source}, not to the pedal`,
      next: null,
    };
  return {
    says: `the ADC reads ${value}: ${held} x ${chosen === undefined ? 2 ** bits : 1024} / ${reference}, cut to a whole count`,
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
