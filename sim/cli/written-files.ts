/** Files that a command writes beside its results: whether they can be written, told before anything is run, and writing them whole or not at all. */
import {
  accessSync,
  appendFileSync,
  closeSync,
  constants,
  openSync,
  renameSync,
  rmSync,
  statSync,
  writeSync,
} from 'node:fs';
import { dirname, extname } from 'node:path';
import { type Problem, problemAt } from '../bench/problem.ts';

/** What is wrong with the name given to an option. Any ending will do where `endings` is empty. */
export function writtenFileProblems(option: string, wanted: string, endings: readonly string[] = []): Problem[] {
  const refuse = (says: string, allowed?: string): Problem[] => [
    problemAt(wanted, 'refused', { path: option, says, ...(allowed === undefined ? {} : { allowed }) }),
  ];
  const ending = extname(wanted);
  if (endings.length > 0 && !endings.includes(ending))
    return refuse(
      ending === '' ? 'the name has no ending that says the format' : `${ending} is no format that it writes`,
      endings.join(', '),
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

/**
 * Written in pieces, so that what is long need not fit into one text, and under another name until it is whole. What
 * the system refuses (a full disk) comes back as a problem.
 */
export function writeWhole(option: string, file: string, chunks: Iterable<string>): Problem[] {
  const unfinished = `${file}.part`;
  return withoutSystemErrors(
    option,
    file,
    () => {
      const handle = openSync(unfinished, 'w');
      try {
        for (const chunk of chunks) writeSync(handle, chunk);
      } finally {
        closeSync(handle);
      }
      renameSync(unfinished, file);
    },
    () => rmSync(unfinished, { force: true }),
  );
}

/** For a file that others write to as well. */
export function appendTo(option: string, file: string, text: string): Problem[] {
  return withoutSystemErrors(option, file, () => appendFileSync(file, text));
}

function withoutSystemErrors(option: string, file: string, write: () => void, tidy?: () => void): Problem[] {
  try {
    write();
    return [];
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === undefined) throw error;
    tidy?.();
    return [problemAt(file, 'refused', { path: option, says: `it could not be written (${code})` })];
  }
}
