/**
 * Captures of real signals: tables of a logic analyser, an oscilloscope or a serial log, and VCD files (IEEE 1364-2005,
 * clause 18). The columns come back with times in seconds and values as they stand in the file.
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

/** The capture, or in one sentence why the text is none. */
export function readCapture(text: string): Capture | { readonly says: string } {
  return /^\s*\$/.test(text) ? readVcd(text) : readTable(text);
}

const TIME_UNITS: Readonly<Record<string, number>> = {
  s: 1,
  ms: 1e-3,
  us: 1e-6,
  µs: 1e-6,
  ns: 1e-9,
  ps: 1e-12,
  fs: 1e-15,
};

function readTable(text: string): Capture | { readonly says: string } {
  const lines = text.split(/\r?\n/).filter((line) => line.trim() !== '');
  const cellsOf = splitterFor(lines);
  const rows = lines.map(cellsOf);
  const numbers = rows.map((cells) => cells.map(Number));
  const isNumeric = (index: number): boolean =>
    rows[index]!.length > 0 && numbers[index]!.every((value, at) => rows[index]![at] !== '' && Number.isFinite(value));
  const first = rows.findIndex((_, index) => isNumeric(index));
  if (first === -1) return { says: 'no line of it holds only numbers' };
  const width = rows[first]!.length;
  const header = first > 0 && rows[first - 1]!.length === width ? rows[first - 1]! : undefined;
  // A log that was cut off in its last line, or a remark in between, spoils only that line.
  const kept = numbers.filter((cells, index) => index >= first && cells.length === width && isNumeric(index));
  const named = header?.findIndex((name) => /time|^t\b|^x\b|second/i.test(name)) ?? -1;
  const rises = (at: number): boolean =>
    kept.length > 1 && kept.every((cells, row) => row === 0 || cells[at]! >= kept[row - 1]![at]!);
  const timeAt = named >= 0 ? named : width > 1 && rises(0) ? 0 : -1;
  if (timeAt >= 0 && !rises(timeAt)) return { says: 'its times go back' };
  const scale = timeAt < 0 ? 1 : timeScaleOf(header?.[timeAt] ?? '');
  const times = Float64Array.from(kept, (cells, row) => (timeAt < 0 ? row : cells[timeAt]! * scale));
  const channels = Array.from({ length: width }, (_, at) => at)
    .filter((at) => at !== timeAt)
    .map((at) => ({
      name: header?.[at] ?? (width - (timeAt < 0 ? 0 : 1) === 1 ? 'signal' : `column ${at + 1}`),
      times,
      values: Float64Array.from(kept, (cells) => cells[at]!),
    }));
  return channels.length === 0 ? { says: 'it holds times, but no values' } : { channels, isTimed: timeAt >= 0 };
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
function timeScaleOf(header: string): number {
  const unit = /[\s([_](fs|ps|ns|us|µs|ms|s)[\])]?$/.exec(header.trim())?.[1];
  return unit === undefined ? 1 : TIME_UNITS[unit]!;
}

function readVcd(text: string): Capture | { readonly says: string } {
  const timescale = /\$timescale\s+(1|10|100)\s*([munpf]?s)\s+\$end/.exec(text);
  if (timescale === null) return { says: 'it has no $timescale' };
  const tick = Number(timescale[1]) * TIME_UNITS[timescale[2]!]!;
  const words = text.split(/\s+/);
  const names = new Map<string, string>();
  const scope: string[] = [];
  let start = 0;
  for (; start < words.length && words[start] !== '$enddefinitions'; start += 1) {
    if (words[start] === '$scope') scope.push(words[start + 2] ?? '');
    else if (words[start] === '$upscope') scope.pop();
    // $var, type, bits, code, name
    else if (words[start] === '$var') names.set(words[start + 3] ?? '', [...scope, words[start + 4] ?? ''].join('.'));
  }
  const found = new Map([...names.keys()].map((code) => [code, { times: [] as number[], values: [] as number[] }]));
  let seconds = 0;
  const put = (code: string, value: number): void => {
    const channel = found.get(code);
    // Unknown and high-impedance levels are no samples, nor are numbers beyond all numbers.
    if (channel === undefined || !Number.isFinite(value)) return;
    channel.times.push(seconds);
    channel.values.push(value);
  };
  for (let index = start; index < words.length; index += 1) {
    const word = words[index]!;
    if (word.startsWith('#')) seconds = Number(word.slice(1)) * tick;
    else if (/^[01xXzZ]\S+$/.test(word)) put(word.slice(1), Number(word[0]));
    else if (/^[rR]/.test(word)) put(words[++index] ?? '', Number(word.slice(1)));
    else if (/^[bB]/.test(word)) put(words[++index] ?? '', Number(`0b${word.slice(1)}`));
  }
  const channels = [...found].flatMap(([code, { times, values }]) =>
    values.length === 0
      ? []
      : [{ name: names.get(code)!, times: Float64Array.from(times), values: Float64Array.from(values) }],
  );
  return channels.length === 0 ? { says: 'no signal in it ever has a value' } : { channels, isTimed: true };
}
