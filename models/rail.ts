/**
 * Rail: the regulator that feeds board, pedal and receiver, inside a controller or on its own.
 *
 *     linear      output = least of set voltage and supply - dropout; input current = load + quiescent
 *     switching   the same limits; input power = output power / efficiency
 *     overload    above the current limit the output falls as the load (a resistor) and the limit say
 *     supply gone the output capacitor carries the load: output' = -load / capacitance
 *     a second regulator tied on: each gives its set voltage behind its output resistance and cannot take current back;
 *                 equal ones share the load, of unequal ones the higher may carry it all
 *     heat        temperature' = (ambient + loss x thermal resistance - temperature) / time constant; off above the trip
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports, StepForm } from '../sim/kernel/part.ts';
import {
  amperes,
  degreesCelsius,
  farads,
  formatQuantity,
  joulesPerKelvin,
  kelvinPerWatt,
  ohms,
  ratio,
  type Settled,
  volts,
} from '../sim/units/index.ts';

const setVoltage = volts({ above: 0, max: 30, means: 'set voltage', example: '5.0 V ± 2 %' });
const from = z
  .string()
  .max(60)
  .optional()
  .describe('name of the controller whose regulator this is; without it, fed from the harness')
  .meta({ examples: ['left'] });

export const parameters = z.strictObject({
  from,
  kind: z.enum(['linear', 'switching']).prefault('linear').describe('linear or switching regulator'),
  voltage: setVoltage.prefault('5 V'),
  dropout: volts({ min: 0, max: 10, means: 'least difference between supply and output', example: '0.6 V' }).prefault(
    '0.6 V',
  ),
  limit: amperes({ min: 1e-3, max: 100, means: 'current limit', example: '2 A' }).prefault('2 A'),
  efficiency: ratio({ min: 0.01, max: 1, means: 'efficiency of a switching regulator', example: '85 %' }).prefault(
    '85 %',
  ),
  quiescent: amperes({ min: 0, max: 1, means: 'current that the regulator itself takes', example: '5 mA' }).prefault(
    '5 mA',
  ),
  'output-resistance': ohms({
    min: 0,
    max: 10,
    means: 'fall of the output with the load',
    example: '20 mohm',
  }).prefault('10 mohm'),
  capacitance: farads({ min: 0, max: 1, means: 'capacitor at the output', example: '100 uF' }).prefault('100 uF'),
  load: amperes({ min: 0, max: 100, means: 'what board, pedal and receiver take together', example: '60 mA' }).prefault(
    '60 mA',
  ),
  second: z
    .strictObject({
      from,
      voltage: setVoltage.prefault('5 V'),
      'output-resistance': ohms({
        min: 0,
        max: 10,
        means: 'fall of its output with the load',
        example: '20 mohm',
      }).prefault('10 mohm'),
    })
    .optional()
    .describe('a second regulator tied to the same rail, as two controllers on one board do it'),
  thermal: z
    .strictObject({
      resistance: kelvinPerWatt({
        above: 0,
        max: 1000,
        means: 'from the regulator to the air',
        example: '40 K/W',
      }).prefault('40 K/W'),
      capacity: joulesPerKelvin({
        above: 0,
        max: 1e5,
        means: 'heat that warms it by a kelvin',
        example: '1.5 J/K',
      }).prefault('1.5 J/K'),
      trip: degreesCelsius({
        min: 0,
        max: 300,
        means: 'temperature at which it switches off; 20 K lower it starts again',
        example: '150 degC',
      }).prefault('150 degC'),
      ambient: degreesCelsius({
        min: -50,
        max: 120,
        means: 'temperature of the air about it',
        example: '25 degC',
      }).prefault('25 degC'),
    })
    .prefault({})
    .describe('how warm the regulator gets, and when it protects itself'),
});
type Parameters = Settled<z.output<typeof parameters>>;
export type RailNumbers = Parameters;

const supplyOf = (name: string | undefined): string => (name === undefined ? 'harness.voltage' : `${name}.supply`);

export const ports = {
  in: {
    supply: { means: 'what feeds the regulator', from: ({ parameters: own }) => supplyOf((own as Parameters).from) },
    second: {
      means: 'what feeds the second regulator',
      from: ({ parameters: own }) =>
        (own as Parameters).second === undefined ? undefined : supplyOf((own as Parameters).second?.from),
    },
  },
  out: {
    voltage: { means: 'voltage of the rail', dimension: 'voltage' },
    draw: { means: 'current that the regulators take from the harness', dimension: 'current', kind: 'flowing' },
    first: {
      means: 'part of it that the first controller named by `from` carries',
      dimension: 'current',
      kind: 'flowing',
    },
    second: { means: 'part of it that the second one carries', dimension: 'current', kind: 'flowing' },
    load: { means: 'current out of the rail', dimension: 'current', quiet: true },
    temperature: { means: 'temperature of the regulator', dimension: 'temperature', quiet: true },
    energy: { means: 'energy taken from the harness', dimension: 'energy', kind: 'flowing', isBook: true },
  },
} as const satisfies Ports;

interface Regulator {
  change(fault: 'short' | 'overload' | 'sag', isOn: boolean): void;
  isOff(): boolean;
  isDropping(): boolean;
  isLimiting(): boolean;
  isHot(): boolean;
  isCool(): boolean;
}

export const chart = setup({
  types: { context: {} as Regulator, events: {} as { type: string } },
  guards: {
    off: ({ context }) => context.isOff(),
    dropping: ({ context }) => context.isDropping(),
    limiting: ({ context }) => context.isLimiting(),
    hot: ({ context }) => context.isHot(),
    cool: ({ context }) => context.isCool(),
  },
  actions: {
    short: ({ context }) => context.change('short', true),
    unshort: ({ context }) => context.change('short', false),
    overload: ({ context }) => context.change('overload', true),
    unload: ({ context }) => context.change('overload', false),
    sag: ({ context }) => context.change('sag', true),
    recover: ({ context }) => context.change('sag', false),
  },
}).createMachine({
  id: 'rail',
  context: ({ input }) => input as Regulator,
  initial: 'off',
  on: {
    short: { actions: 'short' },
    'mend short': { actions: 'unshort' },
    overload: { actions: 'overload' },
    'mend overload': { actions: 'unload' },
    sag: { actions: 'sag' },
    'mend sag': { actions: 'recover' },
    look: [
      { guard: 'hot', target: '.hot' },
      { guard: 'off', target: '.off' },
      { guard: 'limiting', target: '.limiting' },
      { guard: 'dropping', target: '.dropping' },
      { target: '.regulating' },
    ],
  },
  states: {
    off: {},
    regulating: {},
    dropping: {},
    limiting: {},
    hot: { on: { look: { guard: 'cool', target: 'off' } } },
  },
});

/** Output of one regulator as a source: the voltage that it would give without load. */
export function railVolts(supplyVolts: number, setVolts: number, dropoutVolts: number): number {
  return Math.max(0, Math.min(setVolts, supplyVolts - dropoutVolts));
}

/** Voltage of two sources behind resistances, neither of which takes current back, that feed one current. */
export function tiedVolts(
  firstVolts: number,
  firstOhms: number,
  secondVolts: number,
  secondOhms: number,
  amps: number,
): number {
  const [high, highOhms, low, lowOhms] =
    firstVolts >= secondVolts
      ? [firstVolts, firstOhms, secondVolts, secondOhms]
      : [secondVolts, secondOhms, firstVolts, firstOhms];
  const alone = high - highOhms * amps;
  if (alone >= low || highOhms + lowOhms === 0) return alone;
  return (high * lowOhms + low * highOhms - amps * highOhms * lowOhms) / (highOhms + lowOhms);
}

/** Share of the load that the first of two tied sources carries. */
export function firstShare(
  firstVolts: number,
  firstOhms: number,
  secondVolts: number,
  secondOhms: number,
  amps: number,
): number {
  if (firstOhms + secondOhms === 0 || amps <= 0)
    return firstVolts === secondVolts ? 0.5 : firstVolts > secondVolts ? 1 : 0;
  // Both at one voltage V: (first - V) / R1 + (second - V) / R2 = amps.
  const share = (secondOhms * amps + firstVolts - secondVolts) / ((firstOhms + secondOhms) * amps);
  return Math.min(1, Math.max(0, share));
}

/** A resistive load on a source with a current limit: the voltage it is left with. */
export function limitedVolts(volts: number, amps: number, limitAmps: number): number {
  return amps <= limitAmps ? volts : (volts * limitAmps) / amps;
}

export const faults = {
  short: { enter: 'short', leave: 'mend short', means: 'the rail is shorted to ground' },
  overload: {
    enter: 'overload',
    leave: 'mend overload',
    means: 'something else takes current from the rail',
    amount: { schema: amperes({ above: 0, max: 100, means: 'current taken', example: '3 A' }), default: 3 },
  },
  sag: {
    enter: 'sag',
    leave: 'mend sag',
    means: 'the regulator gives less than it should',
    amount: { schema: volts({ above: 0, max: 30, means: 'voltage that is missing', example: '1.5 V' }), default: 1.5 },
  },
} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  load: {
    means: 'set what is taken from the rail',
    schema: z.strictObject({ load: amperes({ min: 0, max: 100, means: 'current', example: '1 A' }) }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

/** So much cooler than where it tripped it comes back. */
const BACK_KELVIN = 20;
/** What rounding may leave between a temperature and where it was to be. */
const NEAR_KELVIN = 1e-6;
/** Below this the output counts as unchanged, so that a rail in regulation wakes nobody. */
const NOTICED_VOLTS = 1e-3;

function make(host: Host, numbers: Parameters): Live {
  const { thermal, second } = numbers;
  const state = {
    volts: 0,
    loadAmps: numbers.load,
    extraAmps: 0,
    sagVolts: 0,
    isShorted: false,
    isHot: false,
    celsius: thermal.ambient,
    /** What it would settle at with what it has lost since the latest step began. */
    settledCelsius: thermal.ambient,
    targetVolts: 0,
    supplyVolts: 0,
    amount: 0,
    firstShare: 1,
    /** What the chart was last told of. */
    condition: -1,
  };
  const heatSeconds = thermal.resistance * thermal.capacity;
  const { values, out } = host;
  const supplyIn = host.in.supply!;
  const secondIn = host.in.second!;
  const voltageOut = out.voltage!;
  const drawOut = out.draw!;
  const firstOut = out.first!;
  const secondOut = out.second!;
  const energyOut = out.energy!;
  const amps = (): number => state.loadAmps + state.extraAmps;

  /** What the rail would settle at; the capacitor decides how fast it falls there. */
  const target = (): number => {
    if (state.isShorted || state.isHot) return 0;
    const first = Math.max(0, railVolts(values[supplyIn]!, numbers.voltage, numbers.dropout) - state.sagVolts);
    const other =
      second === undefined || secondIn < 0 ? 0 : railVolts(values[secondIn]!, second.voltage, numbers.dropout);
    const otherOhms = second?.['output-resistance'] ?? numbers['output-resistance'];
    state.firstShare = other > 0 ? firstShare(first, numbers['output-resistance'], other, otherOhms, amps()) : 1;
    const loaded = Math.max(0, tiedVolts(first, numbers['output-resistance'], other, otherOhms, amps()));
    return limitedVolts(loaded, amps(), numbers.limit * (other > 0 ? 2 : 1));
  };
  const isOff = (): boolean => state.targetVolts <= 0 && state.volts <= 0;
  const isDropping = (): boolean => state.targetVolts < numbers.voltage - numbers['output-resistance'] * amps() - 0.01;
  const isLimiting = (): boolean => amps() > numbers.limit * (second === undefined ? 1 : 2);
  /** Amperes, in an array so that they are not boxed: see `take`. */
  const taken = new Float64Array(2);
  const isFed = (): boolean => state.supplyVolts > numbers.dropout && !state.isHot;
  /**
   * Writes what the load takes out of the supply, and what each regulator takes for itself. It follows the supply of the
   * step's start: that changes too slowly to be iterated.
   */
  const take = (): void => {
    const { supplyVolts, volts: given } = state;
    const isSupplied = isFed();
    const outAmps = isSupplied ? Math.min(amps(), numbers.limit) : 0;
    taken[0] =
      numbers.kind === 'linear' || !isSupplied ? outAmps : (given * outAmps) / (numbers.efficiency * supplyVolts);
    taken[1] = isSupplied ? numbers.quiescent : 0;
  };
  const look = (elapsedSeconds: number): void => {
    // It has fallen through the stretch only if it was above its target at the stretch's start.
    const fallSeconds = state.volts > state.targetVolts ? elapsedSeconds : 0;
    state.targetVolts = target();
    const fallenVolts =
      state.isShorted || numbers.capacitance === 0 ? 0 : state.volts - (amps() / numbers.capacitance) * fallSeconds;
    state.volts = Math.max(state.targetVolts, fallenVolts, 0);
    if (Math.abs(state.volts - values[voltageOut]!) > NOTICED_VOLTS || (state.volts === 0 && values[voltageOut]! > 0))
      host.emit(voltageOut, state.volts);
    // While the rail falls it must be looked at again soon, though nothing else may happen.
    if (state.volts > state.targetVolts) host.wake(again, host.now[0]! + AGAIN_SECONDS);
    const condition = (isOff() ? 1 : 0) + (isDropping() ? 2 : 0) + (isLimiting() ? 4 : 0) + (state.isHot ? 8 : 0);
    if (condition === state.condition) return;
    state.condition = condition;
    run.send(lookEvent);
  };
  const { books, bookRates, book, elapsed } = host.flow({
    states: [],
    bookCount: 1,
    draw: () => {
      take();
      const passed = taken[0]!;
      const own = taken[1]!;
      const one = passed * state.firstShare + own;
      const two = second === undefined ? 0 : passed * (1 - state.firstShare) + own;
      values[drawOut] = one + two;
      // Whose leads carry it: the names in `from` and `second.from`, in this order, as far as they are given.
      values[firstOut] = numbers.from === undefined ? (second?.from === undefined ? 0 : two) : one;
      values[secondOut] = numbers.from === undefined ? 0 : two;
    },
    feed: () => {
      values[energyOut] = books[book]!;
    },
    slope: () => {
      bookRates[book] = values[drawOut]! * values[supplyIn]!;
    },
    settle: () => {
      const elapsedSeconds = elapsed[0]!;
      state.supplyVolts = values[supplyIn]!;
      heat(elapsedSeconds);
      look(elapsedSeconds);
      foresee();
      return false;
    },
  });
  /** The regulator's temperature after a stretch in which its loss was what it was at the stretch's start. */
  const heat = (elapsedSeconds: number): void => {
    const { settledCelsius } = state;
    state.celsius = settledCelsius + (state.celsius - settledCelsius) * Math.exp(-elapsedSeconds / heatSeconds);
    host.note(out.temperature!, state.celsius);
    if (state.celsius >= thermal.trip - NEAR_KELVIN) state.isHot = true;
    else if (state.celsius <= thermal.trip - BACK_KELVIN + NEAR_KELVIN) state.isHot = false;
  };
  /** From the loss that begins now: where the temperature goes, and when it gets to where the regulator trips or comes back. */
  const foresee = (): void => {
    const givenWatts = state.volts * Math.min(amps(), numbers.limit);
    take();
    const takenWatts = (taken[0]! + (second === undefined ? 1 : 2) * taken[1]!) * state.supplyVolts;
    const lossWatts = Math.max(0, takenWatts - givenWatts);
    state.settledCelsius = thermal.ambient + lossWatts * thermal.resistance;
    const nextCelsius = state.isHot ? thermal.trip - BACK_KELVIN : thermal.trip;
    // Positive below one where the temperature passes there on its way.
    const left = (nextCelsius - state.settledCelsius) / (state.celsius - state.settledCelsius);
    if (left > 0 && left < 1) host.wake(passage, host.now[0]! - heatSeconds * Math.log(left));
    else if (host.isAwake(passage)) host.sleep(passage);
  };
  const again = host.timer(() => host.disturb());
  const passage = host.timer(() => host.disturb());
  const run = runChart(host, chart, {
    change: (fault, isOn) => {
      if (fault === 'short') state.isShorted = isOn;
      else if (fault === 'overload') state.extraAmps = isOn ? state.amount : 0;
      else state.sagVolts = isOn ? state.amount : 0;
    },
    isOff,
    isDropping,
    isLimiting,
    isHot: () => state.isHot,
    isCool: () => !state.isHot,
  } satisfies Regulator);
  const lookEvent = run.event('look');
  const changed = (): void => {
    host.note(out.load!, amps());
    host.disturb();
  };
  return {
    state,
    start: () => {
      run.start();
      host.note(out.temperature!, state.celsius);
      changed();
    },
    input: () => host.disturb(),
    command: (_form, contents) => {
      state.loadAmps = (contents as { load: number }).load;
      changed();
    },
    fault: (event, amount) => {
      state.amount = amount;
      run.send(run.event(event));
      changed();
    },
  };
}

/** How often a falling rail is looked at. */
const AGAIN_SECONDS = 2e-4;

const tellVoltage: Explain = ({ name, parameters: raw, value, read, word, wired }) => {
  const numbers = raw as Parameters;
  const mode = word(`${name}.mode`, read(`${name}.mode`));
  const supply = wired('supply') ?? 'harness.voltage';
  const fed = formatQuantity(read(supply), 'voltage');
  const load = formatQuantity(read(`${name}.load`), 'current');
  const volts = formatQuantity(value, 'voltage');
  if (mode === 'limiting')
    return {
      says: `the rail is down at ${volts}: ${load} are taken, the regulator gives ${formatQuantity(numbers.limit, 'current')}`,
      next: null,
    };
  if (mode === 'hot')
    return {
      says: `the regulator switched off at ${formatQuantity(numbers.thermal.trip, 'temperature')}; the rail is at ${volts}`,
      next: supply,
    };
  if (mode === 'regulating') return { says: `the rail is at ${volts}`, next: supply };
  return {
    says: `the rail is down at ${volts}: its regulator gets ${fed} and needs ${formatQuantity(numbers.voltage + numbers.dropout, 'voltage')}`,
    next: supply,
  };
};

export const rail: PartKind = {
  kind: 'rail',
  means: 'regulated rail',
  at: 'rail',
  always: true,
  defaults: {},
  parameters,
  ports,
  chart,
  faults,
  steps,
  tells: { along: 'power', ports: ['voltage', 'load'] },
  explain: { voltage: tellVoltage, mode: (link) => tellVoltage({ ...link, value: link.read(`${link.name}.voltage`) }) },
  make: make as PartKind['make'],
};
