/** The files that `run --trace` writes: which, whether they can be written, and writing them whole or not at all. */
import { accessSync, closeSync, constants, openSync, renameSync, rmSync, statSync, writeSync } from 'node:fs';
import { dirname, extname } from 'node:path';
import { type Problem, problemAt } from '../bench/problem.ts';
import { csvOf } from '../trace/csv.ts';
import type { Trace } from '../trace/trace.ts';
import { vcdOf } from '../trace/vcd.ts';
import { TOOL_VERSION } from './version.ts';

const ENDINGS = ['.csv', '.vcd'];

/** What is wrong with the name given to `--trace`, found before anything is run. */
export function traceFileProblems(wanted: string): Problem[] {
  const refuse = (says: string, allowed?: string): Problem[] => [
    problemAt(wanted, 'refused', { path: '--trace', says, ...(allowed === undefined ? {} : { allowed }) }),
  ];
  const ending = extname(wanted);
  if (!ENDINGS.includes(ending))
    return refuse(
      ending === '' ? 'the name has no ending that says the format' : `${ending} is no format of traces`,
      ENDINGS.join(', '),
    );
  const folder = dirname(wanted);
  const found = statSync(folder, { throwIfNoEntry: false });
  if (found === undefined) return refuse(`there is no folder ${folder}; make it first`);
  if (!found.isDirectory()) return refuse(`${folder} is not a folder`);
  if (statSync(wanted, { throwIfNoEntry: false })?.isDirectory() === true) return refuse('this is a folder');
  try {
    accessSync(folder, constants.W_OK);
  } catch {
    return refuse(`nothing can be written into ${folder}`);
  }
  return [];
}

/** One name a scenario: `out.vcd` alone, `out-cold-start.vcd` among several, with as much of the path as tells them apart. */
export function traceNames(wanted: string, scenarioFiles: readonly string[]): string[] {
  if (scenarioFiles.length === 1) return [wanted];
  const ending = extname(wanted);
  const stem = wanted.slice(0, -ending.length);
  const paths = scenarioFiles.map((file) => file.replace(/\.[^./\\]*$/, '').split(/[/\\]/));
  const deepest = Math.max(...paths.map((path) => path.length));
  for (let depth = 1; ; depth += 1) {
    const names = paths.map((path) => `${stem}-${path.slice(-depth).join('-')}${ending}`);
    if (new Set(names).size === names.length || depth === deepest) return names;
  }
}

/**
 * Written in pieces, so that the trace of an hour need not fit into one text, and under another name until it is
 * whole. What the system refuses (a full disk) comes back as a problem.
 */
export function writeTrace(trace: Trace, file: string): Problem[] {
  const chunks =
    extname(file) === '.csv'
      ? csvOf(trace.columns)
      : vcdOf(trace.columns, { version: `jackstand ${TOOL_VERSION}`, endSeconds: trace.endSeconds });
  const unfinished = `${file}.part`;
  try {
    const handle = openSync(unfinished, 'w');
    try {
      for (const chunk of chunks) writeSync(handle, chunk);
    } finally {
      closeSync(handle);
    }
    renameSync(unfinished, file);
    return [];
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === undefined) throw error;
    rmSync(unfinished, { force: true });
    return [problemAt(file, 'refused', { path: '--trace', says: `it could not be written (${code})` })];
  }
}
