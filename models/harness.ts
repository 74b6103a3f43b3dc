/**
 * Harness: main cable, connectors, fuse and disconnect switch between battery and the splitter that feeds the controllers.
 *
 *     voltage at the splitter = battery voltage - R x current          R of wire.ts, with fuse and faults
 *     current                 = sum of what controllers and regulator take
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Explain, Fault, Host, Live, PartKind, Ports, StepForm, Told } from '../sim/kernel/part.ts';
import { amperes, degreesCelsius, formatQuantity, ohms, type Settled } from '../sim/units/index.ts';
import { FUSE_TYPES, meltingPerSecond, meltSeconds } from './fuse.ts';
import { cableOhms, type Wire, wire } from './wire.ts';

export const parameters = z.strictObject({
  main: z
    .strictObject({
      ...wire,
      fuse: amperes({
        above: 0,
        max: 1000,
        means: 'rating of the fuse; without it there is none',
        example: '40 A',
      }).optional(),
      'fuse-type': z.enum(FUSE_TYPES).prefault('blade').describe('its family, which decides its time-current curve'),
      'fuse-resistance': ohms({ min: 0, max: 1, means: 'resistance of the fuse', example: '1.4 mohm' }).prefault(
        '1.5 mohm',
      ),
    })
    .prefault({})
    .describe('the main lead from the battery: a pair of wires, its connectors, its fuse'),
  switch: z.enum(['closed', 'open']).prefault('closed').describe('disconnect switch at the start'),
});
type Parameters = Settled<z.output<typeof parameters>>;
export type HarnessNumbers = Parameters;

export const ports = {
  in: { battery: { means: 'voltage at the battery', from: () => 'battery.voltage' } },
  out: {
    voltage: { means: 'voltage at the splitter', dimension: 'voltage', kind: 'flowing' },
    current: { means: 'current through the main cable', dimension: 'current', kind: 'flowing' },
    drop: { means: 'voltage lost between battery and splitter', dimension: 'voltage', kind: 'flowing' },
    melted: { means: 'how far the fuse is on its way to melting; 100 % is open', dimension: 'ratio', kind: 'flowing' },
    loss: { means: 'energy lost in the harness', dimension: 'energy', kind: 'flowing', isBook: true },
  },
} as const satisfies Ports;

interface Cable {
  change(fault: 'corroded-connector' | 'loose-lug', isOn: boolean): void;
  show(): void;
}

export const chart = setup({
  types: { context: {} as Cable, events: {} as { type: string } },
  actions: {
    show: ({ context }) => context.show(),
    corrode: ({ context }) => context.change('corroded-connector', true),
    clean: ({ context }) => context.change('corroded-connector', false),
    loosen: ({ context }) => context.change('loose-lug', true),
    tighten: ({ context }) => context.change('loose-lug', false),
  },
}).createMachine({
  id: 'harness',
  context: ({ input }) => input as Cable,
  initial: 'closed',
  on: {
    'corroded-connector': { actions: 'corrode' },
    'mend corroded-connector': { actions: 'clean' },
    'loose-lug': { actions: 'loosen' },
    'mend loose-lug': { actions: 'tighten' },
  },
  states: {
    closed: { entry: 'show', on: { open: 'open', melt: 'blown', 'blown-fuse': 'blown' } },
    open: { entry: 'show', on: { close: 'closed', 'blown-fuse': 'blown' } },
    blown: { entry: 'show', on: { 'mend blown-fuse': 'closed' } },
  },
});

export const faults = {
  'corroded-connector': {
    enter: 'corroded-connector',
    leave: 'mend corroded-connector',
    means: 'a connector has a resistance',
    amount: { schema: ohms({ above: 0, max: 10, means: 'resistance added', example: '50 mohm' }), default: 0.05 },
  },
  'loose-lug': {
    enter: 'loose-lug',
    leave: 'mend loose-lug',
    means: 'a lug is loose and has a resistance',
    amount: { schema: ohms({ above: 0, max: 10, means: 'resistance added', example: '100 mohm' }), default: 0.1 },
  },
  'blown-fuse': { enter: 'blown-fuse', leave: 'mend blown-fuse', means: 'the fuse is open' },
} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  switch: {
    means: 'open or close the disconnect switch',
    schema: z.strictObject({ switch: z.enum(['open', 'close']).describe('what is done to the switch') }),
  },
  temperature: {
    means: 'set the temperature of the wire',
    schema: z.strictObject({
      temperature: degreesCelsius({ min: -50, max: 200, means: 'temperature of the wire', example: '60 degC' }),
    }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

function make(host: Host, numbers: Parameters): Live {
  const main = numbers.main as Wire & typeof numbers.main;
  const state = {
    isOpen: numbers.switch === 'open',
    isBlown: false,
    ohms: 0,
    corrodedOhms: 0,
    looseOhms: 0,
    celsius: main.temperature,
    amount: 0,
  };
  const { values, out } = host;
  const batteryIn = host.in.battery!;
  const voltageOut = out.voltage!;
  const currentOut = out.current!;
  const dropOut = out.drop!;
  const lossOut = out.loss!;
  const meltedOut = out.melted!;
  const loads = host.all('controller', 'current');
  const rails = host.all('rail', 'draw');
  const recompute = (): void => {
    state.ohms =
      cableOhms(main, state.celsius) +
      (main.fuse === undefined ? 0 : main['fuse-resistance']) +
      state.corrodedOhms +
      state.looseOhms;
    host.disturb();
  };
  const splitterVolts = (): number =>
    state.isOpen || state.isBlown ? 0 : Math.max(0, values[batteryIn]! - state.ohms * values[currentOut]!);
  const {
    x,
    dx,
    books,
    bookRates,
    state: base,
    book,
  } = host.flow({
    states: main.fuse === undefined ? [] : [{ name: 'melting', start: 0, scale: 1 }],
    bookCount: 1,
    draw: () => {
      let amps = 0;
      for (let index = 0; index < loads.length; index += 1) amps += values[loads[index]!]!;
      for (let index = 0; index < rails.length; index += 1) amps += values[rails[index]!]!;
      values[currentOut] = state.isOpen || state.isBlown ? 0 : amps;
    },
    feed: () => {
      values[voltageOut] = splitterVolts();
      values[dropOut] = state.isOpen || state.isBlown ? 0 : state.ohms * values[currentOut]!;
      values[lossOut] = books[book]!;
      if (main.fuse !== undefined) values[meltedOut] = Math.min(1, x[base]!);
    },
    slope: () => {
      bookRates[book] = (values[batteryIn]! - values[voltageOut]!) * values[currentOut]!;
      if (main.fuse !== undefined)
        dx[base] = state.isBlown ? 0 : meltingPerSecond(x[base]!, values[currentOut]!, main.fuse, main['fuse-type']);
    },
    settle: () => {
      if (main.fuse === undefined || state.isBlown) return false;
      const share = Math.min(1, x[base]!);
      const leftSeconds = (1 - share) * meltSeconds(Math.abs(values[currentOut]!), main.fuse, main['fuse-type']);
      if (leftSeconds < SOON_SECONDS) host.wake(melt, host.now[0]! + leftSeconds);
      else if (host.isAwake(melt)) host.sleep(melt);
      return false;
    },
  });
  const melt = host.timer(() => {
    host.sample(currentOut);
    host.finding(
      'fuse',
      `the ${formatQuantity(main.fuse ?? 0, 'current')} fuse blew at ${formatQuantity(values[currentOut]!, 'current')}`,
    );
    run.send(run.event('melt'));
  });
  const run = runChart(host, chart, {
    change: (fault, isOn) => {
      if (fault === 'loose-lug') state.looseOhms = isOn ? state.amount : 0;
      else state.corrodedOhms = isOn ? state.amount : 0;
      recompute();
    },
    show: () => {
      // The mode is entered a moment later, so the state says itself what is open.
      host.wake(shown, host.now[0]!);
    },
  } satisfies Cable);
  const shown = host.timer(() => {
    const mode = run.table.leaves[run.state.mode];
    state.isOpen = mode === 'open';
    const wasBlown = state.isBlown;
    state.isBlown = mode === 'blown';
    if (main.fuse !== undefined && !state.isBlown && wasBlown) {
      // A new fuse.
      host.refresh();
      x[base] = 0;
      host.jump();
    }
    host.disturb();
    tellVolts();
  });
  const tellVolts = (): void => {
    host.sample(batteryIn);
    host.emit(voltageOut, splitterVolts());
  };
  return {
    state,
    start: () => {
      recompute();
      run.start();
      if (state.isOpen) run.send(run.event('open'));
    },
    input: tellVolts,
    command: (form, contents) => {
      if (form === 'switch') run.send(run.event((contents as { switch: string }).switch));
      else {
        state.celsius = (contents as { temperature: number }).temperature;
        recompute();
      }
    },
    fault: (event, amount) => {
      state.amount = amount;
      run.send(run.event(event));
    },
  };
}

/** Why the fuse is open, or nearly: its current, its time and the curve. */
const tellFuse: Explain = ({ name, parameters: raw, value, read, word }) => {
  const { main } = raw as Parameters;
  const mode = word(`${name}.mode`, read(`${name}.mode`));
  const current = read(`${name}.current`);
  const rated = formatQuantity(main.fuse ?? 0, 'current');
  const seconds = meltSeconds(Math.abs(current), main.fuse ?? 1, main['fuse-type']);
  if (mode === 'blown' && !Number.isFinite(seconds)) return { says: `the ${rated} fuse is open`, next: null };
  if (mode === 'blown')
    return {
      says: `the ${rated} fuse opened: ${formatQuantity(current, 'current')} flowed, which melt it in ${formatQuantity(seconds, 'time')}`,
      next: `${name}.current`,
    };
  return {
    says: `the ${rated} fuse is ${formatQuantity(value, 'ratio')} on its way to melting; ${formatQuantity(current, 'current')} ${seconds === Number.POSITIVE_INFINITY ? 'it carries for ever' : `open it in ${formatQuantity(seconds, 'time')}`}`,
    next: `${name}.current`,
  };
};

/** A fuse that opens within this time is waited for by a timer; steps of the continuous states are shorter. */
const SOON_SECONDS = 1;

const tellVoltage: Explain = ({ name, read, word }) => {
  const mode = word(`${name}.mode`, read(`${name}.mode`));
  if (mode === 'blown') return { says: 'nothing arrives at the splitter', next: `${name}.mode` };
  if (mode === 'open') return { says: 'the disconnect switch is open', next: `${name}.mode` };
  return tellVoltageOf(name, read);
};

function tellVoltageOf(name: string, read: (signal: string) => number): Told {
  const current = read(`${name}.current`);
  const drop = read(`${name}.drop`);
  return {
    says: `${formatQuantity(read(`${name}.voltage`), 'voltage')} arrive at the splitter: the harness takes ${formatQuantity(drop, 'voltage')} of ${formatQuantity(read('battery.voltage'), 'voltage')} at ${formatQuantity(current, 'current')} (${formatQuantity(current === 0 ? 0 : drop / current, 'resistance')})`,
    next: 'battery.voltage',
  };
}

export const harness: PartKind = {
  kind: 'harness',
  means: 'wires, connectors and fuse',
  at: 'harness',
  always: true,
  defaults: {},
  parameters,
  ports,
  chart,
  faults,
  steps,
  tells: { along: 'power', ports: ['voltage', 'current', 'drop'] },
  explain: {
    voltage: tellVoltage,
    drop: ({ name, read }) => tellVoltageOf(name, read),
    melted: tellFuse,
    current: ({ value }) => ({
      says: `the main cable carries ${formatQuantity(value, 'current')}`,
      next: 'battery.voltage',
    }),
    mode: (link) => {
      const mode = link.word(`${link.name}.mode`, link.value);
      return mode === 'blown' ? tellFuse(link) : { says: `the disconnect switch is ${mode}` };
    },
  },
  make: make as PartKind['make'],
};
