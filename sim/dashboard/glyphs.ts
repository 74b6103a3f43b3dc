/** The characters that the screen is drawn with: Unicode, or plain ASCII for terminals that have nothing else. */

export interface Glyphs {
  readonly isAscii: boolean;
  readonly ellipsis: string;
  readonly horizontal: string;
  readonly vertical: string;
  readonly arrow: string;
  readonly playing: string;
  readonly paused: string;
  readonly holds: string;
  readonly fails: string;
  readonly open: string;
  readonly chosen: string;
  readonly done: string;
  readonly coming: string;
  readonly shade: string;
  readonly cursor: string;
  readonly needle: string;
  readonly barFull: string;
  readonly barEmpty: string;
  readonly barStep: string;
  readonly barMode: string;
  readonly rulerLeft: string;
  readonly rulerRight: string;
  readonly rulerLine: string;
  readonly windowLeft: string;
  readonly windowRight: string;
  readonly windowFill: string;
  /** Text from files and models, in characters of one column each that this terminal has. */
  readonly clean: (text: string) => string;
}

/** Characters of two columns or none would shift everything behind them (Unicode Standard Annex 11, main blocks). */
const NOT_ONE_COLUMN =
  /[\p{Cc}\p{Cf}\p{Co}\p{Cs}\p{Zl}\p{Zp}\p{M}]|[\u1100-\u115f\u2e80-\u303e\u3041-\ua4cf\uac00-\ud7a3\uf900-\ufaff\ufe30-\ufe6f\uff00-\uff60\uffe0-\uffe6]|[\u{10000}-\u{10ffff}]/gu;
const ASCII_SPELLINGS: Readonly<Record<string, string>> = {
  '\u00b5': 'u',
  '\u03bc': 'u',
  '\u03a9': 'ohm',
  '\u00b1': '+/-',
  '\u00b0': 'deg',
  '\u2026': '...',
};

export const unicodeGlyphs: Glyphs = {
  isAscii: false,
  ellipsis: '…',
  horizontal: '─',
  vertical: '│',
  arrow: '→',
  playing: '▶',
  paused: '‖',
  holds: '✓',
  fails: '✗',
  open: '·',
  chosen: '▸',
  done: '✓',
  coming: '·',
  shade: '░',
  cursor: '┊',
  needle: '▲',
  barFull: '━',
  barEmpty: '─',
  barStep: '╋',
  barMode: '╂',
  rulerLeft: '├',
  rulerRight: '┤',
  rulerLine: '┄',
  windowLeft: '[',
  windowRight: ']',
  windowFill: '░',
  clean: (text) => text.replace(NOT_ONE_COLUMN, '?'),
};

export const asciiGlyphs: Glyphs = {
  isAscii: true,
  ellipsis: '~',
  horizontal: '-',
  vertical: '|',
  arrow: '>',
  playing: '>',
  paused: '"',
  holds: '+',
  fails: 'X',
  open: '.',
  chosen: '>',
  done: '+',
  coming: '.',
  shade: ':',
  cursor: '!',
  needle: '^',
  barFull: '=',
  barEmpty: '-',
  barStep: '#',
  barMode: '|',
  rulerLeft: '|',
  rulerRight: '|',
  rulerLine: '.',
  windowLeft: '[',
  windowRight: ']',
  windowFill: '=',
  clean: (text) =>
    text
      .replace(NOT_ONE_COLUMN, '?')
      // biome-ignore lint/suspicious/noControlCharactersInRegex: all that is not ASCII is looked for.
      .replace(/[^\u0000-\u007f]/g, (character) => ASCII_SPELLINGS[character] ?? '?'),
};

/** Whether the environment promises UTF-8, in the order in which POSIX lets one variable override another (8.2). */
export function isUtf8(environment: Readonly<Record<string, string | undefined>>): boolean {
  const locale = [environment.LC_ALL, environment.LC_CTYPE, environment.LANG].find(
    (value) => value !== undefined && value !== '',
  );
  return locale !== undefined && /utf-?8/i.test(locale);
}
