/** From a bench file (with a scenario's overrides on top) to its parts, or to all that is wrong with it. */

import { partKinds } from '../../models/index.ts';
import { rules } from '../../models/rules.ts';
import { looseEnds } from './assemble.ts';
import { resolveLikes } from './like.ts';
import { overlay } from './overlay.ts';
import { takeFiles } from './part-files.ts';
import { hasErrors, type Problem, problemAt, sortProblems } from './problem.ts';
import { benchSchema, type DescribedPart, partsOf, settleParts } from './schema.ts';
import { readSource } from './source.ts';
import { headPlace, nodesAlong, type Path, pathWords, type TreeMap, valuePlace, writtenWords } from './tree.ts';
import { validate } from './validate.ts';

export interface Bench {
  readonly title: string;
  /** The file as the user named it. */
  readonly file: string;
  readonly parts: readonly DescribedPart[];
  /** The validated contents: what the rules and later tools read beside the parts. */
  readonly contents: Readonly<Record<string, unknown>>;
}

export type Loaded<T> = { readonly value?: T; readonly problems: readonly Problem[] };

/** The schema of bench files. Made once: it does not change while the program runs. */
export const benchFileSchema = benchSchema(partKinds);

/** Reads and checks a bench. Problems may be warnings only, beside a value. */
export function loadBench(path: string, overrides?: TreeMap): Loaded<Bench> {
  const read = readSource(path);
  if (read.tree === undefined) return { problems: read.problems };
  const stranger = read.tree.entries.get('scenario');
  if (stranger !== undefined)
    return {
      problems: [
        problemAt(headPlace(stranger), 'refused', { path: '', says: 'this is a scenario; a bench is wanted here' }),
      ],
    };
  const laid = overrides === undefined ? { tree: read.tree, problems: [] } : overlay(read.tree, overrides);
  const resolved = resolveLikes(laid.tree);
  const before = [...read.problems, ...laid.problems, ...resolved.problems];
  const validated = validate(benchFileSchema, resolved.tree);
  if ('problems' in validated) return { problems: sortProblems([...before, ...validated.problems]) };
  const contents = validated.value as Readonly<Record<string, unknown>>;
  const { parts, problems: fileProblems } = takeFiles(partsOf(contents, partKinds), resolved.tree);
  const bench: Bench = { title: contents.bench as string, file: path, parts, contents };
  const problems = sortProblems([
    ...before,
    ...duplicateNames(parts, resolved.tree),
    ...fileProblems,
    ...ruleProblems(parts, resolved.tree),
    ...looseEndProblems(parts, resolved.tree),
  ]);
  return hasErrors(problems) ? { problems } : { value: bench, problems };
}

/** A part that listens to something that this bench has not: a controller fed by a receiver that is not there. */
function looseEndProblems(parts: readonly DescribedPart[], tree: TreeMap): Problem[] {
  return looseEnds(settleParts(parts)).map(({ part, port, from }) => {
    const path = parts.find(({ name }) => name === part)!.path;
    const node = nodesAlong(tree, path).at(-1)!;
    const missing = from.slice(0, from.lastIndexOf('.'));
    return problemAt(headPlace(node), 'refused', {
      path: pathWords(path),
      says: `its ${port} comes from ${from}, and this bench has no ${missing}`,
    });
  });
}

/** What the models' rules say about values that are right each for itself but not together. */
function ruleProblems(parts: readonly DescribedPart[], tree: TreeMap): Problem[] {
  return rules(parts).map((found) => {
    // A value that is a default is not in the file: then the nearest section above it is shown.
    const nodes = nodesAlong(tree, found.path as Path);
    const node = nodes.at(-1)!;
    const isWritten = nodes.length === found.path.length + 1;
    return problemAt(
      valuePlace(node),
      'refused',
      {
        path: pathWords(found.path as Path),
        says: found.says,
        ...(isWritten && node.shape !== 'map' ? { written: writtenWords(node) } : {}),
        ...(found.allowed === undefined ? {} : { allowed: found.allowed }),
        ...(found.nearest === undefined ? {} : { nearest: found.nearest }),
      },
      found.severity,
    );
  });
}

/** Part names are signal names' first half, so a controller may not be called `pedal`. */
function duplicateNames(parts: readonly DescribedPart[], tree: TreeMap): Problem[] {
  const seen = new Set<string>(['script', 'fault', 'at', 'for']);
  return parts.flatMap((part) => {
    const isTaken = seen.has(part.name);
    seen.add(part.name);
    if (!isTaken) return [];
    const node = nodesAlong(tree, part.path).at(-1)!;
    return [
      problemAt(node.named ?? valuePlace(node), 'bad-name', {
        path: pathWords(part.path),
        name: part.name,
        says: 'another part of the bench has this name',
      }),
    ];
  });
}
