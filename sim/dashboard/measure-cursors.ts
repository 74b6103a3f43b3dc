/** What a pair of cursors says of a recorded signal: difference, and width, period and duty of the pulses between. */
import { measureNumbers, measurePulses } from '../trace/measure.ts';
import { Column } from '../trace/trace.ts';
import { formatQuantity } from '../units/index.ts';
import { isLevelSignal, isStrip } from './scope.ts';

/** Short statements, the most wanted first. */
export function cursorWords(column: Column, oneSeconds: number, otherSeconds: number): string[] {
  const span = { fromSeconds: Math.min(oneSeconds, otherSeconds), untilSeconds: Math.max(oneSeconds, otherSeconds) };
  // A cursor that stands on an edge means that edge, though the stretch only begins there.
  const edges = { ...span, fromSeconds: span.fromSeconds - 1e-9 };
  const apart = span.untilSeconds - span.fromSeconds;
  const words = [
    `apart ${formatQuantity(apart, 'time')}${apart > 0 ? ` (${formatQuantity(1 / apart, 'frequency')})` : ''}`,
  ];
  const { signal } = column;
  if (isLevelSignal(signal)) return [...words, ...pulseWords(column, edges)];
  if (isStrip(signal)) {
    const word = (seconds: number): string => signal.modes?.[column.at(seconds)] ?? 'unknown';
    return [...words, `A ${word(oneSeconds)}`, `B ${word(otherSeconds)}`];
  }
  const value = (number: number): string => formatQuantity(number, signal.dimension);
  const [one, other] = [column.at(oneSeconds), column.at(otherSeconds)];
  words.push(`A ${value(one)}`, `B ${value(other)}`, `B - A ${value(other - one)}`);
  const numbers = measureNumbers(column, span);
  if (numbers !== undefined)
    words.push(`least ${value(numbers.min)}`, `most ${value(numbers.max)}`, `mean ${value(numbers.mean)}`);
  return words;
}

function pulseWords(column: Column, span: { readonly fromSeconds: number; readonly untilSeconds: number }): string[] {
  const { widthSeconds, periodSeconds, duty } = measurePulses(highOnly(column, span), span);
  const words: string[] = [];
  if (widthSeconds === undefined) words.push('no whole pulse between A and B');
  else {
    const { mean, min, max, count } = widthSeconds;
    const [least, most] = [formatQuantity(min, 'time'), formatQuantity(max, 'time')];
    const times = least === most ? '' : ` (${count}, ${least} to ${most})`;
    words.push(`width ${formatQuantity(mean, 'time')}${times}`);
  }
  if (periodSeconds !== undefined) words.push(`period ${formatQuantity(periodSeconds.mean, 'time')}`);
  if (duty !== undefined) words.push(`duty ${formatQuantity(duty, 'ratio')}`);
  return words;
}

/** The stretch as a plain level: what is neither high nor low counts as low. */
function highOnly(
  column: Column,
  { fromSeconds, untilSeconds }: { fromSeconds: number; untilSeconds: number },
): Column {
  const level = new Column({ ...column.signal, shape: 'held' });
  for (let index = Math.max(0, column.indexAt(fromSeconds)); index < column.length; index += 1) {
    if (column.secondsAt(index) > untilSeconds) break;
    level.append(column.secondsAt(index), column.valueAt(index) === 1 ? 1 : 0);
  }
  return level;
}

/** The instant of the next change of a signal after (or before) an instant; the instant itself where there is none. */
export function neighbouringChange(column: Column, seconds: number, direction: 1 | -1): number {
  const index = column.indexAt(seconds);
  if (direction > 0) return index + 1 < column.length ? column.secondsAt(index + 1) : seconds;
  const before = column.secondsAt(index) === seconds ? index - 1 : index;
  return before >= 0 ? column.secondsAt(before) : seconds;
}
