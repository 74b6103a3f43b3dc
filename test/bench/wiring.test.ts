import { readdirSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { assemble } from '../../sim/bench/assemble.ts';
import { planOf } from '../../sim/bench/plan.ts';
import { type Pick, settleParts } from '../../sim/bench/schema.ts';
import { linksOf, wiringsOf } from '../../sim/bench/wiring.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';

const folder = 'scenarios/orchard-cart';
const scenarios = readdirSync(folder)
  .filter((name) => name.endsWith('.yaml') && name !== 'bench.yaml')
  .map((name) => [name, loadScenario(`${folder}/${name}`).value!] as const);
const { parts } = loadScenario(`${folder}/cold-start.yaml`).value!;
/** Every quantity far from its middle, and each by another factor. */
const farOff: Pick = (path, { value }) => (value + 1) * (3 + path.length);

/** The tree, with nothing in it that could be written to. */
function frozen<T>(tree: T): T {
  if (typeof tree === 'object' && tree !== null && !ArrayBuffer.isView(tree)) {
    Object.freeze(tree);
    Object.values(tree).forEach(frozen);
  }
  return tree;
}

describe('wiring: of one bench file', () => {
  test.each(scenarios)('%s: no port hangs on a quantity', (_, scenario) => {
    const plan = planOf(scenario.parts);
    expect(wiringsOf(plan, settleParts(scenario.parts, farOff))).toEqual(wiringsOf(plan, settleParts(scenario.parts)));
  });

  test.each(scenarios)('%s: no part writes to its parameters, which runs may share', (_, scenario) => {
    const settled = settleParts(scenario.parts).map((part) => ({ ...part, parameters: frozen(part.parameters) }));
    const { kernel } = assemble(settled, scenario.seed, scenario.acts);
    kernel.run(Math.min(scenario.durationSeconds, 2));
    expect(kernel.eventCount).toBeGreaterThan(0);
  });

  test('two draws are wired once', () => {
    const plan = planOf(parts);
    expect(linksOf(plan, settleParts(parts, farOff))).toBe(linksOf(plan, settleParts(parts)));
  });

  test('a part of another tree is wired anew', () => {
    const settled = settleParts(parts);
    const plan = planOf(settled);
    const before = linksOf(plan, settled);
    const fed = parts.map((part) =>
      part.name === 'rail' ? { ...part, parameters: { ...(part.parameters as object), from: 'right' } } : part,
    );
    const rank = plan.rankOf.get('rail')!;
    expect(before.wirings[rank]!.supply).toBe('left.supply');
    expect(linksOf(plan, settleParts(fed)).wirings[rank]!.supply).toBe('right.supply');
  });

  test('parts that come from no tree are wired each time', () => {
    const bare = settleParts(parts).map(({ name, kind, parameters }) => ({ name, kind, parameters }));
    const plan = planOf(bare);
    expect(linksOf(plan, bare)).not.toBe(linksOf(plan, bare));
    expect(linksOf(plan, bare)).toEqual(linksOf(plan, settleParts(parts)));
  });
});

describe('settling: of one bench file', () => {
  test('a choice of numbers that takes every middle gives what a run without one has', () => {
    for (const [, scenario] of scenarios)
      expect(settleParts(scenario.parts, (_, { value }) => value)).toEqual(settleParts(scenario.parts));
  });

  test('paths are those of the file', () => {
    const paths: string[] = [];
    settleParts(parts, (path, { value }) => {
      paths.push(path);
      return value;
    });
    expect(paths).toContain('board.clock');
    expect(paths).toContain('controllers.left.pulse.neutral');
  });
});
