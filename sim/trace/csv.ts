/**
 * A trace as CSV (RFC 4180: header line, comma, CRLF, quotes doubled), one column a signal, one row an instant at which
 * any of the signals has a sample.
 *
 * The header names the unit, always the base unit, so that numbers come back to the last bit. A row holds what every
 * signal is at that instant: the kept value of a held one, the value on the line of a linear one, the word of a mode;
 * a field is empty before the signal's first sample. Where a linear signal steps, the instant has two rows, before and
 * after the step.
 */
import { unitFor } from '../units/index.ts';
import { ColumnWalk } from './merge.ts';
import type { SignalInfo } from './signal.ts';
import type { Column } from './trace.ts';

const CHUNK_LENGTH = 1 << 16;

/** The text in chunks of about 64 KiB. */
export function* csvOf(columns: readonly Column[]): Generator<string> {
  let chunk = `${['time (s)', ...columns.map(({ signal }) => headerOf(signal))].map(field).join(',')}\r\n`;
  const words = columns.map(({ signal }) => signal.modes?.map(field));
  const walk = new ColumnWalk(columns);
  while (walk.next()) {
    const { seconds } = walk;
    if (columns.some((column, index) => steps(column, walk.before[index]!, walk.at[index]!))) {
      chunk += row(seconds, columns, words, (column) => column.before(seconds));
    }
    chunk += row(seconds, columns, words, (column, index) => column.valueFrom(walk.at[index]!, seconds));
    if (chunk.length >= CHUNK_LENGTH) {
      yield chunk;
      chunk = '';
    }
  }
  yield chunk;
}

function headerOf(signal: SignalInfo): string {
  if (signal.modes) return signal.name;
  const unit = signal.dimension === 'time' ? 's' : unitFor(signal.dimension).unit;
  return unit === '1' ? signal.name : `${signal.name} (${unit})`;
}

/** Whether a linear signal has two samples at the instant that the walk has just reached. */
function steps(column: Column, before: number, at: number): boolean {
  return column.signal.shape === 'linear' && at - before === 2;
}

function row(
  seconds: number,
  columns: readonly Column[],
  words: readonly (readonly string[] | undefined)[],
  readAt: (column: Column, index: number) => number,
): string {
  let text = String(seconds);
  for (let index = 0; index < columns.length; index += 1) {
    const value = readAt(columns[index]!, index);
    text += ',';
    if (words[index]) text += words[index]![value] ?? '';
    else if (!Number.isNaN(value)) text += value;
  }
  return `${text}\r\n`;
}

function field(text: string): string {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
