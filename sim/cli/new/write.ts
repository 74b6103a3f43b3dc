/** Writes the files of `jackstand new`: all of them or none, and never over one that is there. */
import { existsSync, mkdirSync, mkdtempSync, rmdirSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { type Problem, problemAt } from '../../bench/problem.ts';

export type Files = ReadonlyMap<string, string>;

/** What stands in the way of writing these files into this folder. */
export function obstacles(folder: string, names: Iterable<string>): Problem[] {
  const found = statSync(folder, { throwIfNoEntry: false });
  if (found !== undefined && !found.isDirectory())
    return [problemAt(folder, 'refused', { path: '', says: 'this is no folder, so nothing can be written into it' })];
  return [...names]
    .map((name) => join(folder, name))
    .filter((file) => existsSync(file))
    .map((file) =>
      problemAt(file, 'refused', {
        path: '',
        says: 'this file is there already, and nothing is written over it; name another folder',
      }),
    );
}

/** Runs `work` with the files in a folder of their own, which is gone afterwards. */
export function withDraft<T>(files: Files, work: (folder: string) => T): T {
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-new-'));
  try {
    for (const [name, text] of files) writeFileSync(join(folder, name), text);
    return work(folder);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** What the system refuses comes back as a problem, and what had been written until then is taken away. */
export function writeAll(folder: string, files: Files): Problem[] {
  const made = foldersAbove(folder);
  const written: string[] = [];
  try {
    mkdirSync(folder, { recursive: true });
    for (const [name, text] of files) {
      const file = join(folder, name);
      // Refused by the system itself where the file has come to be in the meantime.
      writeFileSync(file, text, { flag: 'wx' });
      written.push(file);
    }
    return [];
  } catch (error) {
    const { code, path } = error as NodeJS.ErrnoException;
    if (code === undefined) throw error;
    // A file that could not be written to its end is ours too; one that was there before is not.
    if (path !== undefined && code !== 'EEXIST' && !written.includes(path)) rmSync(path, { force: true });
    for (const file of written) rmSync(file, { force: true });
    for (const one of made) if (existsSync(one)) rmdirSync(one);
    return [problemAt(path ?? folder, 'refused', { path: '', says: `it could not be written (${code}); nothing was` })];
  }
}

/** The folders that would have to be made, the innermost first. */
function foldersAbove(folder: string): string[] {
  const missing: string[] = [];
  for (let at = folder; !existsSync(at) && at !== dirname(at); at = dirname(at)) missing.push(at);
  return missing;
}
