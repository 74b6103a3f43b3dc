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

/** A file that is written while its contents come about, under another name until it is whole. */
export interface GrowingFile {
  /** False once the system has refused something. */
  add(bytes: Uint8Array): boolean;
  /** Gives the file its name, or says what the system refused (a full disk). */
  finish(): Problem[];
  /** Leaves nothing behind. */
  drop(): void;
}

export function growingFile(option: string, file: string): GrowingFile {
  const unfinished = `${file}.part`;
  const problems: Problem[] = [];
  let handle = -1;
  let isThere = false;
  const close = (): void => {
    const open = handle;
    handle = -1;
    if (open !== -1) closeSync(open);
  };
  const drop = (): void => {
    close();
    if (isThere) rmSync(unfinished, { force: true });
    isThere = false;
  };
  // After a first refusal the rest would leave a gap, and is not written either.
  const attempt = (write: () => void): boolean => {
    if (problems.length === 0) problems.push(...withoutSystemErrors(option, file, write, drop));
    return problems.length === 0;
  };
  attempt(() => {
    handle = openSync(unfinished, 'w');
    isThere = true;
  });
  return {
    add: (bytes) =>
      attempt(() => {
        // The system may take less than it is given.
        for (let from = 0; from < bytes.length; ) from += writeSync(handle, bytes, from);
      }),
    finish: () => {
      attempt(() => {
        close();
        renameSync(unfinished, file);
      });
      return problems;
    },
    drop,
  };
}

/** Written in pieces, so that what is long need not fit into one text. */
export function writeWhole(option: string, file: string, chunks: Iterable<string>): Problem[] {
  const whole = growingFile(option, file);
  try {
    for (const chunk of chunks) if (!whole.add(Buffer.from(chunk))) break;
  } catch (error) {
    whole.drop();
    throw error;
  }
  return whole.finish();
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
