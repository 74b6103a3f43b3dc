/** The files that paths on the command line mean: files as they are, folders with all that is in them, glob patterns. */
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { basename, dirname, join, relative } from 'node:path';
import { glob, isDynamicPattern } from 'tinyglobby';
import { type Problem, problemAt } from '../bench/problem.ts';
import { suggest } from '../bench/suggest.ts';

export type FileKind = 'bench' | 'scenario' | 'suite';

export interface Found {
  readonly files: readonly string[];
  readonly problems: readonly Problem[];
}

/** Files named outright are taken as they are; those found in folders only if they are of the wanted kind. */
export async function findFiles(paths: readonly string[], kinds: readonly FileKind[]): Promise<Found> {
  const files: string[] = [];
  const problems: Problem[] = [];
  for (const path of paths) {
    if (existsSync(path) && !statSync(path).isDirectory()) {
      files.push(path);
      continue;
    }
    const isFolder = existsSync(path);
    if (!isFolder && !isDynamicPattern(path)) {
      problems.push(problemAt(path, 'no-such-file', nearestTo(path)));
      continue;
    }
    // A folder is where the search starts, not a part of the pattern: its name may hold brackets, or be `node_modules`.
    const matches = (
      await glob(isFolder ? '**/*.{yaml,yml}' : path, {
        cwd: isFolder ? path : '.',
        ignore: '**/node_modules/**',
        expandDirectories: false,
        absolute: true,
      })
    ).map((file) => relative('.', file) || file);
    const wanted = matches.filter((file) => kinds.includes(kindOf(file) as FileKind)).sort();
    if (wanted.length === 0)
      problems.push(problemAt(path, 'refused', { path: '', says: `there is no ${kinds.join(' or ')} file here` }));
    files.push(...wanted);
  }
  return { files: [...new Set(files)], problems };
}

/** What a YAML file is by its first key word: a look, not a check. */
export function kindOf(file: string): FileKind | undefined {
  let text: string;
  try {
    text = readFileSync(file, 'utf8');
  } catch {
    return undefined;
  }
  if (/^["']?suite["']?\s*:/m.test(text)) return 'suite';
  if (/^\s*["']?scenario["']?\s*:/m.test(text)) return 'scenario';
  return /^\s*["']?bench["']?\s*:/m.test(text) ? 'bench' : undefined;
}

/** What lies in the same folder under a like name. */
function nearestTo(path: string): { readonly nearest?: string } {
  const folder = dirname(path);
  if (!existsSync(folder) || !statSync(folder).isDirectory()) return {};
  const nearest = suggest(basename(path), readdirSync(folder));
  return nearest === undefined ? {} : { nearest: join(folder, nearest) };
}
