/** The files that `run --trace` writes: which, and in which form. */
import { extname } from 'node:path';
import type { Problem } from '../bench/problem.ts';
import { csvOf } from '../trace/csv.ts';
import type { Trace } from '../trace/trace.ts';
import { vcdOf } from '../trace/vcd.ts';
import { TOOL_VERSION } from './version.ts';
import { writeWhole, writtenFileProblems } from './written-files.ts';

/** What is wrong with the name given to `--trace`, found before anything is run. */
export function traceFileProblems(wanted: string): Problem[] {
  return writtenFileProblems('--trace', wanted, ['.csv', '.vcd']);
}

/** One name a scenario: `out.vcd` alone, `out-cold-start.vcd` among several, with as much of the path as tells them apart. */
export function traceNames(wanted: string, scenarioFiles: readonly string[]): string[] {
  if (scenarioFiles.length === 1) return [wanted];
  const ending = extname(wanted);
  const stem = wanted.slice(0, wanted.length - ending.length);
  const paths = scenarioFiles.map((file) => file.replace(/\.[^./\\]*$/, '').split(/[/\\]/));
  const deepest = Math.max(...paths.map((path) => path.length));
  for (let depth = 1; ; depth += 1) {
    const names = paths.map((path) => `${stem}-${path.slice(-depth).join('-')}${ending}`);
    if (new Set(names).size === names.length || depth === deepest) return names;
  }
}

export function writeTrace(trace: Trace, file: string): Problem[] {
  const chunks =
    extname(file) === '.csv'
      ? csvOf(trace.columns)
      : vcdOf(trace.columns, { version: `jackstand ${TOOL_VERSION}`, endSeconds: trace.endSeconds });
  return writeWhole('--trace', file, chunks);
}
