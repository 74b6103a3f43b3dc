import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { Kernel, type Placement } from '../../sim/kernel/kernel.ts';

/** Timers of each part. */
const PARTS = [2, 1, 3, 1] as const;
const OWNERS = PARTS.flatMap((count, part) => Array.from({ length: count }, () => part));
const UNTIL_SECONDS = 40;

interface Setting {
  /** Which timer is set, counted through all of the setting part. */
  readonly timer: number;
  readonly afterSeconds: number;
  /** Unset it instead. */
  readonly isUnset: boolean;
  /** The last setting of a wake goes straight on where that timer comes next. */
  readonly leaps: boolean;
}

/** What the wakes do, one after the other, whichever timer it is that wakes. */
type Script = readonly (readonly Setting[])[];

const setting = fc.record({
  timer: fc.nat(10),
  afterSeconds: fc.oneof(fc.integer({ min: 0, max: 4 }), fc.double({ min: 0.01, max: 3, noNaN: true })),
  isUnset: fc.boolean(),
  leaps: fc.boolean(),
});
const script = fc.array(fc.array(setting, { maxLength: 4 }), { minLength: 1, maxLength: 60 });

const ownTimer = (woken: number, { timer }: Setting): number => {
  const part = OWNERS[woken]!;
  return OWNERS.indexOf(part) + (timer % PARTS[part]!);
};

/** The order of the design, by looking at all timers each time: (time, rank, order of setting). */
function orderByDefinition(wakes: Script): string[] {
  const due = OWNERS.map((_, timer) => timer % 3);
  const set = OWNERS.map((_, timer) => timer);
  let count = OWNERS.length;
  const order: string[] = [];
  for (;;) {
    const next = OWNERS.map((_, timer) => timer)
      .filter((timer) => due[timer]! <= UNTIL_SECONDS)
      .sort((a, b) => due[a]! - due[b]! || OWNERS[a]! - OWNERS[b]! || set[a]! - set[b]!)[0];
    if (next === undefined) return order;
    const now = due[next]!;
    due[next] = Number.POSITIVE_INFINITY;
    order.push(`${next} at ${now}`);
    for (const one of wakes[order.length - 1] ?? []) {
      const timer = ownTimer(next, one);
      due[timer] = one.isUnset ? Number.POSITIVE_INFINITY : now + one.afterSeconds;
      set[timer] = count++;
    }
  }
}

function orderInKernel(wakes: Script, isStepped: boolean): string[] {
  const kernel = new Kernel(1, [], PARTS.length);
  const order: string[] = [];
  const woken = (timer: number): void => {
    const now = kernel.now[0]!;
    const settings = wakes[order.length] ?? [];
    order.push(`${timer} at ${now}`);
    settings.forEach((one, place) => {
      const other = ownTimer(timer, one);
      kernel.due[other] = one.isUnset ? Number.POSITIVE_INFINITY : now + one.afterSeconds;
      const isLast = place === settings.length - 1;
      if (!(isLast && one.leaps && !one.isUnset)) kernel.moved(other);
      else if (kernel.leapt(other)) woken(other);
    });
  };
  let timer = 0;
  const placements = PARTS.map((count, part): Placement => {
    const first = timer;
    timer += count;
    return {
      name: `part ${part}`,
      attachments: [],
      timers: Array.from({ length: count }, (_, own) => () => woken(first + own)),
      live: {
        state: {},
        start: () => {
          for (let own = first; own < first + count; own += 1) {
            kernel.due[own] = own % 3;
            kernel.moved(own);
          }
        },
        input: () => undefined,
        fault: () => undefined,
      },
    };
  });
  kernel.start(placements, []);
  if (isStepped) while (kernel.step(UNTIL_SECONDS)) expect(kernel.eventCount).toBe(order.length);
  else kernel.run(UNTIL_SECONDS);
  expect(kernel.eventCount).toBe(order.length);
  return order;
}

describe('kernel: order of wakes', () => {
  const law = (isStepped: boolean): void =>
    fc.assert(
      fc.property(script, (wakes) => {
        expect(orderInKernel(wakes, isStepped)).toEqual(orderByDefinition(wakes));
      }),
      { seed: 20261125, numRuns: 3000 },
    );
  test('law: parts that set, move and unset their timers are woken by time, then rank, then order of setting', () =>
    law(false));
  test('law: the same event by event, where no part goes straight on', () => law(true));
});
