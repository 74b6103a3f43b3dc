/** Thinned recording: what is left out lies on the lines between what was kept, and nothing else of a run changes. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { assemble } from '../../sim/bench/assemble.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { GRID_PER_SECOND, record } from '../../sim/trace/record.ts';
import { THIN_SHARE, Thinner } from '../../sim/trace/thin.ts';
import { Trace } from '../../sim/trace/trace.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';

const coldStart = loadScenario('scenarios/orchard-cart/coast-and-stop.yaml').value!;

/** Thins samples a millisecond apart; NaN stands for an instant at which nobody looked. */
function thinned(samples: readonly number[]): Trace {
  const trace = new Trace([{ name: 'it', means: 'a line', dimension: 'ratio', shape: 'linear', isFlowing: true }]);
  const thinner = new Thinner(1, () => trace.append(0, thinner.instants[0]!, thinner.values[0]!));
  samples.forEach((value, index) => {
    thinner.look(0, Float64Array.of(index / 1000), Float64Array.of(value));
  });
  thinner.flush(0);
  return trace;
}

describe('thinning: the rule', () => {
  test('law: no sample lies further from the kept line than the share of the greatest so far', () => {
    const samples = fc.array(fc.double({ min: -1e3, max: 1e3, noNaN: true }), { minLength: 1, maxLength: 200 });
    const walks = fc
      .array(fc.double({ min: -1e-2, max: 1e-2, noNaN: true }), { minLength: 1, maxLength: 300 })
      .map((steps) => {
        let at = 50;
        return steps.map((step) => {
          at += step;
          return at;
        });
      });
    fc.assert(
      fc.property(fc.oneof(samples, walks), (values) => {
        const column = thinned(values).columns[0]!;
        let greatest = 0;
        for (const [index, value] of values.entries()) {
          greatest = Math.max(greatest, Math.abs(value));
          // The rounding of a line through values of this size is far below the share.
          const off = Math.abs(column.at(index / 1000) - value);
          expect(off).toBeLessThanOrEqual(THIN_SHARE * greatest * (1 + 1e-6) + 1e-12);
        }
        expect(column.secondsAt(0)).toBe(0);
        expect(column.secondsAt(column.length - 1)).toBe((values.length - 1) / 1000);
      }),
      { seed: 20261125, numRuns: 300 },
    );
  });

  test('a straight line is its two ends, and a corner is kept', () => {
    const kept = (values: readonly number[]): number[] => [...thinned(values).columns[0]!].map(({ value }) => value);
    expect(kept(Array.from({ length: 1000 }, (_, index) => 3 + index))).toEqual([3, 1002]);
    expect(kept([0, 1, 2, 3, 2, 1, 0])).toEqual([0, 3, 0]);
    expect(kept([5, 5, 5, 5])).toEqual([5, 5]);
  });

  test('a value that is no number stands for itself', () => {
    const values = [...thinned([1, 1, Number.POSITIVE_INFINITY, 1, 1]).columns[0]!].map(({ value }) => value);
    expect(values).toContain(Number.POSITIVE_INFINITY);
  });
});

describe('thinning: a run', () => {
  const whole = runScenario(coldStart, { record: 'all' });
  const thin = runScenario(coldStart, { record: 'all', isThinned: true });

  test('has the same digest, verdicts and margins', () => {
    expect(thin.digest).toBe(whole.digest);
    const told = (run: typeof whole) =>
      run.expectations.map(({ holds, margin, atSeconds }) => [holds, margin, atSeconds]);
    expect(told(thin)).toEqual(told(whole));
  });

  test('keeps what is no flowing signal, and what an expectation reads, sample by sample', () => {
    const exact = new Set(['vehicle.speed', 'left.drive']);
    const recorded = (but?: ReadonlySet<string>) => {
      const assembly = assemble(settleParts(coldStart.parts), coldStart.seed, coldStart.acts);
      const recorder = record(assembly, 'all', GRID_PER_SECOND, undefined, but);
      recorder.runTo(5);
      return recorder.trace;
    };
    const all = recorded();
    const some = recorded(exact);
    for (const column of all.columns) {
      if (column.signal.isFlowing === true && !exact.has(column.signal.name)) continue;
      const other = some.column(column.signal.name)!;
      expect([...other], column.signal.name).toEqual([...column]);
    }
  });

  test('tells every flowing signal within the share, in a tenth of the samples that a look each millisecond takes', () => {
    let looks = 0;
    let after = 0;
    for (const column of whole.trace.columns) {
      if (column.signal.isFlowing !== true) continue;
      const other = thin.trace.column(column.signal.name)!;
      looks += 1000 * coldStart.durationSeconds;
      after += other.length;
      let greatest = 0;
      let worst = 0;
      for (let index = 0; index < column.length; index += 1) {
        const seconds = column.secondsAt(index);
        greatest = Math.max(greatest, Math.abs(column.valueAt(index)));
        // At a step both sides are kept, and `at` tells the later one.
        if (column.secondsAt(index + 1) === seconds) continue;
        const allowed = THIN_SHARE * greatest * 1.000001 + 1e-12;
        worst = Math.max(worst, Math.abs(other.at(seconds) - column.valueAt(index)) / allowed);
      }
      expect(worst, column.signal.name).toBeLessThanOrEqual(1);
    }
    expect(after).toBeLessThan(looks / 10);
  });
});
