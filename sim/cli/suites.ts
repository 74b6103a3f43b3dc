/** The suites that a command names: shipped ones by their name, others by their file. */
import { existsSync, readdirSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Loaded } from '../bench/load-bench.ts';
import { printable } from '../bench/print.ts';
import { problemAt } from '../bench/problem.ts';
import { suggest } from '../bench/suggest.ts';
import { loadSuite } from '../campaign/suite.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import type { Streams } from './streams.ts';
import { wrapped } from './wrap.ts';

/** Where the shipped suites lie: beside the sources, or beside the bundle. */
export function suitesFolder(): string {
  let folder = dirname(fileURLToPath(import.meta.url));
  while (!existsSync(join(folder, 'scenarios', 'suites')) && dirname(folder) !== folder) folder = dirname(folder);
  return join(folder, 'scenarios', 'suites');
}

/** The scenarios of a suite on each of these benches; what a bench has no use for is told, since it is not tested. */
export async function loadSuiteOn(
  name: string,
  benchFiles: readonly string[],
  streams: Streams,
): Promise<Loaded<Scenario>[]> {
  const file = suiteFile(name);
  if (file === undefined) {
    const names = shippedSuites();
    const nearest = suggest(name, names);
    const says = `there is no suite ${name}`;
    const facts = { path: '', says, allowed: `${names.join(', ')}, or a suite file` };
    return [{ problems: [problemAt('--suite', 'refused', nearest === undefined ? facts : { ...facts, nearest })] }];
  }
  const loaded: Loaded<Scenario>[] = [];
  for (const [index, benchFile] of benchFiles.entries()) {
    const suite = loadSuite(file, benchFile);
    const { about, leftOut, scenarios } = suite.value ?? { about: '', leftOut: [], scenarios: [] };
    if (index === 0 && about !== '') streams.err(`${wrapped(printable(about), '', streams.errColumns).join('\n')}\n`);
    for (const { scenario, lacks } of leftOut) {
      streams.err(`left out: ${printable(scenario)} (${benchFile} has no ${printable(lacks)})\n`);
    }
    loaded.push({ problems: suite.problems }, ...scenarios.map((value) => ({ value, problems: [] })));
  }
  return loaded;
}

function suiteFile(name: string): string | undefined {
  if (/\.ya?ml$/.test(name)) return name;
  return shippedSuites().includes(name) ? relative('.', join(suitesFolder(), `${name}.yaml`)) : undefined;
}

function shippedSuites(): string[] {
  const folder = suitesFolder();
  return existsSync(folder)
    ? readdirSync(folder).flatMap((file) => (file.endsWith('.yaml') ? [file.slice(0, -'.yaml'.length)] : []))
    : [];
}
