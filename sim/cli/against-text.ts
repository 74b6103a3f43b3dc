/** A simulated and a recorded pulse train beside each other, for people: numbers, where they part, and a small picture. */
import { printable } from '../bench/print.ts';
import type { Against } from '../report/checks.ts';
import { type Comparison, type Difference, differenceOf, type Parting, type Train } from '../trace/against.ts';
import { formatQuantity } from '../units/index.ts';
import { paintFor } from './streams.ts';
import type { Look } from './verdict-text.ts';
import { wrapped } from './wrap.ts';

const MARGIN = ' '.repeat(7);

/** Differences are recorded less simulated. What lies below a nanosecond is rounding. */
const signed = (seconds: number): string => formatQuantity(Math.round(seconds * 1e9) / 1e9, 'time', { signed: true });
const time = (seconds: number): string => formatQuantity(Math.round(seconds * 1e9) / 1e9, 'time');
const instant = (seconds: number): string => formatQuantity(seconds, 'time', { digits: 5 });

export function againstText(
  { file, column, signal, comparison }: Against,
  trains: readonly [Train, Train],
  look: Look,
): string {
  const paint = paintFor(look);
  const { holds, first, alignment, shiftSeconds, frameCount, beyondCount, toleranceSeconds, offset } = comparison;
  const verdict = holds ? 'agrees' : 'PARTS';
  const head = wrapped(`${signal} and ${printable(column)} of ${printable(file)}`, `${verdict}  `, look.columns);
  const lines = [
    ...head.map((line) => line.replace(verdict, (holds ? paint.good : paint.bad)(paint.strong(verdict)))),
    ...told(
      [
        alignment === 'none'
          ? 'as they stand: not aligned'
          : `aligned by the ${alignment === 'best-shift' ? 'best shift' : 'first edge'}: recorded instants less ${instant(shiftSeconds)}`,
        `${frameCount} frames in both${aloneWords(comparison)}`,
        `width   ${differenceWords(comparison.width)}`,
        `period  ${differenceWords(comparison.period)}`,
        `rises   recorded later by ${signed(offset.meanSeconds)} on average, ${signed(offset.firstSeconds)} at the first frame, ${signed(offset.lastSeconds)} at the last`,
        `${beyondCount} ${beyondCount === 1 ? 'frame' : 'frames'} beyond ± ${time(toleranceSeconds)}${first === undefined ? '' : `; they part at ${instant(first.seconds)}: ${partingWords(first)}`}`,
      ],
      look,
    ),
    ...picture(comparison, trains, look),
  ];
  return `${lines.join('\n')}\n`;
}

function told(texts: readonly string[], look: Look): string[] {
  return texts.flatMap((text) => wrapped(text, MARGIN, look.columns));
}

function aloneWords({ onlySimulatedCount, onlyRecordedCount }: Comparison): string {
  return `, ${onlySimulatedCount} simulated only, ${onlyRecordedCount} recorded only`;
}

function differenceWords({ meanSeconds, largest }: Difference): string {
  if (largest === undefined) return 'none to compare';
  return `recorded less simulated ${signed(meanSeconds)} on average, at most ${signed(differenceOf(largest))} (${time(largest.simulatedSeconds)} simulated, ${time(largest.recordedSeconds)} recorded, frame ${largest.frame} at ${instant(largest.seconds)})`;
}

function partingWords({ what, point }: Parting): string {
  if (point === undefined) return `a frame that is ${what === 'only-simulated' ? 'simulated' : 'recorded'} only`;
  return `frame ${point.frame}, ${what} ${time(point.simulatedSeconds)} simulated, ${time(point.recordedSeconds)} recorded`;
}

const ROWS = 8;
const MOST_COLUMNS = 64;
const LABEL_COLUMNS = 11;
/** Below this a difference of widths is not drawn larger than it is. */
const LEAST_SPAN_SECONDS = 20e-6;

/** Widths over the time that both have: `o` simulated, `x` recorded, `#` both; a mark below where they part. */
function picture(
  { shiftSeconds, first }: Comparison,
  [simulated, recorded]: readonly [Train, Train],
  look: Look,
): string[] {
  const from = Math.max(simulated.riseSeconds[0]!, recorded.riseSeconds[0]! - shiftSeconds);
  const until = Math.min(simulated.fallSeconds.at(-1)!, recorded.fallSeconds.at(-1)! - shiftSeconds);
  if (!(until > from)) return [];
  const columns = Math.max(20, Math.min(MOST_COLUMNS, (look.columns ?? 80) - LABEL_COLUMNS - 3));
  const points = (train: Train, shift: number): (readonly [number, number])[] =>
    [...train.riseSeconds].flatMap((rise, index) =>
      rise - shift >= from && train.fallSeconds[index]! - shift <= until + 1e-9
        ? [[rise - shift, train.fallSeconds[index]! - rise] as const]
        : [],
    );
  const both = [points(simulated, 0), points(recorded, shiftSeconds)] as const;
  const widths = both.flat().map(([, width]) => width);
  const middle = (Math.min(...widths) + Math.max(...widths)) / 2;
  const span = Math.max(LEAST_SPAN_SECONDS, Math.max(...widths) - Math.min(...widths));
  const columnAt = (seconds: number): number =>
    Math.min(columns - 1, Math.max(0, Math.floor(((seconds - from) / (until - from)) * columns)));
  const rowAt = (width: number): number => Math.round(((middle + span / 2 - width) / span) * (ROWS - 1));
  const cells = Array.from({ length: ROWS }, () => new Array<number>(columns).fill(0));
  both.forEach((list, index) => {
    for (const [seconds, width] of list) cells[rowAt(width)]![columnAt(seconds)]! |= 1 << index;
  });
  const label = (row: number): string =>
    row === 0 || row === ROWS - 1 ? time(middle + span / 2 - (span * row) / (ROWS - 1)) : '';
  const axis = `${instant(from)}${instant(until).padStart(columns - instant(from).length)}`;
  const mark =
    first === undefined || first.seconds < from || first.seconds > until
      ? []
      : [`${' '.repeat(LABEL_COLUMNS + 2 + columnAt(first.seconds))}^ they part`];
  return [
    '',
    ...cells.map(
      (row, index) =>
        `${label(index).padStart(LABEL_COLUMNS)} |${row
          .map((cell) => ' ox#'[cell])
          .join('')
          .trimEnd()}`,
    ),
    ...mark,
    `${' '.repeat(LABEL_COLUMNS + 2)}${axis}`,
    `${' '.repeat(LABEL_COLUMNS + 2)}o simulated  x recorded  # both; width of each pulse`,
  ];
}
