/** Problems on their way to the reader: every command tells them alike, on the stream for messages. */
import { printProblems } from '../bench/print.ts';
import type { Problem } from '../bench/problem.ts';
import type { Streams } from './streams.ts';

/** What stands before the excerpt of a line: its number and a bar. */
const GUTTER_COLUMNS = 8;
const WIDEST = 100;

export function tellProblems(problems: readonly Problem[], { err, errColumns }: Streams): void {
  if (problems.length === 0) return;
  const width = errColumns === undefined ? WIDEST : Math.min(WIDEST, Math.max(20, errColumns - GUTTER_COLUMNS));
  err(`${printProblems(problems, { width })}\n`);
}
