/** Spread: a failure rate with a closed form, the same bytes whoever makes the draws, and draws that `run` shows again. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { describe, expect, test } from 'vitest';
import { mergeParts, type Part, partText, readPart } from '../../sim/campaign/many/part-file.ts';
import { openSpread, rowsOf, type SpreadRow } from '../../sim/campaign/spread/craft.ts';
import { DrawTable } from '../../sim/campaign/spread/draw-table.ts';
import {
  drawAsOverrides,
  drawTable,
  makeDraws,
  planSpread,
  type SpreadChoices,
  type SpreadReport,
  spread,
  spreadReport,
} from '../../sim/campaign/spread.ts';
import { variantText } from '../../sim/campaign/variant.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario, type Scenario } from '../../sim/verdict/run-scenario.ts';

const folder = mkdtempSync(join(tmpdir(), 'jackstand-spread-'));
const written = (name: string, text: string): string => {
  writeFileSync(join(folder, name), text);
  return join(folder, name);
};
const scenarioOf = (file: string): Scenario => loadScenario(file).value!;
const text = (report: SpreadReport): string => JSON.stringify(report);

// Only the clock has a tolerance: compare 46 gives 47 ticks of 256 clocks, 1504 us at 8 MHz.
written(
  'clock.yaml',
  `bench: clock
board:
  clock: 8 MHz ± 2 %
  pwm: { bits: 8, mode: fast, prescaler: 256 }
  firmware: { kind: mapping, input: [186, 828], output: [46, 62] }
controllers: { left: { pulse: { neutral: 1500 us, full: 2000 us }, arming: { window: ± 20 us, hold: 100 ms }, boot: 0.1 s } }
`,
);
const clock = scenarioOf(
  written(
    'arms.yaml',
    `scenario: arms
bench: clock.yaml
seed: 11
duration: 0.6 s
steps: [{ at: 0 s, battery: connect }]
expect: [{ that: left.mode is armed, within: 0.6 s }]
spread: { draws: 400, law: uniform }
`,
  ),
);
// 1504 us / (1 + e) lies in 1480 to 1520 us for e from 1504/1520 - 1 = -1.0526 % to 1504/1480 - 1 = 1.6216 %: the share of
// +-2 % outside of that.
const CLOSED_FORM = 1 - (1504 / 1480 - 1504 / 1520) / 0.04;

describe('spread: rate', () => {
  test('a failure rate with a closed form (33.1 %) lies within both intervals', async () => {
    const { rate } = await spread(clock, { sampling: 'random' }, { workers: 1 });
    expect(rate.of).toBe(400);
    for (const [low, high] of [rate.wilson, rate.exact]) {
      expect(low).toBeLessThan(1 - CLOSED_FORM);
      expect(high).toBeGreaterThan(1 - CLOSED_FORM);
    }
  });

  test('a Latin hypercube of one value misses it by no more than a stratum at each edge', async () => {
    const { rate } = await spread(clock, {}, { workers: 1 });
    expect(Math.abs(rate.passed / 400 - (1 - CLOSED_FORM))).toBeLessThanOrEqual(2 / 400);
  });

  test('at the corners, 2 % off either way, it never arms', async () => {
    const { rate } = await spread(clock, { law: 'corners', draws: 2 }, { workers: 1 });
    expect(rate.passed).toBe(0);
  });

  test('the clock decides, and the margin is what the pulse leaves of the window', async () => {
    const [expectation] = (await spread(clock, {}, { workers: 1 })).expectations;
    // At best the pulse is the 1500 us in the middle: 20 us; at worst 1504 / 0.98 = 1534.7 us, 14.7 us over.
    expect(expectation!.margin!.most).toBeCloseTo(20e-6, 6);
    expect(expectation!.margin!.least).toBeCloseTo(1520e-6 - 1504e-6 / 0.98, 6);
    expect(expectation!.nominal).toBeCloseTo(16e-6, 9);
    expect(expectation!.deciders.map(({ path }) => path)).toEqual(['board.clock']);
  });

  test('stops once the interval is tight enough, after a whole batch', async () => {
    const { made, rate } = await spread(clock, { draws: 5000, enough: 0.05 }, { workers: 1 });
    expect((rate.wilson[1] - rate.wilson[0]) / 2).toBeLessThanOrEqual(0.05);
    expect(made % 100).toBe(0);
    expect(made).toBeLessThan(500);
  });
});

describe('spread: a row', () => {
  test.each([
    ['cold-start', 1],
    // Expected to fail, and fails.
    ['idle-one-too-high', 1],
    ['pedal-wire-breaks', 1.05],
  ])('of %s tells what a whole run with the same values judges', (name, factor) => {
    const scenario = scenarioOf(`scenarios/orchard-cart/${name}.yaml`);
    const row = rowsOf(scenario, ['board.clock'])(() => 8e6 * factor);
    const { expectations } = runScenario(scenario, {
      pick: (path, { value }) => (path === 'board.clock' ? 8e6 * factor : value),
      causes: false,
    });
    expect([...row.holds].map((one) => one === '1')).toEqual(expectations.map(({ holds }) => holds));
    // The margin of what is expected to fail is told as seen from the outcome: above 0 where it fails.
    expect(row.margins).toEqual(
      expectations.map(({ margin, formula }) =>
        Number.isFinite(margin) ? (formula.isExpectedToFail ? -margin : margin) : null,
      ),
    );
  });
});

const cart = scenarioOf('scenarios/orchard-cart/cold-start.yaml');
const few: SpreadChoices = { draws: 30 };

describe('spread: what is kept of a draw', () => {
  test('comes back from the table as it was put in', () => {
    const rows: [number, SpreadRow][] = [
      [4, { holds: '10', margins: [1.5e-6, -2] }],
      [1, { holds: '11', margins: [null, 0] }],
      [2, { holds: '00', margins: [null, null], broke: true }],
    ];
    const table = new DrawTable(5, 2, rows);
    expect([...table]).toEqual([rows[1], rows[2], rows[0]]);
    expect([table.size, table.has(0), table.get(3), table.has(4)]).toEqual([3, false, undefined, true]);
    table.set(4, { holds: '01', margins: [-1, 2] });
    table.set(5, { holds: '11', margins: [1, 1] });
    expect([table.size, table.get(4), table.has(5)]).toEqual([3, { holds: '01', margins: [-1, 2] }, false]);
  });

  test('is its margins and what is drawn, 8 bytes each: 60,000 draws more take less than 100 bytes each', () => {
    setFlagsFromString('--expose-gc');
    const collect = runInNewContext('gc') as () => void;
    const row = openSpread(planSpread(clock)).row(0, { done: async () => false });
    let held: unknown;
    const bytesWith = (draws: number): number => {
      held = undefined;
      const request = planSpread(clock, { draws });
      const table = drawTable(clock, request);
      // Each a row of its own, as threads hand them over.
      for (let draw = 0; draw < draws; draw += 1) table.set(draw, structuredClone(row));
      held = [openSpread(request), table, spreadReport(clock, request, table)];
      collect();
      collect();
      const { heapUsed, arrayBuffers } = process.memoryUsage();
      return heapUsed + arrayBuffers;
    };
    // Code that is built meanwhile takes room of its own, and is there afterwards.
    bytesWith(10_000);
    const [few, many] = [bytesWith(10_000), bytesWith(70_000)];
    expect(held).toHaveLength(3);
    expect((many - few) / 60_000).toBeLessThan(100);
  });
});

describe('spread: the same bytes', () => {
  test('over worker threads as without', async () => {
    const alone = await spread(cart, few, { workers: 1 });
    expect(text(await spread(cart, few, { workers: 2 }))).toBe(text(alone));
  });

  test('in three shares put together by way of their files, in any order', async () => {
    const request = planSpread(cart, few);
    const parts: Part[] = [];
    for (const index of [3, 1, 2]) {
      const rows = new Map<number, unknown>();
      expect(await makeDraws(request, rows, { workers: 1, shard: { index, count: 3 } })).toBe(true);
      expect(rows.size).toBe(10);
      const read = readPart(partText({ version: '0', fingerprint: 'f', count: 30, request, rows }));
      parts.push((read as { part: Part }).part);
    }
    const merged = mergeParts(parts);
    const whole = await spread(cart, few, { workers: 1 });
    expect(text(spreadReport(cart, request, (merged as { part: Part }).part.rows))).toBe(text(whole));
  });

  test('broken off and taken up again', async () => {
    const request = planSpread(cart, { draws: 60 });
    const rows = new Map<number, unknown>();
    const controller = new AbortController();
    const progress = (done: number): void => {
      if (done >= 20) controller.abort();
    };
    expect(await makeDraws(request, rows, { workers: 1, signal: controller.signal, progress })).toBe(false);
    expect(rows.size).toBeGreaterThanOrEqual(20);
    expect(rows.size).toBeLessThan(60);
    expect(await makeDraws(request, rows, { workers: 1 })).toBe(true);
    expect(text(spreadReport(cart, request, rows))).toBe(text(await spread(cart, { draws: 60 }, { workers: 1 })));
  });
});

describe('spread: shares that do not belong together', () => {
  const request = planSpread(cart, few);
  const part = (changes: Partial<Part>): Part => ({
    version: '0',
    fingerprint: 'f',
    count: 30,
    request,
    rows: new Map(),
    ...changes,
  });
  test.each([
    ['other files', { fingerprint: 'g' }, 'it was made from other files, or by another version'],
    ['another campaign', { request: planSpread(cart, { draws: 31 }) }, 'it belongs to another campaign'],
  ])('%s', (_, changes, mistake) => {
    expect(mergeParts([part({}), part(changes)])).toEqual({ mistake, index: 1 });
  });
  test.each(['', '{}', '[1]', '{"campaign":"spread","format":2}'])('no part: %s', (contents) => {
    expect(readPart(contents)).toHaveProperty('mistake');
  });
});

describe('spread: draws as scenarios', () => {
  test('the draw that fails by most, written as a file, fails by as much when run', async () => {
    const request = planSpread(cart, { draws: 60 });
    const rows = new Map<number, unknown>();
    await makeDraws(request, rows, { workers: 1 });
    const { tightest, expectations, failing } = spreadReport(cart, request, rows);
    expect(failing).toContain(tightest);
    const target = join(folder, 'worst.yaml');
    writeFileSync(
      target,
      variantText('scenarios/orchard-cart/cold-start.yaml', target, {
        comment: 'two\nlines',
        title: 'worst',
        overrides: drawAsOverrides(cart, request, tightest!),
      }),
    );
    const loaded = loadScenario(target);
    expect(loaded.problems.filter(({ severity }) => severity === 'error')).toEqual([]);
    const run = runScenario(loaded.value!, { causes: false });
    expect(run.holds).toBe(false);
    const index = expectations.findIndex(({ worst }) => worst?.draw === tightest);
    expect(run.expectations[index]!.margin).toBe(expectations[index]!.worst!.margin);
  });
});
