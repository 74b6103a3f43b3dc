/**
 * Captures of real signals: tables of a logic analyser, an oscilloscope or a serial log, and VCD files (IEEE 1364-2005,
 * clause 18); also what this tool writes. The columns come back with times in seconds and values as they stand in the file.
 */

export interface CapturedChannel {
  readonly name: string;
  readonly times: Float64Array;
  readonly values: Float64Array;
}

export interface Capture {
  readonly channels: readonly CapturedChannel[];
  /** False for a table without a time column: then `times` are sample numbers. */
  readonly isTimed: boolean;
}

/** Why a text is no capture, in one sentence, and where in it, from 1, if at a certain place. */
export interface NoCapture {
  readonly says: string;
  readonly line?: number;
  readonly column?: number;
}

/** The capture, or why the text is none. */
export function readCapture(text: string): Capture | NoCapture {
  return /^\s*\$/.test(text) ? readVcd(text) : readTable(text);
}

/** How many of each unit make a second. Times are divided by whole numbers, which rounds once; 1e-3 itself is already rounded. */
const PER_SECOND: Readonly<Record<string, number>> = {
  s: 1,
  ms: 1e3,
  us: 1e6,
  µs: 1e6,
  ns: 1e9,
  ps: 1e12,
  fs: 1e15,
};
/** Levels in words. A line that nothing drives is not high. */
const LEVEL_WORDS: ReadonlyMap<string, number> = new Map([
  ['low', 0],
  ['high', 1],
  ['floating', 0],
]);
const TIME_NAME = /time|^t\b|^x\b|second/i;
/** Instruments write some lines about themselves above their table. */
const MOST_LINES_ABOVE = 100;

interface Row {
  /** Line of the file, from 1. */
  readonly line: number;
  readonly text: string;
  readonly cells: readonly string[];
}

function readTable(text: string): Capture | NoCapture {
  const lines = text.split(/\r?\n/).map((line, index) => ({ line: index + 1, text: line }));
  const written = lines.filter((line) => line.text.trim() !== '');
  const cellsOf = splitterFor(written.map((line) => line.text));
  const rows = written.map((line): Row => ({ ...line, cells: cellsOf(line.text) }));
  const headed = rows
    .slice(0, MOST_LINES_ABOVE)
    .findIndex(
      ({ cells }) =>
        cells.length > 1 &&
        cells.some((cell) => TIME_NAME.test(cell)) &&
        !cells.some((cell) => valueIn(cell) !== undefined),
    );
  return headed === -1 ? plainTable(rows) : headedTable(rows[headed]!.cells, rows.slice(headed + 1));
}

/** Below a header that names the time: each row with a time counts, and each column with some values; words are none. */
function headedTable(header: readonly string[], below: readonly Row[]): Capture | NoCapture {
  const timeAt = header.findIndex((name) => TIME_NAME.test(name));
  const rows = below.filter(({ cells }) => cells.length === header.length && isNumber(cells[timeAt]!));
  if (rows.length === 0) return { says: 'no line below its header has a time' };
  const perSecond = perSecondOf(header[timeAt]!);
  const seconds = (row: Row): number => Number(row.cells[timeAt]) / perSecond;
  const back = rows.findIndex((row, index) => index > 0 && seconds(row) < seconds(rows[index - 1]!));
  if (back !== -1) return timesGoBack(rows[back]!, timeAt);
  const channels = header.flatMap((name, at): CapturedChannel[] => {
    const own = at === timeAt ? [] : rows.filter(({ cells }) => valueIn(cells[at]!) !== undefined);
    if (own.length === 0) return [];
    return [
      {
        name,
        times: Float64Array.from(own, seconds),
        values: Float64Array.from(own, ({ cells }) => valueIn(cells[at]!)!),
      },
    ];
  });
  return channels.length === 0 ? { says: 'it holds times, but no values' } : { channels, isTimed: true };
}

/** Without such a header: the lines that hold only numbers, as many as the first of them has. */
function plainTable(rows: readonly Row[]): Capture | NoCapture {
  const isNumeric = ({ cells }: Row): boolean => cells.length > 0 && cells.every(isNumber);
  const first = rows.findIndex(isNumeric);
  if (first === -1) return { says: 'no line of it holds only numbers' };
  const width = rows[first]!.cells.length;
  const header = first > 0 && rows[first - 1]!.cells.length === width ? rows[first - 1]!.cells : undefined;
  // A log that was cut off in its last line, or a remark in between, spoils only that line.
  const kept = rows.slice(first).filter((row) => row.cells.length === width && isNumeric(row));
  const numberIn = (row: Row, at: number): number => Number(row.cells[at]);
  const named = header?.findIndex((name) => TIME_NAME.test(name)) ?? -1;
  const fallsBack = (at: number): number =>
    kept.findIndex((row, index) => index > 0 && numberIn(row, at) < numberIn(kept[index - 1]!, at));
  const timeAt = named >= 0 ? named : width > 1 && kept.length > 1 && fallsBack(0) === -1 ? 0 : -1;
  const back = timeAt < 0 ? -1 : fallsBack(timeAt);
  if (back !== -1) return timesGoBack(kept[back]!, timeAt);
  const perSecond = timeAt < 0 ? 1 : perSecondOf(header?.[timeAt] ?? '');
  const times = Float64Array.from(kept, (row, index) => (timeAt < 0 ? index : numberIn(row, timeAt) / perSecond));
  const channels = Array.from({ length: width }, (_, at) => at)
    .filter((at) => at !== timeAt)
    .map((at) => ({
      name: header?.[at] ?? (width - (timeAt < 0 ? 0 : 1) === 1 ? 'signal' : `column ${at + 1}`),
      times,
      values: Float64Array.from(kept, (row) => numberIn(row, at)),
    }));
  return channels.length === 0 ? { says: 'it holds times, but no values' } : { channels, isTimed: timeAt >= 0 };
}

function timesGoBack({ line, text, cells }: Row, at: number): NoCapture {
  // Where the cell stands in its line: cells before it are passed over, as one may be written in another.
  let from = 0;
  for (const cell of cells.slice(0, at)) from = text.indexOf(cell, from) + cell.length;
  return { says: 'its times go back', line, column: Math.max(0, text.indexOf(cells[at]!, from)) + 1 };
}

function isNumber(cell: string): boolean {
  return cell !== '' && Number.isFinite(Number(cell));
}

function valueIn(cell: string): number | undefined {
  return isNumber(cell) ? Number(cell) : LEVEL_WORDS.get(cell);
}

/** By the separator that the most lines have; with semicolons or tabs a comma is a decimal point. */
function splitterFor(lines: readonly string[]): (line: string) => string[] {
  const sample = lines.slice(0, 200);
  const has = (separator: string): boolean =>
    sample.filter((line) => line.includes(separator)).length > sample.length / 2;
  const separator = [';', '\t', ','].find(has);
  return (line) =>
    (separator === undefined ? line.trim().split(/\s+/) : line.split(separator)).map((cell) => {
      const bare = cell
        .trim()
        .replace(/^"(.*)"$/, '$1')
        .trim();
      return separator !== ',' && /^[-+\d,.eE]+$/.test(bare) ? bare.replace(',', '.') : bare;
    });
}

/** From the unit in a header such as `Time [ms]`, `time (us)` or `t_ns`; seconds if there is none. */
function perSecondOf(header: string): number {
  const unit = /[\s([_](fs|ps|ns|us|µs|ms|s)[\])]?$/.exec(header.trim())?.[1];
  return unit === undefined ? 1 : PER_SECOND[unit]!;
}

function readVcd(text: string): Capture | NoCapture {
  const timescale = /\$timescale\s+(1|10|100)\s*([munpf]?s)\s+\$end/.exec(text);
  if (timescale === null) return { says: 'it has no $timescale' };
  const ticksPerSecond = PER_SECOND[timescale[2]!]! / Number(timescale[1]);
  const tokens = text.matchAll(/\S+/g);
  const next = (): string => (tokens.next().value as RegExpExecArray | undefined)?.[0] ?? '';
  const names = namesIn(next);
  const found = new Map([...names.keys()].map((code) => [code, { times: [] as number[], values: [] as number[] }]));
  let seconds = 0;
  const put = (code: string, value: number | undefined): void => {
    const channel = found.get(code);
    // Unknown levels are no samples, nor are numbers beyond all numbers, nor words.
    if (channel === undefined || value === undefined || !Number.isFinite(value)) return;
    channel.times.push(seconds);
    channel.values.push(value);
  };
  for (const token of tokens) {
    const [word] = token;
    if (word.startsWith('#')) {
      const at = Number(word.slice(1)) / ticksPerSecond;
      if (!(at >= seconds)) return { says: 'its times go back', ...placeOf(text, token.index) };
      seconds = at;
    } else if (/^[01xXzZ]\S+$/.test(word)) {
      // A line that nothing drives is not high, here as in words.
      put(word.slice(1), /^[zZ]/.test(word) ? 0 : Number(word[0]));
    } else if (/^[rR]/.test(word)) put(next(), Number(word.slice(1)));
    else if (/^[bB]/.test(word)) put(next(), Number(`0b${word.slice(1)}`));
    // Words, an extension of the standard that this tool writes too.
    else if (/^[sS]/.test(word)) put(next(), LEVEL_WORDS.get(word.slice(1)));
  }
  const channels = [...found].flatMap(([code, { times, values }]) =>
    values.length === 0
      ? []
      : [{ name: names.get(code)!, times: Float64Array.from(times), values: Float64Array.from(values) }],
  );
  return channels.length === 0 ? { says: 'no signal in it ever has a value' } : { channels, isTimed: true };
}

/** The declarations: full names by identifier code. */
function namesIn(next: () => string): Map<string, string> {
  const names = new Map<string, string>();
  const scope: string[] = [];
  for (let word = next(); word !== '' && word !== '$enddefinitions'; word = next()) {
    if (word === '$scope') {
      next();
      scope.push(next());
    } else if (word === '$upscope') scope.pop();
    else if (word === '$var') {
      // $var, type, bits, code, name
      next();
      next();
      const code = next();
      names.set(code, [...scope, next()].join('.'));
    }
  }
  return names;
}

function placeOf(text: string, offset: number): { line: number; column: number } {
  const before = text.slice(0, offset).split('\n');
  return { line: before.length, column: before.at(-1)!.length + 1 };
}
