/**
 * A capture in place of a part's own physics: the keys that a bench file says it with, and what is taken from the file
 * when the bench is loaded.
 *
 *     instant on the bench = instant in the capture - its first sample's instant + offset
 */
import { z } from 'zod';
import { chosenChannel, firstSeconds, moved, onPaper, voltsPerUnit } from '../sim/capture/choose.ts';
import { type CapturedPulses, edgesOf, pulsesBetween } from '../sim/capture/edges.ts';
import { type Capture, type CapturedChannel, readCapture } from '../sim/capture/read-capture.ts';
import type { FileMistake, FilesTaken } from '../sim/kernel/part.ts';
import { isQuantity, seconds, volts } from '../sim/units/index.ts';

export const REPLAY_KEYS = ['replay'] as const;

/** Keys of every part that a capture can drive. */
export const replayShape = {
  replay: z
    .string()
    .min(1)
    .max(1000)
    .optional()
    .describe(
      'capture (CSV, VCD, log) that drives the bench in place of this part, as seen from the file that names it',
    )
    .meta({ examples: ['captures/receiver.csv'] }),
  column: z
    .string()
    .min(1)
    .max(200)
    .optional()
    .describe('which column of the capture, where it has several')
    .meta({ examples: ['CH1'] }),
  offset: seconds({
    min: -1e6,
    max: 1e6,
    means: "instant on the bench at which the capture's first sample stands; 0 s if not given",
    example: '0.5 s',
  }).optional(),
};

/** Keys of a part that replays volts. */
export const voltsShape = {
  ...replayShape,
  every: seconds({
    above: 0,
    max: 100,
    means: 'time from sample to sample, where the capture is a log without times',
    example: '10 ms',
  }).optional(),
  count: volts({
    above: 0,
    max: 10,
    means: 'voltage of one count, where the capture holds counts of a converter',
    example: '4.888 mV',
  }).optional(),
};

/** A line that runs straight between samples. Times are counted from the first sample, or are sample numbers. */
export interface CapturedLine {
  readonly times: Float64Array;
  readonly values: Float64Array;
  readonly isTimed: boolean;
  /** Volts for one of the file's units. */
  readonly perUnit: number;
}

/** What a capture adds to the parameters; functions, as trees of parameters are copied for each run. */
export interface Replayed<T> {
  readonly replay?: string | undefined;
  readonly offset?: number | undefined;
  readonly captured?: () => T;
}

/** A sensor gives no more than this; whole numbers beyond it are counts. */
const MOST_VOLTS = 30;

type Given = Readonly<Record<string, unknown>>;

export function takePulses(given: Given, contents: ReadonlyMap<string, Uint8Array>): FilesTaken {
  return taken(given, contents, ['column', 'offset'], ({ capture, channel }) => {
    if (!capture.isTimed) return refused('it has no column of times, so it says nothing of pulses');
    const edges = edgesOf(channel);
    const { riseSeconds, fallSeconds } = edges === undefined ? NO_PULSES : pulsesBetween(edges);
    if (riseSeconds.length === 0) return refused(`its column ${channel.name} has no whole pulse`);
    const first = firstSeconds(capture);
    const pulses = { riseSeconds: moved(riseSeconds, -first), fallSeconds: moved(fallSeconds, -first) };
    return { captured: () => pulses };
  });
}

const NO_PULSES: CapturedPulses = { riseSeconds: new Float64Array(0), fallSeconds: new Float64Array(0) };

export function takeVolts(given: Given, contents: ReadonlyMap<string, Uint8Array>): FilesTaken {
  return taken(given, contents, ['column', 'offset', 'every', 'count'], ({ capture, channel }) => {
    if (!capture.isTimed && !isQuantity(given.every))
      return refused('it has no column of times; say with `every` how long it is from sample to sample');
    if (capture.isTimed && isQuantity(given.every)) return refused('it has times of its own', 'every');
    const isCounts = isQuantity(given.count);
    const most = channel.values.reduce((greatest, value) => Math.max(greatest, Math.abs(value)), 0);
    const perUnit = voltsPerUnit(channel.name);
    if (!isCounts && most * perUnit > MOST_VOLTS)
      return refused(
        `its column ${channel.name} goes to ${most}, which are no volts of a sensor; if they are counts, say with \`count\` what one is worth`,
      );
    const line: CapturedLine = {
      times: capture.isTimed ? moved(channel.times, -firstSeconds(capture)) : channel.times,
      values: channel.values,
      isTimed: capture.isTimed,
      perUnit,
    };
    return { captured: () => line };
  });
}

type Made = { readonly captured: () => unknown } | { readonly says: string; readonly key?: string };
const refused = (says: string, key?: string): Made => ({ says, ...(key === undefined ? {} : { key }) });

function taken(
  given: Given,
  contents: ReadonlyMap<string, Uint8Array>,
  keys: readonly string[],
  make: (of: { readonly capture: Capture; readonly channel: CapturedChannel }) => Made,
): FilesTaken {
  const mistake = (says: string, key = 'replay', at?: string): FilesTaken => {
    const one: FileMistake = { key, says, ...(at === undefined ? {} : { at }) };
    return { parameters: given, mistakes: [one] };
  };
  if (given.replay === undefined) {
    const idle = keys.find((key) => given[key] !== undefined);
    return idle === undefined
      ? { parameters: given, mistakes: [] }
      : mistake('it has a meaning beside `replay` only', idle);
  }
  const capture = readCapture(new TextDecoder().decode(contents.get('replay')));
  if ('says' in capture)
    return mistake(
      `this is no capture: ${capture.says}`,
      'replay',
      capture.line === undefined ? undefined : `line ${capture.line}, column ${capture.column}`,
    );
  const column = given.column as string | undefined;
  const channel = chosenChannel(capture, column);
  if ('says' in channel) return mistake(channel.says, column === undefined ? 'replay' : 'column');
  const made = make({ capture, channel });
  return 'says' in made ? mistake(made.says, made.key) : { parameters: { ...given, ...made }, mistakes: [] };
}

/** The line on the bench: instants moved by the offset, values in volts. A count stands for the middle of its step. */
export function benchLine(
  { times, values, isTimed, perUnit }: CapturedLine,
  offsetSeconds: number,
  everySeconds: number | undefined,
  countVolts: number | undefined,
): { readonly times: Float64Array; readonly volts: Float64Array } {
  const counted = isTimed ? times : times.map((index) => onPaper(index * everySeconds!));
  return {
    times: moved(counted, offsetSeconds),
    volts: values.map((value) => (countVolts === undefined ? value * perUnit : (value + 0.5) * countVolts)),
  };
}

/** Index of the last sample at or before an instant; -1 before the first. */
export function sampleAt(times: Float64Array, seconds: number): number {
  let [low, high] = [0, times.length];
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (times[middle]! <= seconds) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** Value of the line at an instant: the first sample's before it, the last one's after it. */
export function lineAt(times: Float64Array, values: Float64Array, seconds: number): number {
  const index = sampleAt(times, seconds);
  if (index < 0) return values[0]!;
  if (index + 1 >= times.length) return values[index]!;
  const [start, end] = [times[index]!, times[index + 1]!];
  return values[index]! + (values[index + 1]! - values[index]!) * ((seconds - start) / (end - start));
}
