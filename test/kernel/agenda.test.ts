import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { Agenda } from '../../sim/kernel/agenda.ts';

/** The order of the design, spelled out: (time, rank, insertion number). */
function firstByDefinition(due: readonly number[], rankOf: readonly number[], insertion: readonly number[]): number {
  return due
    .map((_, timer) => timer)
    .sort((a, b) => due[a]! - due[b]! || rankOf[a]! - rankOf[b]! || insertion[a]! - insertion[b]! || a - b)[0]!;
}

const set = fc.record({
  timer: fc.nat(20),
  seconds: fc.oneof(fc.integer({ min: 0, max: 5 }), fc.constant(Number.POSITIVE_INFINITY)),
});

describe('agenda: order of events', () => {
  test('law: the first timer is the least by time, then rank, then order of setting', () => {
    fc.assert(
      fc.property(
        fc.array(fc.nat(4), { minLength: 1, maxLength: 21 }),
        fc.array(set, { maxLength: 80 }),
        (steps, sets) => {
          let rank = 0;
          const rankOf = steps.map((step) => (rank += step > 2 ? 1 : 0));
          const agenda = new Agenda(rankOf);
          const due = rankOf.map(() => Number.POSITIVE_INFINITY);
          const insertion = rankOf.map(() => 0);
          sets.forEach(({ timer: any, seconds }, count) => {
            const timer = any % rankOf.length;
            due[timer] = seconds;
            insertion[timer] = count + 1;
            agenda.dueSeconds[timer] = seconds;
            agenda.changed(timer);
            if (Math.min(...due) < Number.POSITIVE_INFINITY)
              expect(agenda.first).toBe(firstByDefinition(due, rankOf, insertion));
          });
          // A restored agenda goes on as the saved one would.
          const copy = new Agenda(rankOf);
          copy.restore(agenda.save());
          if (Math.min(...due) < Number.POSITIVE_INFINITY) expect(copy.first).toBe(agenda.first);
        },
      ),
      { seed: 20261125, numRuns: 2000 },
    );
  });
});
