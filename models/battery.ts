/**
 * Battery, connected by the script: a voltage while it is connected, none while it is not.
 *
 *     voltage = cells x open-circuit voltage of one cell at its charge
 *
 * Source: open-circuit voltage of lead-acid at rest by charge, discoverbattery.com table (12.65, 12.45, 12.24, 12.06,
 * 11.89 V for six cells at 100, 75, 50, 25, 0 %).
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Fault, Host, Live, PartKind, Ports, StepForm } from '../sim/kernel/part.ts';
import { ampereHours, count, formatQuantity, ohms, ratio, type Settled } from '../sim/units/index.ts';

export const parameters = z.strictObject({
  chemistry: z.enum(['lead-acid']).prefault('lead-acid').describe('what the cells are'),
  cells: count({ min: 1, max: 100, means: 'cells in series', example: 12 }).prefault(12),
  capacity: ampereHours({ above: 0, means: 'rated capacity', example: '18 Ah' }).prefault('18 Ah'),
  charge: ratio({ min: 0, max: 1, means: 'state of charge at the start', example: '95 %' }).prefault('100 %'),
  resistance: ohms({ min: 0, max: 10, means: 'series resistance of the whole battery', example: '38 mohm' }).prefault(
    '30 mohm',
  ),
});
type Parameters = Settled<z.output<typeof parameters>>;

export const ports = {
  in: {},
  out: { voltage: { means: 'voltage at the terminals', dimension: 'voltage' } },
} as const satisfies Ports;

interface Terminals {
  close(): void;
  open(): void;
}

export const chart = setup({
  types: { context: {} as Terminals, events: {} as { type: string } },
  actions: { close: ({ context }) => context.close(), open: ({ context }) => context.open() },
}).createMachine({
  id: 'battery',
  context: ({ input }) => input as Terminals,
  initial: 'disconnected',
  states: {
    disconnected: { entry: 'open', on: { connect: 'connected' } },
    connected: { entry: 'close', on: { disconnect: 'disconnected' } },
  },
});

const LEAD_ACID_CELL_VOLTS = [11.89, 12.06, 12.24, 12.45, 12.65].map((sixCells) => sixCells / 6);

/** Open-circuit voltage of one cell at rest, linear between the points of the table. */
export function cellVolts(charge: number): number {
  const place = Math.min(Math.max(charge, 0), 1) * (LEAD_ACID_CELL_VOLTS.length - 1);
  const below = Math.min(Math.floor(place), LEAD_ACID_CELL_VOLTS.length - 2);
  const from = LEAD_ACID_CELL_VOLTS[below]!;
  return from + (place - below) * (LEAD_ACID_CELL_VOLTS[below + 1]! - from);
}

export const faults = {} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  connect: { means: 'connect the battery, or switch the vehicle on', bare: true },
  disconnect: { means: 'disconnect the battery, or switch the vehicle off', bare: true },
} as const satisfies Readonly<Record<string, StepForm>>;

function make(host: Host, numbers: Parameters): Live {
  const state = { charge: numbers.charge };
  const run = runChart(host, chart, {
    close: () => host.update(host.out.voltage!, numbers.cells * cellVolts(state.charge)),
    open: () => host.update(host.out.voltage!, 0),
  } satisfies Terminals);
  return {
    state,
    start: () => run.start(),
    input: () => {
      // The plain battery feels no load.
    },
    command: (form) => {
      run.send(run.event(form));
    },
    fault: () => {
      // None yet.
    },
  };
}

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
  explain: { voltage: ({ value }) => ({ says: `the battery gives ${formatQuantity(value, 'voltage')}`, next: null }) },
  tells: { along: 'power', ports: ['voltage'] },
  handle: { kind: 'switch', on: 'connect', off: 'disconnect', isOn: 'connected' },
  make: make as PartKind['make'],
};
