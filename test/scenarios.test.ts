/** Every scenario that is shipped is read without a mistake and does what it says. */
import { relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { findFiles } from '../sim/cli/find-files.ts';
import { loadScenario } from '../sim/verdict/load-scenario.ts';
import { runScenario } from '../sim/verdict/run-scenario.ts';

const folder = fileURLToPath(new URL('../scenarios', import.meta.url));
const { files } = await findFiles([folder], ['scenario']);
const shipped = files.map((file) => [relative(folder, file), file] as const);

test('scenarios: they are found', () => {
  expect(shipped.length).toBeGreaterThanOrEqual(13);
});

describe('scenarios: each holds', () => {
  test.each(shipped)('%s', (_name, file) => {
    const { value, problems } = loadScenario(file);
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([]);
    const run = runScenario(value!, { causes: false });
    const failed = run.expectations.filter(({ holds }) => !holds).map(({ line }) => `line ${line}`);
    expect(failed).toEqual([]);
    expect(run.expectations.length).toBeGreaterThan(0);
  });

  test.each(shipped)('%s: the same bytes again', (_name, file) => {
    const { value } = loadScenario(file);
    const digests = [1, 2].map(() => runScenario(value!, { causes: false }).digest);
    expect(digests[0]).toBe(digests[1]);
  });
});
