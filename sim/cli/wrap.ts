/** Lines no wider than a terminal, broken between words. */
import { columnsOf } from '../bench/print.ts';

/**
 * `text` in lines of at most `columns` (unbroken if undefined): the first begins with `first`, the others with blanks of
 * the same width. A word that is wider than a line stays whole, so that a path in it can still be copied.
 */
export function wrapped(text: string, first: string, columns: number | undefined): string[] {
  const indent = ' '.repeat(shownColumns(first));
  const lines: string[] = [];
  let line = first;
  let isEmpty = true;
  for (const word of text.split(' ')) {
    const longer = isEmpty ? line + word : `${line} ${word}`;
    if (isEmpty || columns === undefined || shownColumns(longer) <= columns) {
      line = longer;
      isEmpty = false;
      continue;
    }
    lines.push(line);
    line = indent + word;
  }
  return [...lines, line];
}

/** Emphasis takes no columns. */
function shownColumns(text: string): number {
  // biome-ignore lint/suspicious/noControlCharactersInRegex: that is what emphasis is written with.
  return columnsOf(text.includes('\u001b') ? text.replaceAll(/\u001b\[\d+m/g, '') : text);
}
