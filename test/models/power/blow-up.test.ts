/**
 * Parts that no model can follow: the run says which number ran away and when, holds nothing, and no verdict in any form
 * holds a number that is none. Files with such values are refused, so they are put into a loaded scenario.
 */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { formatNamed } from '../../../sim/cli/run-formats.ts';
import type { Streams } from '../../../sim/cli/streams.ts';
import type { Quantity } from '../../../sim/units/index.ts';
import { loadScenario } from '../../../sim/verdict/load-scenario.ts';
import { runScenario, type Scenario, type ScenarioRun } from '../../../sim/verdict/run-scenario.ts';
import { call, folderWith, shipped } from '../../cli/capture.ts';

/** Both make a slope overflow a double (1.8e308) within a few steps. */
const benches = [
  { what: 'a battery without capacity', part: 'battery', key: 'capacity', value: 1e-307, state: 'charge' },
  { what: 'a rotor without inertia', part: 'motors.left', key: 'inertia', value: 1e-300, state: '[a-z ]+' },
] as const;

const SCENARIO = 'full-sweep.yaml';

function blowingUp({ part, key, value }: (typeof benches)[number]): ScenarioRun {
  const { value: scenario } = loadScenario(join(shipped, SCENARIO));
  const parts = scenario!.parts.map((one) => {
    if (one.name !== part) return one;
    const parameters = one.parameters as Readonly<Record<string, Quantity>>;
    return { ...one, parameters: { ...parameters, [key]: { ...parameters[key], value, tolerance: 0 } } };
  });
  return runScenario({ ...scenario!, parts } as Scenario);
}

/** What `run` would print of it. */
function printed(format: string, run: ScenarioRun): string {
  const silent: Streams = { out: () => undefined, err: () => undefined, isColoured: false, columns: undefined };
  const form = formatNamed(format, new Date(0), silent);
  const outcome = { run, wallSeconds: 0 };
  return form.each(outcome) + form.end([outcome]);
}

describe.each(benches)('blow-up: $what', (bench) => {
  const run = blowingUp(bench);

  test('text: the instant and what ran away', () => {
    const out = printed('text', run);
    expect(out).toMatch(/^FAILS {2}full sweep of the pedal/);
    const part = bench.part === 'battery' ? 'battery' : '[a-z.]+';
    expect(out).toMatch(
      new RegExp(
        `[\\d.]+ [mu]?s {2}${part}: its ${bench.state} ran away beyond all numbers at [\\d.]+ .?s: the run ends there and holds nothing`,
      ),
    );
    expect(out).toContain('1 scenario: 0 hold, 1 fail\n');
    expect(out).not.toMatch(/NaN|undefined|\binfinite\b/);
  });

  test('json: the run does not hold, one finding with part and instant, nothing judged later', () => {
    const out = printed('json', run);
    expect(out).not.toContain('NaN');
    const { runs, holds } = JSON.parse(out);
    expect({ holds, run: runs[0].holds }).toEqual({ holds: false, run: false });
    const found = runs[0].findings.filter(({ code }: { code: string }) => code === 'numerical-blow-up');
    expect(found).toHaveLength(1);
    if (bench.part === 'battery') expect(found[0].part).toBe(bench.part);
    expect(found[0].at).toBeGreaterThanOrEqual(0);
    expect(found[0].at).toBeLessThan(25);
    for (const { at } of runs[0].expectations) {
      // Nothing is judged later than the run went.
      if (at !== null) expect(at).toBeLessThanOrEqual(found[0].at + 1e-3);
    }
  });

  test('as a library call: no margin is NaN, which JSON would have written as null', () => {
    expect(run.holds).toBe(false);
    expect(run.expectations.filter(({ margin }) => Number.isNaN(margin))).toEqual([]);
    expect(run.expectations.filter(({ atSeconds }) => Number.isNaN(atSeconds))).toEqual([]);
  });

  test('junit: what could not be judged fails, and the cause stands with it', () => {
    const out = printed('junit', run);
    expect(out).not.toMatch(/NaN|undefined/);
    expect(Number(/failures="(\d+)"/.exec(out)![1])).toBeGreaterThan(0);
    expect(out).toContain('ran away beyond all numbers');
  });
});

describe('blow-up: refused when the file is read', () => {
  test.each([
    ['capacity: 18 Ah', 'capacity: 1e-307 Ah', 'battery.capacity: `1e-307 Ah` must be at least 0.1 Ah'],
    ['gear: 28', 'gear: 28, inertia: 1e-300 kg.m2', 'motors.left.inertia: `1e-300 kg.m2` must be at least 0.01 g.cm2'],
  ])('%s as %s', async (find, put, told) => {
    const folder = folderWith({ 'bench.yaml': (text) => text.replace(find, put) });
    const { status, err } = await call(['run', join(folder, SCENARIO)]);
    expect(status).toBe(2);
    expect(err).toContain(told);
  });
});
