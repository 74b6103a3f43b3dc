/**
 * Rail: the regulator that feeds board, pedal and receiver, usually inside a controller.
 *
 *     voltage = least of the set voltage and the supply less the dropout
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Fault, Host, Live, PartKind, Ports } from '../sim/kernel/part.ts';
import { amperes, formatQuantity, type Settled, volts } from '../sim/units/index.ts';

export const parameters = z.strictObject({
  from: z.string().max(60).optional().describe('name of the controller whose regulator this is'),
  voltage: volts({ above: 0, max: 30, means: 'set voltage', example: '5.0 V ± 2 %' }).prefault('5 V'),
  dropout: volts({ min: 0, max: 10, means: 'least difference between supply and output', example: '0.6 V' }).prefault(
    '0.6 V',
  ),
  limit: amperes({ above: 0, means: 'current limit', example: '2 A' }).prefault('2 A'),
});
type Parameters = Settled<z.output<typeof parameters>>;

export const ports = {
  in: { supply: { means: 'what feeds the regulator', from: () => 'battery.voltage' } },
  out: { voltage: { means: 'voltage of the rail', dimension: 'voltage' } },
} as const satisfies Ports;

interface Regulator {
  isDropping(): boolean;
  isOff(): boolean;
}

export const chart = setup({
  types: { context: {} as Regulator, events: {} as { type: string } },
  guards: { off: ({ context }) => context.isOff(), dropping: ({ context }) => context.isDropping() },
}).createMachine({
  id: 'rail',
  context: ({ input }) => input as Regulator,
  initial: 'off',
  on: {
    supply: [{ guard: 'off', target: '.off' }, { guard: 'dropping', target: '.dropping' }, { target: '.regulating' }],
  },
  states: { off: {}, dropping: {}, regulating: {} },
});

/** Output of a regulator without load. */
export function railVolts(supplyVolts: number, setVolts: number, dropoutVolts: number): number {
  return Math.max(0, Math.min(setVolts, supplyVolts - dropoutVolts));
}

export const faults = {} as const satisfies Readonly<Record<string, Fault>>;

function make(host: Host, numbers: Parameters): Live {
  const state = { supplyVolts: 0 };
  const run = runChart(host, chart, {
    isOff: () => state.supplyVolts <= numbers.dropout,
    isDropping: () => state.supplyVolts < numbers.voltage + numbers.dropout,
  } satisfies Regulator);
  return {
    state,
    start: () => run.start(),
    input: () => {
      state.supplyVolts = host.values[host.in.supply!]!;
      run.send(run.event('supply'));
      host.update(host.out.voltage!, railVolts(state.supplyVolts, numbers.voltage, numbers.dropout));
    },
    fault: () => {
      // None yet.
    },
  };
}

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
  explain: {
    voltage: ({ value, read }) => ({
      says: `the rail is at ${formatQuantity(value, 'voltage')}, fed with ${formatQuantity(read('battery.voltage'), 'voltage')}`,
      next: 'battery.voltage',
    }),
  },
  tells: { along: 'power', ports: ['voltage'] },
  make: make as PartKind['make'],
};
