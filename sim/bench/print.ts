/**
 * Problems as a terminal shows them: the place, what is wrong, the line with carets under it, what is allowed.
 */
import type { Excerpt } from './place.ts';
import { type Problem, sortProblems } from './problem.ts';
import { wordsOf } from './words.ts';

export interface PrintOptions {
  /** Problems shown before the rest is only counted. */
  readonly limit?: number;
  /** Columns that a line of the file may take, its number not counted. */
  readonly width?: number;
}

/** The text for all problems, sorted by place, one blank line between two, without a line break at the end. */
export function printProblems(problems: readonly Problem[], { limit = 20, width = 100 }: PrintOptions = {}): string {
  const sorted = sortProblems(problems);
  const shown = sorted.slice(0, limit).map((problem) => printProblem(problem, width));
  const rest = sorted.length - shown.length;
  return [...shown, ...(rest > 0 ? [`and ${rest} more`] : [])].join('\n\n');
}

/** One problem, in one to four lines. */
export function printProblem(problem: Problem, width: number): string {
  const { file, line, column, endColumn, excerpt, severity } = problem;
  const { says, allowed, nearest } = wordsOf(problem);
  const place = excerpt === undefined ? file : `${file}:${line}:${column}`;
  const choices = [
    ...(allowed === undefined ? [] : [`allowed: ${allowed}`]),
    ...(nearest === undefined ? [] : [`nearest: ${nearest}`]),
  ];
  return [
    `${place}: ${severity === 'warning' ? 'warning: ' : ''}${says}`,
    ...(excerpt === undefined ? [] : excerptLines(excerpt, line, column, endColumn, width)),
    ...(choices.length === 0 ? [] : [`  ${choices.join('     ')}`]),
  ]
    .map(printable)
    .join('\n');
}

/** Nearly all texts are plain, and making ready to look for what is not takes longer than a short run. */
function isPlain(text: string): boolean {
  return /^[ -~]*$/.test(text);
}

/**
 * Text without anything that could move a cursor, colour a terminal, reverse its writing direction or hide: each such
 * character becomes one `?`, a tab one space, so that columns stay.
 */
export function printable(text: string): string {
  if (isPlain(text)) return text;
  return text.replaceAll('\t', ' ').replaceAll(/[\p{Cc}\p{Cf}\p{Co}\p{Cs}\p{Zl}\p{Zp}]/gu, '?');
}

const ellipsis = '...';

function excerptLines(excerpt: Excerpt, line: number, column: number, endColumn: number, width: number): string[] {
  const { text, startColumn } = excerpt;
  const from = column - startColumn;
  const marked = Math.max(1, Math.min(endColumn - column, text.length - from));
  // A line that is too long is cut so that the marked part stays, with what stands before it rather than after it.
  const isLong = text.length > width || startColumn > 1 || excerpt.isCut;
  const cutFrom = isLong ? Math.max(0, Math.min(from - Math.floor(width / 2), text.length - width)) : 0;
  const cutTo = isLong ? Math.min(text.length, cutFrom + width) : text.length;
  const before = `${startColumn > 1 || cutFrom > 0 ? ellipsis : ''}${text.slice(cutFrom, from)}`;
  const after = `${text.slice(from, cutTo)}${excerpt.isCut || cutTo < text.length ? ellipsis : ''}`;
  const carets = '^'.repeat(Math.max(1, columnsOf(text.slice(from, Math.min(from + marked, cutTo)))));
  const gutter = String(line).padStart(5);
  return [`${gutter} | ${before}${after}`, `${' '.repeat(gutter.length + 3 + columnsOf(before))}${carets}`];
}

// Scripts and signs that take two columns (Unicode Standard Annex 11, wide), by their main blocks; marks take none.
const wide =
  /[\u1100-\u115f\u2e80-\u303e\u3041-\ua4cf\uac00-\ud7a3\uf900-\ufaff\ufe30-\ufe6f\uff00-\uff60\uffe0-\uffe6]|\p{Emoji_Presentation}/u;

/** Columns of a terminal that a text takes. */
export function columnsOf(text: string): number {
  if (isPlain(text)) return text.length;
  let columns = 0;
  for (const character of printable(text)) columns += /\p{M}/u.test(character) ? 0 : wide.test(character) ? 2 : 1;
  return columns;
}
