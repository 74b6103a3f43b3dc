/** Calls the command line with streams that are read afterwards, and folders to call it in. */
import { cpSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { jackstand } from '../../sim/cli/program.ts';
import type { Streams } from '../../sim/cli/streams.ts';

export interface Called {
  readonly status: number;
  readonly out: string;
  readonly err: string;
  /** What was shown as being done, line by line. */
  readonly shown: readonly string[];
}

export async function call(args: readonly string[], look: Partial<Streams> = {}): Promise<Called> {
  const out: string[] = [];
  const err: string[] = [];
  const shown: string[] = [];
  const status = await jackstand(args, {
    out: (text) => void out.push(text),
    err: (text) => void err.push(text),
    status: (line) => void shown.push(line),
    isColoured: false,
    columns: undefined,
    ...look,
  });
  return { status, out: out.join(''), err: err.join(''), shown };
}

export const shipped = 'scenarios/orchard-cart';

/** A folder of its own with a copy of the shipped bench and scenarios; `changes` rewrite or add files. */
export function folderWith(changes: Readonly<Record<string, string | ((text: string) => string)>> = {}): string {
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
  cpSync(shipped, folder, { recursive: true });
  for (const [file, change] of Object.entries(changes)) {
    const path = join(folder, file);
    writeFileSync(path, typeof change === 'string' ? change : change(readFileSync(path, 'utf8')));
  }
  return folder;
}

/** Timings differ from run to run. */
export function timeless(text: string): string {
  return text.replaceAll(/ in \d+\.\d ms\)/g, ' in TIME)');
}
