/** `jackstand measure`: what a capture of real signals says, as a table, a histogram and values for a bench. */
import { printable } from '../bench/print.ts';
import type { Statistics } from '../trace/measure.ts';
import { type MeasuredLevel, type MeasuredPulses, measureChannel } from '../trace/measure-capture.ts';
import { formatQuantity } from '../units/index.ts';
import { captureIn } from './capture-file.ts';
import { Exit } from './exit.ts';
import { tellProblems } from './problems.ts';
import type { Streams } from './streams.ts';

/** What is below this comes from the rounding of numbers, not from the capture. */
const FINEST_SECONDS = 1e-12;
const BINS = 12;
const BAR_COLUMNS = 40;

export async function measure(file: string, options: { readonly format?: string }, streams: Streams): Promise<number> {
  const capture = captureIn(file);
  if ('problem' in capture) {
    tellProblems([capture.problem], streams);
    return Exit.badInput;
  }
  const { channels, isTimed } = capture;
  const measured = channels.map((channel) => ({ name: printable(channel.name), ...measureChannel(channel, isTimed) }));
  streams.out(
    options.format === 'json'
      ? `${JSON.stringify({ file, channels: measured.map(({ name, ...numbers }) => ({ name, ...plain(numbers) })) }, null, 2)}\n`
      : measured
          .map(({ name, ...numbers }) =>
            numbers.kind === 'pulses' ? pulseText(name, numbers) : levelText(name, numbers),
          )
          .join('\n'),
  );
  return Exit.holds;
}

/** In base units; the single widths would be a second capture. */
function plain(numbers: MeasuredPulses | MeasuredLevel): object {
  if (numbers.kind === 'level') return numbers;
  const { widthSeconds: _, ...rest } = numbers;
  return rest;
}

function pulseText(name: string, { train, widthSeconds, droppedCount, longestGapSeconds }: MeasuredPulses): string {
  const { widthSeconds: width, periodSeconds: period, duty, jitterSeconds } = train;
  const time = (seconds: number): string =>
    formatQuantity(Math.abs(seconds) < FINEST_SECONDS ? 0 : seconds, 'time', { digits: 5 });
  const row = (label: string, of: Statistics | undefined): string =>
    of === undefined
      ? `  ${label.padEnd(8)} none`
      : `  ${label.padEnd(8)} ${of.count} seen: mean ${time(of.mean)}, least ${time(of.min)}, most ${time(of.max)}, deviation ${time(of.deviation)}`;
  return [
    `${name}: pulses`,
    row('width', width),
    row('period', period),
    ...(duty === undefined ? [] : [`  duty     ${formatQuantity(duty, 'ratio')}`]),
    ...(jitterSeconds === undefined ? [] : [`  jitter   ${time(jitterSeconds)} peak to peak`]),
    `  dropped  ${droppedCount} ${droppedCount === 1 ? 'frame' : 'frames'}; longest gap ${time(longestGapSeconds)}`,
    ...histogram(widthSeconds, time),
    ...(width === undefined ? [] : [`  as a bench value: ${tolerated(width, time)}`]),
    '',
  ].join('\n');
}

function levelText(name: string, { rest, full, noise, isWhole }: MeasuredLevel): string {
  const words = (value: number): string =>
    isWhole ? String(Number(value.toFixed(1))) : formatQuantity(value, 'voltage');
  const row = (label: string, of: Statistics): string =>
    `  ${label.padEnd(8)} mean ${words(of.mean)}, least ${words(of.min)}, most ${words(of.max)} (${of.count} samples)`;
  return [
    `${name}: ${isWhole ? 'counts' : 'volts'}`,
    row('rest', rest),
    full === undefined ? '  full     never left the rest' : row('full', full),
    `  noise    ${words(noise)} deviation`,
    isWhole
      ? `  as a bench value: input: [${Math.round(rest.mean)}, ${full === undefined ? '…' : Math.round(full.mean)}]`
      : `  as a bench value: { rest: ${tolerated(rest, words)}${full === undefined ? '' : `, full: ${tolerated(full, words)}`}, noise: ${words(noise)} }`,
    '',
  ].join('\n');
}

/** The middle of what was seen, with half its spread: everything seen lies inside. */
function tolerated({ min, max }: Statistics, words: (value: number) => string): string {
  const half = (max - min) / 2;
  return half <= 1e-9 * Math.abs(max) ? words(min) : `${words((min + max) / 2)} ± ${words(half)}`;
}

function histogram(numbers: Float64Array, words: (value: number) => string): string[] {
  const of = [...numbers].sort((a, b) => a - b);
  const [least, most] = [of[0], of.at(-1)];
  if (least === undefined || most === undefined || most - least < 1e-9) return [];
  const counts = new Array<number>(BINS).fill(0);
  for (const number of of) counts[Math.min(BINS - 1, Math.floor(((number - least) / (most - least)) * BINS))]! += 1;
  const tallest = Math.max(...counts);
  return counts.map((count, bin) => {
    const from = words(least + ((most - least) * bin) / BINS);
    return `  ${from.padStart(12)} ${'#'.repeat(Math.ceil((count / tallest) * BAR_COLUMNS)).padEnd(BAR_COLUMNS)} ${count}`;
  });
}
