/** For each part that a value must get ready: a ruler with the window to be hit, where the value lies, how far off. */
import type { Band } from '../kernel/part.ts';
import { formatQuantity } from '../units/index.ts';
import type { Glyphs } from './glyphs.ts';
import { fitted, joined, type Line, type Span, span, type Tone } from './line.ts';
import { modeOf } from './path-view.ts';
import type { Session } from './session.ts';
import type { Aim } from './telling.ts';

const NAME_COLUMNS = 16;
/** Columns for the words on a narrow screen, and on one where the range is named too. */
const WORDS_COLUMNS = { short: 21, long: 30 } as const;
const LONG_FROM_COLUMNS = 110;

export function needleLines(session: Session, width: number, glyphs: Glyphs): Line[] {
  return session.aims().map((aim) => needleLine(session, aim, width, glyphs));
}

function needleLine(session: Session, { part, signal, bands }: Aim, width: number, glyphs: Glyphs): Line {
  const { player } = session;
  const value = player.present(signal);
  const { dimension } = player.assembly.signals[player.assembly.signalIndex.get(signal)!]!;
  const mode = modeOf(session, player.assembly.parts.find(({ name }) => name === part)!);
  const aim = bands.find(({ role }) => role === 'aim')!;
  const isInside = value >= aim.least && value <= aim.most;
  const name = fitted(
    [span(glyphs.clean(part), 'strong'), span(' '), span(glyphs.clean(mode.split('.').at(-1) ?? ''))],
    NAME_COLUMNS,
    glyphs.ellipsis,
  );
  const isLong = width >= LONG_FROM_COLUMNS;
  const wordsColumns = isLong ? WORDS_COLUMNS.long : WORDS_COLUMNS.short;
  const words = aimWords(value, aim, isLong ? ` ${aim.name}` : '', (number) => formatQuantity(number, dimension));
  const tone: Tone = value === 0 ? 'faint' : isInside ? 'good' : 'strong';
  const ruler = rulerOf(value, bands, width - NAME_COLUMNS - wordsColumns - 1, glyphs, (number) =>
    formatQuantity(number, dimension),
  );
  return [...name, ...ruler, span(' '), ...fitted([span(words, tone)], wordsColumns, glyphs.ellipsis)];
}

/** `1536 us, 16 us over neutral` */
function aimWords(value: number, aim: Band, name: string, words: (value: number) => string): string {
  if (value === 0) return 'nothing seen yet';
  if (value > aim.most) return `${words(value)}, ${words(value - aim.most)} over${name}`;
  if (value < aim.least) return `${words(value)}, ${words(aim.least - value)} under${name}`;
  return `${words(value)}, ${words(Math.min(value - aim.least, aim.most - value))} inside${name}`;
}

/** Near the window when the value is near it, else over all that is accepted. */
function rulerOf(
  value: number,
  bands: readonly Band[],
  width: number,
  glyphs: Glyphs,
  words: (value: number) => string,
): Span[] {
  const aim = bands.find(({ role }) => role === 'aim')!;
  const limit = bands.find(({ role }) => role === 'limit') ?? aim;
  const reach = 2.5 * Math.max(aim.most - aim.least, Number.MIN_VALUE);
  const isNear = value === 0 || (value >= aim.least - reach && value <= aim.most + reach);
  const low = isNear ? aim.least - reach : Math.min(limit.least, value);
  const high = isNear ? aim.most + reach : Math.max(limit.most, value);
  const [lowWords, highWords] = [words(low), words(high)];
  const columns = width - lowWords.length - highWords.length - 4;
  if (columns < 8) return fitted([], width, glyphs.ellipsis) as Span[];
  const placeOf = (at: number): number => Math.round(((at - low) / (high - low)) * (columns - 1));
  const cells: [string, Tone][] = Array.from({ length: columns }, () => [glyphs.rulerLine, 'faint']);
  const set = (place: number, character: string, tone: Tone): void => {
    if (place >= 0 && place < columns) cells[place] = [character, tone];
  };
  for (const band of bands) {
    if (band.role !== 'mark') continue;
    set(placeOf(band.least), band.name.slice(0, 1).toUpperCase(), 'plain');
  }
  const [left, right] = [placeOf(aim.least), placeOf(aim.most)];
  for (let place = left; place <= right; place += 1) set(place, glyphs.windowFill, 'aim');
  set(left, glyphs.windowLeft, 'aim');
  set(right, glyphs.windowRight, 'aim');
  if (value !== 0) set(placeOf(value), glyphs.needle, value >= aim.least && value <= aim.most ? 'good' : 'bad');
  return [
    span(`${lowWords} `, 'faint'),
    span(glyphs.rulerLeft, 'faint'),
    ...joined(cells.map(([character, tone]) => span(character, tone))),
    span(glyphs.rulerRight, 'faint'),
    span(` ${highWords}`, 'faint'),
  ];
}
