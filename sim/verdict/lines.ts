/**
 * A recorded signal as lines over a span of the run: breakpoint, value there, value just before the next breakpoint.
 * Hot path; see test/speed/trace.bench.ts.
 */
import type { Column } from '../trace/trace.ts';

/** Line `k` goes from `starts[k]` at `times[k]` to `ends[k]` at `times[k + 1]`; the last entry is the end of the span. */
export interface Lines {
  readonly length: number;
  readonly times: Float64Array;
  readonly starts: Float64Array;
  readonly ends: Float64Array;
}

/** The lines of a signal from one instant to another. NaN before the signal's first sample. */
export function linesOf(column: Column, fromSeconds: number, toSeconds: number): Lines {
  const first = column.indexAt(fromSeconds);
  const last = column.indexAt(toSeconds);
  const times = new Float64Array(last - first + 2);
  const starts = new Float64Array(times.length);
  const ends = new Float64Array(times.length);
  const isHeld = column.signal.shape === 'held';
  let length = 0;
  let seconds = fromSeconds;
  for (let index = first; index <= last && seconds < toSeconds; index += 1) {
    const next = index < last ? column.secondsAt(index + 1) : toSeconds;
    // Two samples at one instant are a step: no line lies between them.
    if (next <= seconds) continue;
    const start = column.valueFrom(index, seconds);
    times[length] = seconds;
    starts[length] = start;
    ends[length] = isHeld ? start : column.valueFrom(index, next);
    length += 1;
    seconds = next;
  }
  times[length] = toSeconds;
  starts[length] = column.at(toSeconds);
  ends[length] = starts[length]!;
  return { length: length + 1, times, starts, ends };
}

/** The first less the second. Two equal infinities differ by 0. */
export function difference(one: Lines, other: Lines): Lines {
  const most = one.length + other.length;
  const [times, starts, ends] = [new Float64Array(most), new Float64Array(most), new Float64Array(most)];
  let [length, i, j] = [0, 0, 0];
  let seconds = one.times[0]!;
  for (;;) {
    while (i + 1 < one.length && one.times[i + 1]! <= seconds) i += 1;
    while (j + 1 < other.length && other.times[j + 1]! <= seconds) j += 1;
    times[length] = seconds;
    starts[length] = less(valueIn(one, i, seconds), valueIn(other, j, seconds));
    ends[length] = starts[length]!;
    length += 1;
    if (i + 1 >= one.length) return { length, times, starts, ends };
    const next = Math.min(one.times[i + 1]!, other.times[j + 1]!);
    ends[length - 1] = less(valueIn(one, i, next), valueIn(other, j, next));
    seconds = next;
  }
}

/** The value of line `index` at an instant of it, its end included. */
export function valueIn(lines: Lines, index: number, seconds: number): number {
  const start = lines.starts[index]!;
  const end = lines.ends[index]!;
  if (start === end || seconds === lines.times[index]) return start;
  const [from, to] = [lines.times[index]!, lines.times[index + 1]!];
  return seconds === to ? end : start + (end - start) * ((seconds - from) / (to - from));
}

function less(one: number, other: number): number {
  return one === other ? 0 : one - other;
}
