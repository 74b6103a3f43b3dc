/**
 * Puts lines on a terminal: only the rows that changed are written, in one piece.
 *
 * Ink lays text out and looks at each character several times; a full screen of 200 x 60 took it 56 ms of processor
 * time where this takes well under 1 ms (test/speed/dashboard.bench.ts). Ink keeps what it is good at: keys, raw mode,
 * components, errors.
 */
import { type Line, type Tone, textOf } from './line.ts';

const ESCAPE = '\u001b[';
/** Select Graphic Rendition (ECMA-48, 8.3.117): on and off. */
const CODES: Readonly<Record<Tone, readonly [string, string] | undefined>> = {
  plain: undefined,
  faint: ['2', '22'],
  strong: ['1', '22'],
  good: ['32', '39'],
  bad: ['31;1', '39;22'],
  aim: ['36', '39'],
  curve: ['33', '39'],
  chosen: ['7', '27'],
};

/** The line with escape codes; without colours it is the plain text. */
export function coded(line: Line, isColoured: boolean): string {
  if (!isColoured) return textOf(line);
  return line
    .map(({ text, tone }) => {
      const codes = CODES[tone];
      return codes === undefined || text.trim() === '' ? text : `${ESCAPE}${codes[0]}m${text}${ESCAPE}${codes[1]}m`;
    })
    .join('');
}

/** What must be written so that a screen that shows `before` shows `after`; '' where nothing changed. */
export function difference(before: readonly string[], after: readonly string[]): string {
  let text = '';
  after.forEach((row, index) => {
    if (before[index] !== row) text += `${ESCAPE}${index + 1};1H${row}${ESCAPE}K`;
  });
  for (let index = after.length; index < before.length; index += 1) text += `${ESCAPE}${index + 1};1H${ESCAPE}K`;
  // A terminal that knows synchronized output shows the frame at once; others ignore the mode (DEC private mode 2026).
  return text === '' ? '' : `${ESCAPE}?2026h${text}${ESCAPE}?2026l`;
}
