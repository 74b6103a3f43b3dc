/** Imports point one way, so that the machinery can be read without the parts, and the parts without the tools on top. */
import { describe, expect, test } from 'vitest';
import { filesBelow, importsOf, parse } from './sources.ts';

/** From the ground up: a file imports from its own layer or from those below. */
const layers: readonly (readonly string[])[] = [
  ['sim/units'],
  ['sim/capture'],
  ['sim/kernel'],
  ['sim/chart'],
  ['models'],
  ['sim/bench'],
  ['sim/trace'],
  ['sim/verdict'],
  ['sim/campaign'],
  ['sim/report'],
  ['sim/dashboard'],
  ['sim/cli'],
  ['sim/index.ts', 'sim/vitest.ts'],
];

function layerOf(file: string): number {
  return layers.findIndex((folders) => folders.some((folder) => file === folder || file.startsWith(`${folder}/`)));
}

/** What is wrong with the imports of one file. */
function wrongImports(file: string, text?: string): string[] {
  const own = layerOf(file);
  return importsOf(parse(file, text)).flatMap(({ specifier, target, line }) => {
    if (target === undefined) return [];
    const place = `${file}:${line}: imports ${specifier}`;
    if (!/\.tsx?$/.test(specifier)) return [`${place} without its ending`];
    const other = layerOf(target);
    if (other === -1) return [`${place}, which is in no layer`];
    return other > own ? [`${place}, from a layer above its own`] : [];
  });
}

describe('project: layers', () => {
  const files = [...filesBelow('sim'), ...filesBelow('models')];

  test('every file of sim and models is in a layer', () => {
    expect(files.length).toBeGreaterThan(60);
    expect(files.filter((file) => layerOf(file) === -1)).toEqual([]);
  });

  test('no file imports from a layer above its own, also not later or only types', () => {
    expect(files.flatMap((file) => wrongImports(file))).toEqual([]);
  });

  test.each([
    ["import { partKinds } from '../../models/index.ts';", 'sim/kernel/kernel.ts'],
    ["import type { Bench } from '../sim/bench/load-bench.ts';", 'models/adc.ts'],
    ["export { run } from '../cli/run.ts';", 'sim/verdict/judge.ts'],
    ["const { judge } = await import('../verdict/judge.ts');", 'sim/bench/script.ts'],
    ["import { x } from './other';", 'sim/units/parse.ts'],
    ["import { x } from '../../test/arbitrary.ts';", 'sim/units/parse.ts'],
  ])('the rule sees %s in %s', (text, file) => {
    expect(wrongImports(file, text)).toHaveLength(1);
  });

  test('tests may import anything of the project, and nothing of the project imports a test', () => {
    expect(wrongImports('sim/cli/run.ts', "import { causeOf } from '../verdict/cause.ts';")).toEqual([]);
    expect(wrongImports('sim/cli/run.ts', "import { root } from '../../test/project/sources.ts';")).toHaveLength(1);
  });
});
