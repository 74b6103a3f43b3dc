/** Which channel of a capture is meant, and where its samples lie in time. */
import type { Capture, CapturedChannel } from './read-capture.ts';

/** The channel with this name, with or without the unit behind it; without a name the only one there is. */
export function chosenChannel(capture: Capture, name: string | undefined): CapturedChannel | { readonly says: string } {
  const { channels } = capture;
  const listed = channels.map((channel) => channel.name).join(', ');
  if (name === undefined)
    return channels.length === 1 ? channels[0]! : { says: `it has several columns; name one of them: ${listed}` };
  const found =
    channels.find((channel) => channel.name === name) ?? channels.find((channel) => bareName(channel.name) === name);
  return found ?? { says: `it has no column of that name; it has: ${listed}` };
}

/** `pedal.signal (V)` is `pedal.signal`. */
export function bareName(name: string): string {
  return name.replace(/\s*[([][^()[\]]*[)\]]$/, '');
}

/** Volts of one unit in which a channel's values are given by its name, `CH1 (mV)`; 1 where it names none. */
export function voltsPerUnit(name: string): number {
  const unit = /[([](uV|µV|mV|V|kV)[)\]]$/.exec(name)?.[1];
  return unit === undefined ? 1 : { uV: 1e-6, µV: 1e-6, mV: 1e-3, V: 1, kV: 1e3 }[unit]!;
}

/** The first instant at which any of its channels has a sample: instants of all of them are counted from there. */
export function firstSeconds({ channels }: Capture): number {
  return Math.min(...channels.map(({ times }) => times[0]!));
}

/**
 * Instants moved by a number of seconds. The sum is rounded to a picosecond (to a nanosecond beyond two hours), so that
 * instants that are equal on paper stay equal.
 */
export function moved(instants: Float64Array, bySeconds: number): Float64Array {
  return bySeconds === 0 ? instants : instants.map((seconds) => onPaper(seconds + bySeconds));
}

/** The decimal number of at most twelve places that a sum or difference of such numbers stands for. */
export function onPaper(seconds: number): number {
  const places = Math.abs(seconds) < 8000 ? 1e12 : 1e9;
  return Math.round(seconds * places) / places;
}
