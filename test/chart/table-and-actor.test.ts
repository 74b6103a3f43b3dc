import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type AnyStateMachine, createActor, setup } from 'xstate';
import { z } from 'zod';
import { partKinds } from '../../models/index.ts';
import { assemble } from '../../sim/bench/assemble.ts';
import { runChart } from '../../sim/chart/run.ts';
import { dotted, tableOf } from '../../sim/chart/table.ts';
import type { PartKind } from '../../sim/kernel/part.ts';

/** One thing that a chart was seen to do: an action, or the leaf it came to rest in. */
type Trail = string[];

/** An event to send after a wait, and the seed from which every guard draws its answer until the next. */
interface Beat {
  readonly event: string;
  readonly waitSeconds: number;
  readonly seed: number;
}

/** Answers and delays that depend on nothing but the name and the beat, so that both sides get the same. */
function answer(name: string, seed: number): boolean {
  let hash = seed;
  for (const letter of name) hash = Math.imul(hash ^ letter.charCodeAt(0), 0x01000193) >>> 0;
  return (hash >>> 7) % 2 === 0;
}
const delayOf = (name: string): number => 0.1 + Math.SQRT2 * (1 + (name.length % 5)) + name.charCodeAt(0) / 1000;

/** The machine with every guard, action and delay replaced by one that is scripted and noted. */
function scripted(machine: AnyStateMachine, trail: Trail, seedNow: () => number): AnyStateMachine {
  const names = (list: object): string[] => Object.keys(list);
  const { guards, actions, delays } = machine.implementations as unknown as Record<string, object>;
  return machine.provide({
    guards: Object.fromEntries(names(guards!).map((name) => [name, () => answer(name, seedNow())])),
    actions: Object.fromEntries(names(actions!).map((name) => [name, () => void trail.push(`does ${name}`)])),
    delays: Object.fromEntries(names(delays!).map((name) => [name, () => delayOf(name)])),
  } as never);
}

function pathOfTable(machine: AnyStateMachine, beats: readonly Beat[]): Trail {
  const trail: Trail = [];
  let seed = 1;
  const chart = scripted(machine, trail, () => seed);
  let send = (_event: string): void => undefined;
  let leaf = (): string => '';
  const kind: PartKind = {
    kind: 'probe',
    means: 'a chart alone',
    at: 'probe',
    parameters: z.any(),
    ports: { in: {}, out: {} },
    chart,
    faults: {},
    make: (host) => {
      const run = runChart(host, chart, {});
      send = (event) => void run.send(run.event(event));
      leaf = () => run.table.leaves[run.state.mode]!;
      return { state: {}, start: () => run.start(), input: () => undefined, fault: () => undefined };
    },
  };
  const { kernel } = assemble([{ name: 'probe', kind, parameters: {} }], 1, []);
  trail.push(`at ${leaf()}`);
  for (const beat of beats) {
    const until = kernel.now[0]! + beat.waitSeconds;
    while (kernel.step(until)) trail.push(`at ${leaf()}`);
    kernel.run(until);
    seed = beat.seed;
    send(beat.event);
    trail.push(`at ${leaf()}`);
  }
  return trail;
}

/** A clock for XState that is stepped to each due time; one unit of XState's time is one simulated second. */
function steppedClock() {
  const timers = new Map<number, { due: number; act: () => void }>();
  let now = 0;
  let count = 0;
  return {
    setTimeout: (act: () => void, delay: number) => {
      timers.set(++count, { due: now + delay, act });
      return count;
    },
    clearTimeout: (id: number) => void timers.delete(id),
    run: (until: number, seen: () => void) => {
      for (;;) {
        const next = [...timers].sort(([a, x], [b, y]) => x.due - y.due || a - b)[0];
        if (next === undefined || next[1].due > until) break;
        timers.delete(next[0]);
        now = next[1].due;
        next[1].act();
        seen();
      }
      now = until;
    },
    now: () => now,
  };
}

function pathOfActor(machine: AnyStateMachine, beats: readonly Beat[]): Trail {
  const trail: Trail = [];
  let seed = 1;
  const clock = steppedClock();
  const actor = createActor(
    scripted(machine, trail, () => seed),
    { clock: clock as never, input: {} },
  );
  actor.start();
  const leaf = (): string => {
    const snapshot = actor.getSnapshot() as { status: string; _nodes: Parameters<typeof dotted>[0][] };
    expect(snapshot.status).toBe('active');
    return dotted([...snapshot._nodes].sort((a, b) => b.path.length - a.path.length)[0]!);
  };
  const seen = (): void => void trail.push(`at ${leaf()}`);
  seen();
  for (const beat of beats) {
    clock.run(clock.now() + beat.waitSeconds, seen);
    seed = beat.seed;
    actor.send({ type: beat.event });
    seen();
  }
  return trail;
}

function beatsFor(machine: AnyStateMachine): fc.Arbitrary<Beat[]> {
  const events = tableOf(machine).events.filter((event) => !event.startsWith('xstate.after'));
  return fc.array(
    fc.record({
      event: fc.constantFrom(...(events.length > 0 ? events : ['nothing'])),
      waitSeconds: fc.integer({ min: 0, max: 4000 }).map((thousandths) => thousandths / 1000),
      seed: fc.integer({ min: 0, max: 2 ** 31 }),
    }),
    { maxLength: 60 },
  );
}

/** Constructs of the subset that no part may need today, so that the law is not only as wide as the parts. */
const odd = setup({
  types: { events: {} as { type: string } },
  guards: { maybe: () => true, perhaps: () => true },
  actions: { a: () => undefined, b: () => undefined, c: () => undefined, d: () => undefined },
  delays: { soon: () => 1, late: () => 2 },
}).createMachine({
  id: 'odd',
  initial: 'outer',
  entry: 'a',
  on: { jump: '.outer.inner.deep', home: { target: '.outer', reenter: true } },
  states: {
    outer: {
      initial: 'inner',
      entry: 'b',
      exit: 'c',
      on: { self: { target: 'outer', reenter: true }, inside: '.side', stay: { actions: 'd' }, again: 'outer' },
      after: {
        late: [
          { guard: 'maybe', target: 'other' },
          { target: '.side', actions: 'd' },
        ],
      },
      states: {
        inner: {
          initial: 'deep',
          exit: 'd',
          on: { up: '#odd.outer', stay: [{ guard: 'perhaps', target: 'side' }] },
          states: {
            deep: { on: { self: { target: 'deep', reenter: true } }, after: { soon: 'deeper' } },
            deeper: { always: { guard: 'maybe', target: '#odd.other', actions: 'a' } },
          },
        },
        side: { entry: ['a', 'b'], after: { soon: { target: 'side', reenter: true } } },
      },
    },
    other: {
      always: [{ guard: 'perhaps', target: 'outer' }],
      on: { jump: { guard: 'maybe', target: 'outer.side', actions: ['c', 'd'] }, self: 'other' },
      entry: 'c',
      exit: 'a',
    },
  },
});

const machines: [string, AnyStateMachine][] = [
  ...partKinds.map((kind): [string, AnyStateMachine] => [kind.kind, kind.chart]),
  ['odd', odd as never],
];

describe('chart: the table takes the path that XState takes', () => {
  test.each(machines)('law: %s, over random events, waits and guard answers', (_name, machine) => {
    fc.assert(
      fc.property(beatsFor(machine), (beats) => {
        expect(pathOfTable(machine, beats)).toEqual(pathOfActor(machine, beats));
      }),
      { seed: 20261125, numRuns: 300 },
    );
  });
});
