/** Hunts: a planted hazard is found and shrunk, steps in a file are the steps that were run, one seed gives one result. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { type Gene, randomGene, stepOf, vocabularyOf } from '../../sim/campaign/hunt/gene.ts';
import { openGround } from '../../sim/campaign/hunt/ground.ts';
import { shrink } from '../../sim/campaign/hunt/shrink.ts';
import { hunt, huntReport, planHunt, searchIslands } from '../../sim/campaign/hunt.ts';
import { variantText } from '../../sim/campaign/variant.ts';
import { Streams } from '../../sim/kernel/random.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';

const hazard = (name: string): string => `scenarios/orchard-cart/hazard/${name}.yaml`;
const scenarioOf = (name: string) => loadScenario(hazard(name)).value!;
const folder = mkdtempSync(join(tmpdir(), 'jackstand-hunt-'));

describe('hunt: planted hazards', () => {
  test.each(['pulled-up', 'learned-half-way'])('%s holds while nobody does anything', (name) => {
    expect(runScenario(scenarioOf(name)).holds).toBe(true);
  });

  test('a pull-up and a law that believes everything: found, shrunk, and shown again by its file', async () => {
    const scenario = scenarioOf('pulled-up');
    const { found } = await hunt(scenario, { runs: 500 }, { workers: 1 });
    expect(found).not.toBeNull();
    const target = join(folder, 'found.yaml');
    const text = variantText(scenario.file, target, {
      comment: 'found',
      title: 'found',
      moreSteps: found!.steps,
      duration: found!.duration,
    });
    writeFileSync(target, text);
    const again = loadScenario(target);
    expect(again.problems.filter(({ severity }) => severity === 'error')).toEqual([]);
    const run = runScenario(again.value!);
    expect(run.expectations.find(({ text: said }) => said === found!.text)!.holds).toBe(false);
  });

  test('end points learned half way, by hands alone: what only pads it is taken away, and numbers get round', () => {
    const ground = openGround(planHunt(scenarioOf('learned-half-way'), { faults: false }));
    // Down before the power comes, let up half way, then off; the rest does nothing.
    const padded: Gene[] = [
      { at: 137, part: 'pedal', lever: 97 },
      { at: 900, part: 'pedal', lever: 100 },
      { at: 3333, part: 'pedal', lever: 47 },
      { at: 3777, part: 'battery', isOn: true },
      { at: 6123, part: 'pedal', lever: 0 },
    ];
    expect(ground.try(padded).broken).toBe(0);
    const { genes, durationMilliseconds } = shrink(ground, padded, 0);
    expect(genes.map((gene) => ('lever' in gene ? gene.lever : gene))).toEqual([100, 50, 0]);
    for (const { at } of genes) expect(at % 1000).toBe(0);
    expect(durationMilliseconds).toBeLessThan(10_000);
    // None of the three can be spared.
    for (let place = 0; place < 3; place += 1)
      expect(ground.try(genes.toSpliced(place, 1), durationMilliseconds).broken).toBe(-1);
  });
});

describe('hunt: nothing found', () => {
  const quiet = {
    runs: 60,
    faults: false,
    durationSeconds: 3,
  };
  test('says what it covered, by name', async () => {
    const { found, runs, modes, transitions } = await hunt(
      loadBench('scenarios/orchard-cart/bench.yaml').value!,
      quiet,
      { workers: 1 },
    );
    expect(found).toBeNull();
    expect(runs).toBe(60);
    expect(modes.met + modes.missing.length).toBe(modes.of);
    // Without faults no mode of the pedal but `intact` can be met.
    expect(modes.missing).toContain('pedal: signal-open');
    expect(modes.missing).not.toContain('left: waiting-for-neutral.holding');
    expect(transitions.met).toBeGreaterThan(10);
    expect(transitions.met).toBeLessThan(transitions.of);
  });
});

describe('hunt: the same result', () => {
  test('over threads, and in shares', async () => {
    const request = planHunt(scenarioOf('pulled-up'), { runs: 1200, durationSeconds: 4 });
    // Five islands of 240; small ones, as only their sameness counts.
    const small = { ...request, islandRuns: 10 };
    const rowsOf = async (options: Parameters<typeof searchIslands>[2]): Promise<Map<number, unknown>> => {
      const rows = new Map<number, unknown>();
      await searchIslands(small, rows, options);
      return rows;
    };
    const alone = JSON.stringify(huntReport(small, await rowsOf({ workers: 1 })));
    expect(JSON.stringify(huntReport(small, await rowsOf({ workers: 2 })))).toBe(alone);
    const shares = await Promise.all([1, 2].map((index) => rowsOf({ workers: 1, shard: { index, count: 2 } })));
    const merged = new Map(shares.flatMap((rows) => [...rows]));
    expect(merged.size).toBe(5);
    expect(JSON.stringify(huntReport(small, merged))).toBe(alone);
  });
});

describe('hunt: vocabulary', () => {
  const { parts } = loadScenario('scenarios/orchard-cart/radio-override.yaml').value!;
  test('handles and faults of the parts, and nothing else', () => {
    const vocabulary = vocabularyOf(parts, true);
    expect(vocabulary.levers.map(({ part }) => part)).toEqual(['pedal', 'receiver']);
    expect(vocabulary.switches.map(({ part }) => part)).toEqual(['battery']);
    expect(vocabulary.faults).toContainEqual({ part: 'receiver', fault: 'lost' });
    expect(vocabularyOf(parts, false).faults).toEqual([]);
  });

  test('whatever is drawn can be written and read', () => {
    const vocabulary = vocabularyOf(parts, true);
    const ground = openGround(planHunt(loadScenario('scenarios/orchard-cart/radio-override.yaml').value!));
    const stream = new Streams(20261125).for('test', 'genes');
    const kinds = new Set<string>();
    for (let draw = 0; draw < 300; draw += 1) {
      const gene = randomGene(vocabulary, stream, 5000);
      kinds.add(Object.keys(gene)[2]!);
      expect(gene.at).toBeGreaterThanOrEqual(0);
      expect(gene.at).toBeLessThan(5000);
      expect(stepOf(gene, vocabulary).at).toMatch(/^\d+(\.\d{1,3})? s$/);
      // A step that the schema does not take is thrown out here.
      if (draw < 40) ground.try([gene], 10);
    }
    expect([...kinds].sort()).toEqual(['fault', 'isOn', 'lever']);
  });
});
