/** Reads the files that parts name in their parameters, when a bench is loaded, so that nothing is read in a run. */
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { basename, dirname, isAbsolute, join } from 'node:path';
import type { FileMistake } from '../kernel/part.ts';
import { type Problem, problemAt } from './problem.ts';
import type { DescribedPart } from './schema.ts';
import { suggest } from './suggest.ts';
import { nodeAt, pathWords, type TreeMap, valuePlace, writtenWords } from './tree.ts';

/** Far above any program's image, and above a capture of a million samples. */
const maxBytes = 32 * 1024 * 1024;

/** The parts with what their files hold. Names are as seen from the file that they are written in: bench or scenario. */
export function takeFiles(
  parts: readonly DescribedPart[],
  tree: TreeMap,
): { readonly parts: DescribedPart[]; readonly problems: Problem[] } {
  const problems: Problem[] = [];
  const taken = parts.map((part) => {
    const { files } = part.kind;
    if (files === undefined) return part;
    const before = problems.length;
    const contents = new Map<string, Uint8Array>();
    for (const key of files.keys) {
      const read = contentsOf(part, key, tree);
      if (read instanceof Uint8Array) contents.set(key, read);
      else if (read !== undefined) problems.push(read);
    }
    if (problems.length > before) return part;
    const { parameters, mistakes } = files.take(part.parameters as never, contents);
    for (const mistake of mistakes) problems.push(problemOf(part, mistake, tree));
    return { ...part, parameters };
  });
  return { parts: taken, problems };
}

function contentsOf(part: DescribedPart, key: string, tree: TreeMap): Uint8Array | Problem | undefined {
  const written = (part.parameters as Readonly<Record<string, unknown>>)[key];
  const node = nodeAt(tree, [...part.path, key]);
  if (typeof written !== 'string' || node === undefined) return undefined;
  const path = isAbsolute(written) ? written : join(dirname(node.place.source.name), written);
  const refused = (says: string, nearest?: string): Problem =>
    problemAt(valuePlace(node), 'refused', {
      path: pathWords([...part.path, key]),
      written,
      says,
      ...(nearest === undefined ? {} : { nearest }),
    });
  try {
    const found = statSync(path);
    // Asked first, since reading a pipe or a device may never end.
    if (!found.isFile()) return refused('that is no file');
    if (found.size > maxBytes) return refused(`the file has ${found.size} bytes; at most ${maxBytes} are read`);
    return new Uint8Array(readFileSync(path));
  } catch (error) {
    const reason = error instanceof Error && 'code' in error ? String(error.code) : 'unknown';
    return reason === 'ENOENT'
      ? refused('there is no such file', suggest(basename(path), namesBeside(path)))
      : refused(`the file cannot be read (${reason})`);
  }
}

function namesBeside(path: string): string[] {
  try {
    return readdirSync(dirname(path)).slice(0, 1000);
  } catch {
    return [];
  }
}

function problemOf(part: DescribedPart, { key, at, says, isWarning }: FileMistake, tree: TreeMap): Problem {
  const named = nodeAt(tree, [...part.path, key]);
  const node = named ?? tree;
  return problemAt(
    valuePlace(node),
    'refused',
    {
      path: pathWords([...part.path, key]),
      ...(named === undefined ? {} : { written: writtenWords(named) }),
      says: at === undefined ? says : `${at}: ${says}`,
    },
    isWarning === true ? 'warning' : 'error',
  );
}
