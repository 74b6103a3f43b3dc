/** A captured voltage in place of a pedal's sensor: what it is at an instant, and the travel that it tells. */
import type { Host } from '../sim/kernel/part.ts';
import { benchLine, type CapturedLine, lineAt, sampleAt } from './replay.ts';

/** How close together travel is told: as a recorder looks at what flows. */
const TOLD_SECONDS = 1e-3;

/** What a bench file says of a replayed pedal, settled. */
export interface ReplayNumbers {
  readonly rest: number;
  readonly full: number;
  readonly offset?: number | undefined;
  readonly every?: number | undefined;
  readonly count?: number | undefined;
}

export interface PedalReplay {
  /** Captured voltage at the present instant, not yet within the supply. */
  readonly volts: () => number;
  readonly travel: () => number;
  /** Publishes travel, and wakes to do so again. Once, at the start. */
  readonly start: () => void;
}

/** Travel of 0 to 1 that a voltage tells. */
export function travelTold(signal: number, restVolts: number, fullVolts: number): number {
  return Math.min(Math.max((signal - restVolts) / (fullVolts - restVolts), 0), 1);
}

/** Nothing is remembered but when its timer is due: all else follows from the present instant. */
export function makeReplay(host: Host, line: CapturedLine, numbers: ReplayNumbers): PedalReplay {
  const { now, out } = host;
  const { times, volts } = benchLine(line, numbers.offset ?? 0, numbers.every, numbers.count);
  const voltsNow = (): number => lineAt(times, volts, now[0]!);
  const travelOf = (signal: number): number => travelTold(signal, numbers.rest, numbers.full);

  /** Travel runs straight from one publication to the next: these are at the capture's samples, a thousand a second at most. */
  const tell = (): void => {
    const last = sampleAt(times, now[0]!);
    // A step is two samples at one instant: the one before it ends the line.
    let first = last;
    while (first > 0 && times[first - 1] === now[0]!) first -= 1;
    if (first < last) host.emit(out.travel!, travelOf(volts[first]!));
    host.emit(out.travel!, travelOf(voltsNow()));
    let next = last + 1;
    while (next + 1 < times.length && times[next + 1]! <= now[0]! + TOLD_SECONDS) next += 1;
    if (next < times.length) host.wake(timer, times[next]!);
  };
  const timer = host.timer(tell);
  return { volts: voltsNow, travel: () => travelOf(voltsNow()), start: tell };
}
