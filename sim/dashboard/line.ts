/** A row of the screen as spans of text with a tone: what views give and the painter turns into escape codes. */

/** What a piece of text means. Colour follows from it; a mark or a word always says the same. */
export type Tone = 'plain' | 'faint' | 'strong' | 'good' | 'bad' | 'aim' | 'curve' | 'chosen';

export interface Span {
  readonly text: string;
  readonly tone: Tone;
}

export type Line = readonly Span[];

export function span(text: string, tone: Tone = 'plain'): Span {
  return { text, tone };
}

export function lineOf(text: string, tone: Tone = 'plain'): Line {
  return [{ text, tone }];
}

/** Columns that a line takes: every character that reaches a line takes one, see `Glyphs.clean`. */
export function widthOf(line: Line): number {
  return line.reduce((sum, { text }) => sum + text.length, 0);
}

/** The text cut to `width` columns, its last one then being the ellipsis. */
export function cut(text: string, width: number, ellipsis: string): string {
  if (text.length <= width) return text;
  return width <= ellipsis.length
    ? text.slice(0, Math.max(0, width))
    : text.slice(0, width - ellipsis.length) + ellipsis;
}

/** The line in exactly `width` columns: cut, or filled with blanks. */
export function fitted(line: Line, width: number, ellipsis: string): Line {
  const spans: Span[] = [];
  let room = width;
  for (const { text, tone } of line) {
    if (room <= 0) break;
    const shown = cut(text, room, ellipsis);
    spans.push({ text: shown, tone });
    room -= shown.length;
  }
  if (room > 0) spans.push({ text: ' '.repeat(room), tone: 'plain' });
  return spans;
}

/** `left` and `right` at the two ends of `width` columns; where both do not fitted, the left one is cut. */
export function spread(left: Line, right: Line, width: number, ellipsis: string): Line {
  const rightWidth = Math.min(widthOf(right), width);
  return [...fitted(left, width - rightWidth, ellipsis), ...fitted(right, rightWidth, ellipsis)];
}

/** Blocks of lines side by side, each `[lines, width]`, `height` rows, with a separator between them. */
export function beside(
  blocks: readonly (readonly [lines: readonly Line[], width: number])[],
  height: number,
  separator: Span,
  ellipsis: string,
): Line[] {
  return Array.from({ length: height }, (_, row) =>
    blocks.flatMap(([lines, width], index) => [
      ...(index === 0 ? [] : [separator]),
      ...fitted(lines[row] ?? [], width, ellipsis),
    ]),
  );
}

export function textOf(line: Line): string {
  return line.map(({ text }) => text).join('');
}

/** Neighbours of one tone as one span: fewer codes, and less to handle. */
export function joined(line: Line): Span[] {
  const spans: { text: string; tone: Tone }[] = [];
  for (const { text, tone } of line) {
    const last = spans.at(-1);
    if (last?.tone === tone) last.text += text;
    else spans.push({ text, tone });
  }
  return spans;
}
