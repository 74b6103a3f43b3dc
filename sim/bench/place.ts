/**
 * Where something was written: a span of offsets in a file's text, and from it line, column and the line itself.
 */
import { LineCounter } from 'yaml';

/** The text of one file under the name by which the user knows it. */
export interface SourceText {
  readonly name: string;
  readonly text: string;
  readonly lines: LineCounter;
  /** Offset after the last character that is not blank. */
  readonly contentEnd: number;
}

/** A span in a file: offsets in UTF-16 units, `end` after the last one. */
export interface Place {
  readonly source: SourceText;
  readonly start: number;
  readonly end: number;
}

/** A piece of the line that a place stands on. `startColumn` is the column of its first character, 1 if nothing was cut off. */
export interface Excerpt {
  readonly text: string;
  readonly startColumn: number;
  /** True if the line goes on after the piece. */
  readonly isCut: boolean;
}

/** A place as an editor counts: lines and columns from 1, columns in UTF-16 units, `endColumn` after the last one marked. */
export interface Position {
  readonly file: string;
  readonly line: number;
  readonly column: number;
  readonly endColumn: number;
  /** Missing where the file has no text to show. */
  readonly excerpt?: Excerpt;
}

// Enough for any terminal, and small enough that a line of a megabyte is not carried along with each of its problems.
const excerptReach = 160;

export function sourceText(name: string, text: string): SourceText {
  const lines = new LineCounter();
  lines.addNewLine(0);
  for (let at = text.indexOf('\n'); at !== -1; at = text.indexOf('\n', at + 1)) lines.addNewLine(at + 1);
  return { name, text, lines, contentEnd: text.trimEnd().length };
}

/** Line and column of a place. A span over several lines is marked to the end of its first one, an empty one is one wide. */
export function positionOf({ source, start, end }: Place): Position {
  // A mistake found at the end of the file (a bracket never closed) is shown after the last thing written, not in the blank lines below it.
  const offset = Math.min(start, source.contentEnd);
  const { line, col: column } = source.lines.linePos(offset);
  const lineStart = offset - (column - 1);
  const nextBreak = source.text.indexOf('\n', offset);
  const lineEnd = trimmedEnd(source.text, offset, nextBreak === -1 ? source.text.length : nextBreak);
  const lastOffset = Math.min(Math.max(end, offset), lineEnd);
  const endColumn = Math.max(lastOffset - lineStart + 1, column + 1);
  const from = Math.max(lineStart, offset - excerptReach);
  const to = Math.min(lineEnd, offset + excerptReach);
  return {
    file: source.name,
    line,
    column,
    endColumn,
    excerpt: { text: source.text.slice(from, to), startColumn: from - lineStart + 1, isCut: to < lineEnd },
  };
}

/** A place for what is wrong with a file as a whole. */
export function wholeFile(file: string): Position {
  return { file, line: 1, column: 1, endColumn: 2 };
}

/** The text as it was written. */
export function writtenAt({ source, start, end }: Place): string {
  return source.text.slice(start, end);
}

/**
 * The part of a place that holds `from` to `to` of its value's characters; the whole place where the value is not
 * written letter for letter (escapes, several lines).
 */
export function within(place: Place, value: string, from: number, to: number): Place {
  const written = writtenAt(place);
  const lead = written.startsWith(value) ? 0 : written.startsWith(value, 1) && /^["']/.test(written) ? 1 : -1;
  if (lead === -1) return place;
  return { source: place.source, start: place.start + lead + from, end: place.start + lead + to };
}

function trimmedEnd(text: string, least: number, end: number): number {
  while (end > least && /\s/.test(text[end - 1]!)) end -= 1;
  return end;
}
