/** Captures that the command line names: read as one text, with what is wrong told as of any file. */
import { readFileSync, statSync } from 'node:fs';
import { type Problem, problemAt } from '../bench/problem.ts';
import { type Capture, readCapture } from '../capture/read-capture.ts';

/** A capture is read as one text. */
const MOST_BYTES = 256 * 1024 * 1024;

export function captureIn(file: string): Capture | { readonly problem: Problem } {
  const text = textOf(file);
  if (typeof text !== 'string') return { problem: text };
  const capture = readCapture(text);
  if (!('says' in capture)) return capture;
  const place = capture.line === undefined ? '' : ` (line ${capture.line}, column ${capture.column})`;
  return {
    problem: problemAt(file, 'refused', {
      path: '',
      says: `this is no capture: ${capture.says}${place}`,
      allowed: 'CSV with a time column and levels or volts, VCD, or one count a line',
    }),
  };
}

function textOf(file: string): string | Problem {
  try {
    const found = statSync(file);
    if (!found.isFile()) return problemAt(file, 'not-a-file', { isFolder: found.isDirectory() });
    if (found.size > MOST_BYTES) return problemAt(file, 'too-long', { bytes: found.size, limitBytes: MOST_BYTES });
    return readFileSync(file, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    return code === 'ENOENT'
      ? problemAt(file, 'no-such-file', {})
      : problemAt(file, 'unreadable', { reason: code ?? 'unknown' });
  }
}
