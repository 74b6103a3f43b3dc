/**
 * Runs of one bench under many scripts that begin alike. On its way a run leaves snapshots, each with what had been
 * recorded by then; a later run whose script is the same up to one of them goes on from there. To the last bit it gives
 * what a run from the start gives, so that nothing depends on which runs came before.
 */
import { type Act, type Assembly, assemble, rescript, type SettledPart } from '../../bench/assemble.ts';
import { NumericalBlowUp } from '../../kernel/continuum.ts';
import type { Snapshot } from '../../kernel/kernel.ts';
import { GRID_PER_SECOND, type RecordedPast, type Recorder, record } from '../../trace/record.ts';
import type { Trace } from '../../trace/trace.ts';

/** Something that happens in one run beside what happens in all of them. */
export interface ForkStep {
  readonly seconds: number;
  /** Equal for steps that do the same at the same instant. */
  readonly key: string;
  readonly acts: readonly Act[];
}

export interface Ran {
  readonly trace: Trace;
  /** How often each transition of each chart was taken, with the rank of its part. */
  readonly taken: readonly Taken[];
  readonly digest: string;
}

export interface Taken {
  readonly rank: number;
  readonly counts: Uint32Array;
}

export interface Forks {
  /** `steps` sorted by time. What it gives holds until the next run. */
  run(steps: readonly ForkStep[], untilSeconds: number): Ran;
  /** False makes every run begin at the start: for comparison. */
  isForking: boolean;
}

/** A place to go on from. */
interface Point {
  readonly seconds: number;
  readonly snapshot: Snapshot;
  readonly past: RecordedPast;
  readonly taken: readonly Uint32Array[];
}

/** Taking a snapshot costs about as much as half a second of a usual run: so many are worth it over the whole. */
const POINTS_PER_RUN = 24;
const POINTS_MOST = 400;
const MET_MOST = 20_000;

export function openForks(
  parts: readonly SettledPart[],
  seed: number,
  baseActs: readonly Act[],
  wanted: readonly string[],
  usualSeconds: number,
): Forks {
  const spacingSeconds = usualSeconds / POINTS_PER_RUN;
  /** By what has happened up to there; each list rising in time. The one used longest ago comes first. */
  const points = new Map<string, Point[]>();
  let pointCount = 0;
  let main: Assembly | undefined;
  // Only what has been done before is likely to be done again.
  const met = new Set<string>(['']);

  const startOf = (groups: readonly ForkStep[][], untilSeconds: number): { key: string; point: Point } | undefined => {
    for (let count = groups.length; count >= 0; count -= 1) {
      const key = keyOf(groups, count);
      const limit = Math.min(secondsOf(groups[count]) ?? untilSeconds, untilSeconds);
      const point = points.get(key)?.findLast(({ seconds }) => seconds < limit);
      if (point !== undefined) return { key, point };
    }
    return undefined;
  };
  const keep = (key: string, point: Point): void => {
    const list = points.get(key) ?? [];
    points.delete(key);
    points.set(
      key,
      [...list, point].sort((a, b) => a.seconds - b.seconds),
    );
    pointCount += 1;
    while (pointCount > POINTS_MOST) {
      const [oldest, gone] = points.entries().next().value!;
      points.delete(oldest);
      pointCount -= gone.length;
    }
  };

  const forks: Forks = {
    isForking: true,
    run: (steps, untilSeconds) => {
      const groups = groupsOf(steps);
      const acts = [...baseActs, ...steps.flatMap((step) => step.acts)].sort((a, b) => a.seconds - b.seconds);
      const start = forks.isForking ? startOf(groups, untilSeconds) : undefined;
      const isSaved = forks.isForking && (start !== undefined || main === undefined);
      let assembly: Assembly;
      let recorder: Recorder;
      if (start === undefined) {
        assembly = assemble(parts, seed, acts);
        // Only what was saved from a bench is put back into it.
        if (isSaved) main = assembly;
        recorder = record(assembly, wanted);
      } else {
        assembly = main!;
        const { key, point } = start;
        const list = points.get(key)!;
        points.delete(key);
        points.set(key, list);
        assembly.kernel.restore(point.snapshot);
        for (const [index, { counts }] of takenOf(assembly).entries()) counts.set(point.taken[index]!);
        rescript(assembly, acts);
        recorder = record(assembly, wanted, GRID_PER_SECOND, point.past);
      }
      const { trace } = recorder;
      const { kernel } = assembly;
      try {
        if (isSaved) {
          for (const { seconds, key } of stopsOf(groups, start?.point.seconds ?? 0, untilSeconds, spacingSeconds)) {
            if (!met.has(key)) continue;
            recorder.passTo(seconds);
            const past = recorder.past();
            const taken = takenOf(assembly).map(({ counts }) => counts.slice());
            keep(key, { seconds, snapshot: kernel.save(), past, taken });
          }
        }
        recorder.runTo(untilSeconds);
        if (met.size > MET_MOST) met.clear();
        for (let count = 0; count <= groups.length; count += 1) met.add(keyOf(groups, count));
      } catch (error) {
        // Values that no part can have: what was seen up to then counts.
        if (!(error instanceof NumericalBlowUp)) throw error;
        trace.finish(Math.max(trace.endSeconds, kernel.now[0]!));
      }
      return { trace, taken: takenOf(assembly), digest: kernel.digestText() };
    },
  };
  return forks;
}

/** Steps of one instant belong together: there is no place between them to go on from. */
function groupsOf(steps: readonly ForkStep[]): ForkStep[][] {
  const groups: ForkStep[][] = [];
  for (const step of steps) {
    const last = groups.at(-1);
    if (last !== undefined && last[0]!.seconds === step.seconds) last.push(step);
    else groups.push([step]);
  }
  return groups;
}

function secondsOf(group: readonly ForkStep[] | undefined): number | undefined {
  return group?.[0]?.seconds;
}

function keyOf(groups: readonly ForkStep[][], count: number): string {
  return groups
    .slice(0, count)
    .flatMap((group) => group.map(({ key }) => key))
    .join('|');
}

/** Evenly spaced instants after `from` at which a run may be gone on from later, with what has happened by then. */
function stopsOf(
  groups: readonly ForkStep[][],
  from: number,
  until: number,
  spacing: number,
): { seconds: number; key: string }[] {
  const stops: { seconds: number; key: string }[] = [];
  for (let count = 0; count <= groups.length; count += 1) {
    const key = keyOf(groups, count);
    const begin = secondsOf(groups[count - 1]) ?? 0;
    if (begin >= until) break;
    const end = Math.min(secondsOf(groups[count]) ?? until, until);
    for (let place = Math.floor(begin / spacing) + 1; place * spacing < end; place += 1)
      stops.push({ seconds: place * spacing, key });
  }
  return stops.filter(({ seconds }) => seconds > from);
}

function takenOf({ parts }: Assembly): Taken[] {
  return parts.flatMap(({ attachments }, rank) =>
    attachments.flatMap(({ taken }) => (taken === undefined ? [] : [{ rank, counts: taken }])),
  );
}
