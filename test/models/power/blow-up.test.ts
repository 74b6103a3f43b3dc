/**
 * Parts that no file check refuses and no model can follow: the run says which number ran away and when, holds nothing, and
 * no verdict in any form holds a number that is none.
 */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { loadScenario } from '../../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../../sim/verdict/run-scenario.ts';
import { call, folderWith } from '../../cli/capture.ts';

/** Both are accepted, being above 0, and both make a slope overflow a double (1.8e308) within a few steps. */
const benches = [
  {
    what: 'a battery without capacity',
    find: 'capacity: 18 Ah',
    put: 'capacity: 1e-307 Ah',
    part: 'battery',
    state: 'charge',
  },
  {
    what: 'a rotor without inertia',
    find: 'gear: 28',
    put: 'gear: 28, inertia: 1e-300 kg.m2',
    part: undefined,
    state: undefined,
  },
] as const;

const SCENARIO = 'full-sweep.yaml';

function blowingUp({ find, put }: (typeof benches)[number]): string {
  const folder = folderWith({
    'bench.yaml': (text) => {
      expect(text).toContain(find);
      return text.replace(find, put);
    },
  });
  return join(folder, SCENARIO);
}

describe.each(benches)('blow-up: $what', (bench) => {
  test('text: status 1, the instant and what ran away', async () => {
    const { status, out } = await call(['run', blowingUp(bench)]);
    expect(status).toBe(1);
    expect(out).toMatch(/^FAILS {2}full sweep of the pedal/);
    expect(out).toMatch(
      new RegExp(
        `[\\d.]+ m?s {2}${bench.part ?? '[a-z.]+'}: its ${bench.state ?? '[a-z ]+'} ran away beyond all numbers at [\\d.]+ .?s: the run ends there and holds nothing`,
      ),
    );
    expect(out).toContain('1 scenario: 0 hold, 1 fail\n');
    expect(out).not.toMatch(/NaN|undefined|\binfinite\b/);
  });

  test('json: the run does not hold, one finding with part and instant, nothing judged later', async () => {
    const { status, out } = await call(['run', blowingUp(bench), '-f', 'json']);
    expect(status).toBe(1);
    expect(out).not.toContain('NaN');
    const { runs, holds } = JSON.parse(out);
    expect({ holds, run: runs[0].holds }).toEqual({ holds: false, run: false });
    const found = runs[0].findings.filter(({ code }: { code: string }) => code === 'numerical-blow-up');
    expect(found).toHaveLength(1);
    if (bench.part !== undefined) expect(found[0].part).toBe(bench.part);
    expect(found[0].at).toBeGreaterThanOrEqual(0);
    expect(found[0].at).toBeLessThan(25);
    for (const { at } of runs[0].expectations) {
      // Nothing is judged later than the run went.
      if (at !== null) expect(at).toBeLessThanOrEqual(found[0].at + 1e-3);
    }
  });

  test('as a library call: no margin is NaN, which JSON would have written as null', () => {
    const { value: scenario } = loadScenario(blowingUp(bench));
    const run = runScenario(scenario!);
    expect(run.holds).toBe(false);
    expect(run.expectations.filter(({ margin }) => Number.isNaN(margin))).toEqual([]);
    expect(run.expectations.filter(({ atSeconds }) => Number.isNaN(atSeconds))).toEqual([]);
  });

  test('junit: what could not be judged fails, and the cause stands with it', async () => {
    const { status, out } = await call(['run', blowingUp(bench), '-f', 'junit']);
    expect(status).toBe(1);
    expect(out).not.toMatch(/NaN|undefined/);
    expect(Number(/failures="(\d+)"/.exec(out)![1])).toBeGreaterThan(0);
    expect(out).toContain('ran away beyond all numbers');
  });
});
