/**
 * Drive selector: forward ranges, neutral and reverse on a switch that breaks one contact before it makes the next.
 *
 * Moving from one position to another passes every position that lies between them, in the order of the file, with no
 * contact closed in the gaps. Times are the builder's; the defaults are common practice, no source.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { runChart } from '../sim/chart/run.ts';
import type { Fault, Host, Live, PartKind, Ports, StepForm } from '../sim/kernel/part.ts';
import { type Settled, seconds } from '../sim/units/index.ts';

export const POSITION_WORDS = ['between', 'reverse', 'neutral', 'forward', 'low', 'middle', 'high'] as const;
const POSITIONS = ['reverse', 'neutral', 'forward', 'low', 'middle', 'high'] as const;
const BETWEEN = 0;

export const parameters = z.strictObject({
  positions: z
    .array(z.enum(POSITIONS))
    .min(1)
    .max(6)
    .prefault(['reverse', 'neutral', 'forward'])
    .describe('positions in the order in which the lever passes them'),
  start: z.enum(POSITIONS).prefault('neutral').describe('position at the start'),
  gap: seconds({ min: 0, max: 2, means: 'time between two contacts, with none closed', example: '15 ms' }).prefault(
    '15 ms',
  ),
  dwell: seconds({ min: 0, max: 2, means: 'time on each contact that the lever passes', example: '20 ms' }).prefault(
    '20 ms',
  ),
});
type Parameters = Settled<z.output<typeof parameters>>;

export const ports = {
  in: {},
  out: { position: { means: 'contact that is closed', dimension: 'count', words: POSITION_WORDS } },
} as const satisfies Ports;

interface Lever {
  readonly gapSeconds: number;
  readonly dwellSeconds: number;
  isThere(): boolean;
  leaveContact(): void;
  breakContact(): void;
  makeContact(): void;
}

export const chart = setup({
  types: { context: {} as Lever, events: {} as { type: string } },
  guards: { there: ({ context }) => context.isThere(), away: ({ context }) => !context.isThere() },
  actions: {
    leaveContact: ({ context }) => context.leaveContact(),
    breakContact: ({ context }) => context.breakContact(),
    makeContact: ({ context }) => context.makeContact(),
  },
  delays: { gap: ({ context }) => context.gapSeconds, dwell: ({ context }) => context.dwellSeconds },
}).createMachine({
  id: 'selector',
  context: ({ input }) => input as Lever,
  initial: 'resting',
  on: { 'between-contacts': '.stuck' },
  states: {
    resting: { entry: 'makeContact', on: { move: { guard: 'away', target: 'moving' } } },
    moving: {
      initial: 'apart',
      states: {
        apart: { entry: 'leaveContact', after: { gap: 'passing' } },
        passing: {
          entry: 'makeContact',
          always: { guard: 'there', target: '#selector.resting' },
          after: { dwell: 'apart' },
        },
      },
    },
    // Freed, the lever goes on to where it was last moved.
    stuck: { entry: 'breakContact', on: { 'mend between-contacts': 'moving.passing' } },
  },
});

export const faults = {
  'between-contacts': {
    enter: 'between-contacts',
    leave: 'mend between-contacts',
    means: 'the lever stands between two contacts and none is closed',
  },
} as const satisfies Readonly<Record<string, Fault>>;

export const steps = {
  to: {
    means: 'move the lever to a position',
    schema: z.strictObject({ to: z.enum(POSITIONS).describe('position to move to') }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

function make(host: Host, numbers: Parameters): Live {
  const order = numbers.positions;
  const state = { at: Math.max(0, order.indexOf(numbers.start)), target: Math.max(0, order.indexOf(numbers.start)) };
  const positionOut = host.out.position!;
  const run = runChart(host, chart, {
    gapSeconds: numbers.gap,
    dwellSeconds: numbers.dwell,
    isThere: () => state.at === state.target,
    leaveContact: () => {
      host.update(positionOut, BETWEEN);
      state.at += Math.sign(state.target - state.at);
    },
    breakContact: () => host.update(positionOut, BETWEEN),
    makeContact: () => host.update(positionOut, POSITION_WORDS.indexOf(order[state.at]!)),
  } satisfies Lever);
  return {
    state,
    start: () => run.start(),
    input: () => {
      // Nothing reaches a lever but the hand.
    },
    command: (_form, contents) => {
      const target = order.indexOf((contents as { to: (typeof POSITIONS)[number] }).to);
      if (target < 0) return;
      // Between two contacts the lever may be turned round, but it first touches the one that it was moving to.
      state.target = target;
      run.send(run.event('move'));
    },
    fault: (event) => {
      run.send(run.event(event));
    },
  };
}

export const selector: PartKind = {
  kind: 'selector',
  means: 'drive selector',
  at: 'selector',
  parameters,
  ports,
  chart,
  faults,
  steps,
  explain: {
    position: ({ value, word }) => ({
      says: `the selector's closed contact: ${word('selector.position', value)}`,
      next: null,
    }),
  },
  tells: { along: 'signal', ports: ['position'] },
  handle: { kind: 'choice', form: 'to', choices: 'positions', port: 'position' },
  make: make as PartKind['make'],
};
