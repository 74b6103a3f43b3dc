/**
 * Battery: current in, voltage out, by an equivalent circuit.
 *
 *     voltage = cells x open-circuit(charge) - R(charge, temperature) x current - rc
 *     rc'     = (polarisation x current - rc) / recovery
 *     below 0 % the open-circuit voltage falls to nothing over 3 % of the capacity (an assumption of ours)
 *     charge' = -current x (current / rated)^(peukert - 1) / capacity       the exponent only above the rated current
 *
 * Peukert's law in its rated-time form, t = H (C / (I H))^k (memory; the form that agrees with the rated capacity).
 * Open-circuit voltage of lead-acid at rest by charge: discoverbattery.com table (12.65, 12.45, 12.24, 12.06, 11.89 V for
 * six cells at 100, 75, 50, 25, 0 %). The other chemistries' curves are from memory: typical, not a data sheet; a builder
 * who has measured his cells writes `curve`.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports, StepForm } from '../sim/kernel/part.ts';
import {
  ampereHours,
  amperes,
  count,
  degreesCelsius,
  formatQuantity,
  ohms,
  ratio,
  type Settled,
  seconds,
  volts,
} from '../sim/units/index.ts';

const charge = ratio({ min: 0, max: 1, means: 'state of charge at the start', example: '95 %' });

export const parameters = z.strictObject({
  chemistry: z
    .enum(['lead-acid', 'lithium-iron-phosphate', 'lithium-ion', 'nickel-metal-hydride'])
    .prefault('lead-acid')
    .describe('what the cells are'),
  cells: count({ min: 1, max: 100, means: 'cells in series', example: 12 }).prefault(12),
  capacity: ampereHours({ min: '0.1 Ah', means: 'rated capacity', example: '18 Ah' }).prefault('18 Ah'),
  charge: charge.prefault('100 %'),
  resistance: ohms({
    above: 0,
    max: 10,
    means: 'series resistance of the whole battery, full and at 25 degC',
    example: '38 mohm',
  }).prefault('30 mohm'),
  'resistance-empty': ratio({ min: 1, max: 20, means: 'how many times that it is when empty', example: 2 }).prefault(2),
  'per-kelvin': ratio({
    min: 0,
    max: 0.1,
    means: 'rise of the resistance for each kelvin below 25 degC',
    example: '1 %',
  }).prefault('1 %'),
  polarisation: ohms({
    min: 0,
    max: 10,
    means: 'resistance of the slow (RC) part of the drop',
    example: '15 mohm',
  }).prefault('15 mohm'),
  recovery: seconds({ min: 0.01, max: 1e5, means: 'time constant of the slow part', example: '30 s' }).prefault('30 s'),
  temperature: degreesCelsius({ min: -50, max: 90, means: 'temperature of the cells', example: '20 degC' }).prefault(
    '25 degC',
  ),
  peukert: ratio({ min: 1, max: 2, means: "Peukert's exponent; 1 is none", example: 1.2 }).optional(),
  'rated-time': seconds({
    above: 0,
    max: 1e6,
    means: 'discharge time at which the capacity is rated',
    example: '20 h',
  }).prefault('20 h'),
  curve: z
    .array(z.tuple([charge, volts({ above: 0, max: 10, means: 'open-circuit voltage of one cell', example: '3.3 V' })]))
    .min(2)
    .max(100)
    .optional()
    .describe('measured open-circuit voltage of one cell by charge, rising: [[0 %, 3.0 V], [100 %, 4.2 V]]'),
  protection: z
    .strictObject({
      'over-current': amperes({ above: 0, means: 'current at which the protection board opens', example: '60 A' }),
      after: seconds({ min: 0, max: 10, means: 'how long it must last', example: '20 ms' }).prefault('20 ms'),
      'under-voltage': volts({
        min: 0,
        max: 5,
        means: 'voltage of one cell at which it opens',
        example: '2.5 V',
      }).prefault('0 V'),
      reconnect: z
        .enum(['by-hand', 'load-removed'])
        .prefault('by-hand')
        .describe('what closes it again: connecting anew, or a second without load'),
    })
    .optional()
    .describe('protection board inside the battery'),
});
type Parameters = Settled<z.output<typeof parameters>>;
export type BatteryNumbers = Parameters;

export const ports = {
  in: {
    load: {
      means: 'current that the harness takes',
      from: ({ partNames }) => (partNames.has('harness') ? 'harness.current' : undefined),
      wakes: false,
    },
  },
  out: {
    voltage: { means: 'voltage at the terminals', dimension: 'voltage', kind: 'flowing' },
    current: { means: 'current out of the battery', dimension: 'current', kind: 'flowing' },
    charge: { means: 'state of charge', dimension: 'ratio', kind: 'flowing' },
    slow: { means: 'slow (RC) part of the drop inside it', dimension: 'voltage', kind: 'flowing' },
    energy: { means: 'energy given out at the terminals', dimension: 'energy', kind: 'flowing', isBook: true },
  },
} as const satisfies Ports;

interface Terminals {
  close(): void;
  open(): void;
  isLoadRemovable(): boolean;
  set(fault: 'weak-cell' | 'sulphated' | 'terminal-loose', isOn: boolean): void;
}

export const chart = setup({
  types: { context: {} as Terminals, events: {} as { type: string } },
  guards: { reconnectsByItself: ({ context }) => context.isLoadRemovable() },
  actions: {
    close: ({ context }) => context.close(),
    open: ({ context }) => context.open(),
    weaken: ({ context }) => context.set('weak-cell', true),
    unweaken: ({ context }) => context.set('weak-cell', false),
    sulphate: ({ context }) => context.set('sulphated', true),
    desulphate: ({ context }) => context.set('sulphated', false),
    loosen: ({ context }) => context.set('terminal-loose', true),
    tighten: ({ context }) => context.set('terminal-loose', false),
  },
  delays: { rest: () => 1 },
}).createMachine({
  id: 'battery',
  context: ({ input }) => input as Terminals,
  initial: 'disconnected',
  on: {
    'weak-cell': { actions: 'weaken' },
    'mend weak-cell': { actions: 'unweaken' },
    sulphated: { actions: 'sulphate' },
    'mend sulphated': { actions: 'desulphate' },
    'terminal-loose': { actions: 'loosen' },
    'mend terminal-loose': { actions: 'tighten' },
  },
  states: {
    disconnected: { entry: 'open', on: { connect: 'connected' } },
    connected: { entry: 'close', on: { disconnect: 'disconnected', trip: 'tripped', disconnected: 'torn' } },
    tripped: {
      entry: 'open',
      on: { connect: 'connected', disconnect: 'disconnected' },
      after: { rest: { guard: 'reconnectsByItself', target: 'connected' } },
    },
    // The plug came off: only putting it back helps, whatever the switch does.
    torn: { entry: 'open', on: { 'mend disconnected': 'connected' } },
  },
});

type Curve = readonly (readonly [charge: number, cellVolts: number])[];

const CURVES: Readonly<Record<Parameters['chemistry'], Curve>> = {
  'lead-acid': [
    [0, 11.89 / 6],
    [0.25, 12.06 / 6],
    [0.5, 12.24 / 6],
    [0.75, 12.45 / 6],
    [1, 12.65 / 6],
  ],
  'lithium-iron-phosphate': [
    [0, 2.5],
    [0.05, 2.95],
    [0.1, 3.13],
    [0.2, 3.22],
    [0.4, 3.28],
    [0.7, 3.32],
    [0.9, 3.34],
    [1, 3.4],
  ],
  'lithium-ion': [
    [0, 3.0],
    [0.05, 3.45],
    [0.1, 3.6],
    [0.2, 3.68],
    [0.4, 3.77],
    [0.6, 3.87],
    [0.8, 3.98],
    [1, 4.2],
  ],
  'nickel-metal-hydride': [
    [0, 1.0],
    [0.1, 1.18],
    [0.5, 1.26],
    [0.8, 1.3],
    [1, 1.4],
  ],
};

/** A curve for the hot path: a look at plain pairs would box their numbers, some hundred bytes each time (measured). */
interface CurvePoints {
  readonly charges: Float64Array;
  readonly volts: Float64Array;
}

const pointsOf = (curve: Curve): CurvePoints => ({
  charges: Float64Array.from(curve, ([point]) => point),
  volts: Float64Array.from(curve, ([, point]) => point),
});

function voltsAlong(chargeShare: number, { charges, volts: points }: CurvePoints): number {
  if (chargeShare <= charges[0]!) return points[0]!;
  for (let high = 1; high < charges.length; high += 1) {
    if (chargeShare > charges[high]!) continue;
    const share = (chargeShare - charges[high - 1]!) / (charges[high]! - charges[high - 1]!);
    return points[high - 1]! + share * (points[high]! - points[high - 1]!);
  }
  return points[charges.length - 1]!;
}

/** Open-circuit voltage of one cell at rest, linear between the points of a curve and flat outside it. */
export function cellVolts(chargeShare: number, curve: Curve): number {
  return voltsAlong(chargeShare, pointsOf(curve));
}

/** The protection board sees a current or a voltage that is beyond its limit by so much, as a share of it. */
const PROTECTION_SHARE = 1e-5;

/** How far below empty a battery can be drawn, as a share of its capacity. */
const COLLAPSE_SHARE = 0.03;

/** What is left of the voltage of an empty battery that is drawn further. */
export function leftWhenEmpty(chargeShare: number): number {
  return chargeShare >= 0 ? 1 : Math.max(0, 1 + chargeShare / COLLAPSE_SHARE);
}

/** Open-circuit voltage of a whole battery at rest, at a charge. */
export const openVolts = (battery: BatteryNumbers, chargeShare: number): number =>
  battery.cells * cellVolts(chargeShare, battery.curve ?? CURVES[battery.chemistry]);

export const curveOf = (chemistry: Parameters['chemistry']): Curve => CURVES[chemistry];

/** Current that empties the battery as fast as `amps` does by Peukert's law; `ratedAmps` is capacity over rated time. */
export function peukertAmps(amps: number, ratedAmps: number, exponent: number): number {
  return amps <= ratedAmps || exponent === 1 ? amps : amps * (amps / ratedAmps) ** (exponent - 1);
}

/** Series resistance by charge (linear from full to empty) and temperature (linear below and above 25 degC, half at least). */
export function seriesOhms(
  fullOhms: number,
  timesEmpty: number,
  chargeShare: number,
  perKelvin: number,
  celsius: number,
): number {
  return fullOhms * (1 + (timesEmpty - 1) * (1 - chargeShare)) * Math.max(0.5, 1 + perKelvin * (25 - celsius));
}

export const faults = {
  'weak-cell': {
    enter: 'weak-cell',
    leave: 'mend weak-cell',
    means: 'one cell gives less than the others',
    amount: { schema: volts({ above: 0, max: 5, means: 'voltage that is missing', example: '1.5 V' }), default: 1.5 },
  },
  sulphated: {
    enter: 'sulphated',
    leave: 'mend sulphated',
    means: 'the plates have aged and the resistance is a multiple',
    amount: { schema: ratio({ above: 1, max: 100, means: 'how many times the resistance', example: 4 }), default: 4 },
  },
  'terminal-loose': {
    enter: 'terminal-loose',
    leave: 'mend terminal-loose',
    means: 'a terminal has a contact resistance',
    amount: { schema: ohms({ above: 0, max: 10, means: 'contact resistance', example: '100 mohm' }), default: 0.1 },
  },
  disconnected: { enter: 'disconnected', leave: 'mend disconnected', means: 'the plug comes off while driving' },
} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  connect: { means: 'connect the battery, or switch the vehicle on', bare: true },
  disconnect: { means: 'disconnect the battery, or switch the vehicle off', bare: true },
  charge: { means: 'set the state of charge', schema: z.strictObject({ charge }) },
  temperature: {
    means: 'set the temperature of the cells',
    schema: z.strictObject({
      temperature: degreesCelsius({ min: -50, max: 90, means: 'temperature of the cells', example: '-10 degC' }),
    }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

function make(host: Host, numbers: Parameters): Live {
  const state = {
    isClosed: false,
    celsius: numbers.temperature,
    missingVolts: 0,
    timesOhms: 1,
    contactOhms: 0,
    amount: 0,
  };
  const { values, out } = host;
  const { cells, capacity, resistance, polarisation, recovery, protection } = numbers;
  const loadIn = host.in.load!;
  const voltageOut = out.voltage!;
  const currentOut = out.current!;
  const chargeOut = out.charge!;
  const energyOut = out.energy!;
  const slowOut = out.slow!;
  const curve: Curve = numbers.curve ?? CURVES[numbers.chemistry];
  const exponent = numbers.peukert ?? (numbers.chemistry === 'lead-acid' ? 1.2 : 1);
  const ratedAmps = capacity / numbers['rated-time'];
  const fullVolts = cells * cellVolts(1, curve);
  const points = pointsOf(curve);

  const terminalVolts = (): number => {
    if (!state.isClosed) return 0;
    const chargeNow = x[base]!;
    const ohmsNow =
      seriesOhms(
        resistance,
        numbers['resistance-empty'],
        Math.max(0, chargeNow),
        numbers['per-kelvin'],
        state.celsius,
      ) *
        state.timesOhms +
      state.contactOhms;
    const openNow = (cells * voltsAlong(chargeNow, points) - state.missingVolts) * leftWhenEmpty(chargeNow);
    return Math.max(0, openNow - ohmsNow * values[currentOut]! - x[base + 1]!);
  };
  const {
    x,
    dx,
    books,
    bookRates,
    state: base,
    book,
    excess,
  } = host.flow({
    states: [
      { name: 'charge', start: numbers.charge, scale: 1 },
      { name: 'polarisation', start: 0, scale: fullVolts },
    ],
    bookCount: 1,
    draw: () => {
      values[currentOut] = state.isClosed && loadIn >= 0 ? values[loadIn]! : 0;
    },
    feed: () => {
      values[voltageOut] = terminalVolts();
      values[slowOut] = x[base + 1]!;
      // A step may pass empty or full by what it is allowed to err.
      values[chargeOut] = Math.min(1, Math.max(0, x[base]!));
      values[energyOut] = books[book]!;
    },
    slope: () => {
      const amps = values[currentOut]!;
      dx[base] =
        (x[base]! <= -COLLAPSE_SHARE && amps > 0) || (x[base]! >= 1 && amps < 0)
          ? 0
          : -peukertAmps(amps, ratedAmps, exponent) / capacity;
      dx[base + 1] = (polarisation * amps - x[base + 1]!) / recovery;
      bookRates[book] = amps * values[voltageOut]!;
    },
    ...(protection === undefined ? {} : { excess: () => raiseExcess(protection) }),
    settle: () => {
      if (protection === undefined || !state.isClosed) return false;
      if (values[voltageOut]! < cells * protection['under-voltage']) {
        host.wake(trip, host.now[0]!);
        return false;
      }
      const isOver = values[currentOut]! > protection['over-current'];
      if (isOver !== host.isAwake(trip)) {
        if (isOver) host.wake(trip, host.now[0]! + protection.after);
        else host.sleep(trip);
      }
      return false;
    },
  });
  const raiseExcess = (board: NonNullable<typeof protection>): void => {
    if (!state.isClosed) return;
    const leastVolts = cells * board['under-voltage'];
    const over = values[currentOut]! / board['over-current'] - 1;
    const under = leastVolts === 0 ? -1 : 1 - values[voltageOut]! / leastVolts;
    const worst = Math.max(host.isAwake(trip) ? -over : over, under);
    excess[0] = Math.max(excess[0]!, worst / PROTECTION_SHARE);
  };
  const switched = (isClosed: boolean): void => {
    // The states may have run ahead to the end of a step.
    host.refresh();
    state.isClosed = isClosed;
    host.sleep(trip);
    host.disturb();
    host.emit(voltageOut, terminalVolts());
  };
  const run = runChart(host, chart, {
    close: () => switched(true),
    open: () => switched(false),
    isLoadRemovable: () => protection?.reconnect === 'load-removed',
    set: (fault, isOn) => {
      if (fault === 'weak-cell') state.missingVolts = isOn ? state.amount : 0;
      else if (fault === 'sulphated') state.timesOhms = isOn ? state.amount : 1;
      else state.contactOhms = isOn ? state.amount : 0;
      host.disturb();
    },
  } satisfies Terminals);
  const trip = host.timer(() => {
    host.sample(voltageOut);
    host.finding(
      'protection',
      `the protection board opened at ${formatQuantity(values[currentOut]!, 'current')} and ${formatQuantity(values[voltageOut]!, 'voltage')}`,
    );
    run.send(run.event('trip'));
  });
  return {
    state,
    start: () => run.start(),
    input: () => {
      // The load is felt continuously, not by events.
    },
    command: (form, contents) => {
      if (form === 'charge') {
        host.refresh();
        x[base] = (contents as { charge: number }).charge;
        host.jump();
      } else if (form === 'temperature') {
        state.celsius = (contents as { temperature: number }).temperature;
        host.disturb();
      } else run.send(run.event(form));
    },
    fault: (event, amount) => {
      state.amount = amount;
      run.send(run.event(event));
    },
  };
}

const tellVoltage: Explain = ({ name, parameters: raw, value, read, word }) => {
  const numbers = raw as Parameters;
  const current = read(`${name}.current`);
  const chargeNow = read(`${name}.charge`);
  const open = openVolts(numbers, chargeNow);
  if (word(`${name}.mode`, read(`${name}.mode`)) !== 'connected')
    return { says: 'the battery gives nothing', next: `${name}.mode` };
  const slow = read(`${name}.slow`);
  const fast = open - value - slow;
  return {
    says: `the battery gives ${formatQuantity(value, 'voltage')}: ${formatQuantity(chargeNow, 'ratio')} charged it has ${formatQuantity(open, 'voltage')} open, of which ${formatQuantity(current, 'current')} take ${formatQuantity(fast, 'voltage')} in its series resistance${current === 0 ? '' : ` (${formatQuantity(Math.abs(fast / current), 'resistance')})`} and ${formatQuantity(slow, 'voltage')} in its slow part`,
    next: null,
  };
};

export const battery: PartKind = {
  kind: 'battery',
  means: 'battery',
  at: 'battery',
  always: true,
  defaults: {},
  parameters,
  ports,
  chart,
  faults,
  steps,
  tells: { along: 'power', ports: ['voltage', 'current', 'charge'] },
  handle: { kind: 'switch', on: 'connect', off: 'disconnect', isOn: 'connected' },
  explain: {
    voltage: tellVoltage,
    current: ({ value }) => ({
      says: `the battery gives ${formatQuantity(value, 'current')}`,
      next: 'battery.voltage',
    }),
    mode: ({ value, word, name, read }) => {
      const mode = word(`${name}.mode`, value);
      if (mode === 'tripped')
        return {
          says: `the protection board has opened, last with ${formatQuantity(read(`${name}.current`), 'current')}`,
          next: null,
        };
      return { says: mode === 'torn' ? 'the plug of the battery came off' : `the battery is ${mode}` };
    },
  },
  make: make as PartKind['make'],
};
