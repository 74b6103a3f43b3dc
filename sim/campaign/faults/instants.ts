/** When is a fault worth trying? Just before and just after each change of a mode, and at even spaces in between. */
import type { Column } from '../../trace/trace.ts';

const BESIDE_SECONDS = 1e-3;
/** Changes that follow each other this closely are one: the same pulse reaches one part after another. */
const TOGETHER_SECONDS = 10e-3;
/** A mode that changes more often than this does so with every conversion or frame; that is no event. */
const CHANGES_MOST = 60;
/** More instants than this are thinned out evenly. */
const INSTANTS_MOST = 32;

/** Rising, from a millisecond after the start to before the end, in whole microseconds as a file would have them. */
export function injectionSeconds(modes: readonly Column[], durationSeconds: number, spacedCount: number): number[] {
  const changes = modes
    .filter(({ length }) => length <= CHANGES_MOST)
    .flatMap((column) => [...column].slice(1).map(({ seconds }) => seconds))
    .filter((seconds) => seconds < durationSeconds)
    .sort((a, b) => a - b);
  const beside = changes.flatMap((seconds, place) => [
    ...(seconds - (changes[place - 1] ?? -1) > TOGETHER_SECONDS ? [seconds - BESIDE_SECONDS] : []),
    ...((changes[place + 1] ?? Number.POSITIVE_INFINITY) - seconds > TOGETHER_SECONDS
      ? [seconds + BESIDE_SECONDS]
      : []),
  ]);
  const spaced = Array.from({ length: spacedCount }, (_, index) => (durationSeconds * (index + 0.5)) / spacedCount);
  const wanted = [BESIDE_SECONDS, ...beside, ...spaced]
    .map((seconds) => Math.round(seconds * 1e6) / 1e6)
    .filter((seconds) => seconds >= BESIDE_SECONDS && seconds < durationSeconds);
  const apart = [...new Set(wanted)].sort((a, b) => a - b);
  if (apart.length <= INSTANTS_MOST) return apart;
  return Array.from(
    { length: INSTANTS_MOST },
    (_, index) => apart[Math.round((index * (apart.length - 1)) / (INSTANTS_MOST - 1))]!,
  );
}
