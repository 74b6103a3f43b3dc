/**
 * What all commands that make many runs share: threads, progress, an interrupt that keeps what is done, shares of a
 * campaign for several machines, and the file from which one is taken up again.
 */
import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { type Problem, problemAt } from '../bench/problem.ts';
import { type CraftRequest, type Rows, type RowsMade, runsIn } from '../campaign/many/craft.ts';
import { type Part, partText, readPart } from '../campaign/many/part-file.ts';
import type { ManyOptions } from '../campaign/many/pool.ts';
import { readShard, type Shard } from '../campaign/many/shard.ts';
import { keepInliningNarrow } from '../kernel/inlining.ts';
import { Exit } from './exit.ts';
import { tellProblems } from './problems.ts';
import type { Streams } from './streams.ts';
import { TOOL_VERSION } from './version.ts';

export interface ManyFlags {
  readonly workers?: string;
  readonly shard?: string;
  readonly part?: string;
  readonly format?: string;
}

export interface Campaign {
  /** As the reader calls it: `spread of cold start`. */
  readonly title: string;
  readonly request: CraftRequest;
  readonly count: number;
  /** Runs that make up one of these, where it is more than one. */
  readonly runsPerRow?: number;
  readonly fingerprint: string;
  /** Makes what is missing among the rows; false when it was ended early. */
  readonly make: (rows: Rows, options: ManyOptions & { readonly shard?: Shard }) => Promise<boolean>;
  /** Prints what the rows say and gives the exit status. */
  readonly report: (rows: RowsMade) => number;
  /** Where rows are kept, these to begin with; in a `Map` unless given. */
  readonly keep?: (rows: Iterable<[number, unknown]>) => Rows;
}

/** The process, as far as a campaign has to do with it; handed in so that tests can stand in for it. */
export interface Surroundings {
  readonly env: Readonly<Record<string, string | undefined>>;
  readonly clock: () => number;
  /** Calls back at each interrupt; what is returned ends the listening. */
  readonly onInterrupt: (heard: () => void) => () => void;
}

export function processSurroundings(program: NodeJS.Process): Surroundings {
  return {
    env: program.env,
    clock: () => performance.now() / 1000,
    onInterrupt: (heard) => {
      let count = 0;
      const listener = (): void => {
        count += 1;
        // Whoever asks twice does not want to wait for the runs under way.
        if (count > 1) program.exit(Exit.interrupted);
        heard();
      };
      program.on('SIGINT', listener);
      program.on('SIGTERM', listener);
      return () => {
        program.off('SIGINT', listener);
        program.off('SIGTERM', listener);
      };
    },
  };
}

export async function runCampaign(
  campaign: Campaign,
  flags: ManyFlags,
  streams: Streams,
  surroundings: Surroundings,
): Promise<number> {
  const settled = settleFlags(campaign, flags, surroundings);
  if ('problems' in settled) {
    tellProblems(settled.problems, streams);
    return Exit.badInput;
  }
  const { shard, file, rows, workers } = settled;
  if (runsOfThread(campaign, settled) <= NARROW_RUNS_MOST) keepInliningNarrow();
  const controller = new AbortController();
  const stopListening = surroundings.onInterrupt(() => {
    streams.status?.('stopping after the runs under way');
    controller.abort();
  });
  const progress = progressLine(campaign.title, streams, surroundings.clock);
  let isWhole: boolean;
  try {
    isWhole = await campaign.make(rows, {
      ...(workers === undefined ? {} : { workers }),
      ...(shard === undefined ? {} : { shard }),
      signal: controller.signal,
      progress,
    });
  } finally {
    stopListening();
    streams.status?.('');
  }
  const kept = file ?? (isWhole ? undefined : `${campaign.request.kind}.part.json`);
  if (kept !== undefined && !isPartWritten(kept, campaign, rows, streams)) return Exit.badInput;
  if (!isWhole) {
    const { runsPerRow = 1 } = campaign;
    const [done, all] = [runsIn(rows, runsPerRow), campaign.count * runsPerRow];
    streams.err(`broken off after ${done} of ${all} runs; --part ${kept} takes it up again\n`);
    if (shard === undefined && rows.size > 0) campaign.report(rows);
    return Exit.interrupted;
  }
  if (shard !== undefined) {
    streams.err(
      `share ${shard.index} of ${shard.count}: ${rows.size} runs in ${kept}; jackstand merge puts them together\n`,
    );
    return Exit.holds;
  }
  return campaign.report(rows);
}

/**
 * Up to so many runs a thread, what a larger build saves in each of them is less than what it takes: of 500 draws of the
 * 6 s cold start a sixth of the time, made good after some 2,500.
 */
const NARROW_RUNS_MOST = 2000;

function runsOfThread({ count, runsPerRow = 1 }: Campaign, { shard, workers }: SettledFlags): number {
  return (count * runsPerRow) / (shard?.count ?? 1) / (workers ?? availableParallelism());
}

interface SettledFlags {
  readonly shard: Shard | undefined;
  readonly file: string | undefined;
  readonly rows: Rows;
  readonly workers: number | undefined;
}

function settleFlags(
  campaign: Campaign,
  flags: ManyFlags,
  { env }: Surroundings,
): SettledFlags | { readonly problems: readonly Problem[] } {
  const refused = (flag: string, says: string): { problems: Problem[] } => ({
    problems: [problemAt(flag, 'refused', { path: '', says })],
  });
  const workers = flags.workers === undefined ? undefined : Number(flags.workers);
  if (workers !== undefined && !(Number.isInteger(workers) && workers >= 1 && workers <= 256))
    return refused('--workers', `${flags.workers} is no number of threads from 1 to 256`);
  const read = flags.shard === undefined ? undefined : readShard(flags.shard, env);
  if (read !== undefined && 'mistake' in read) return refused('--shard', read.mistake);
  const shard = read?.shard;
  const file =
    flags.part ?? (shard === undefined ? undefined : `${campaign.request.kind}-${shard.index}-of-${shard.count}.json`);
  const keep = campaign.keep ?? ((kept) => new Map(kept));
  if (file === undefined || !existsSync(file)) return { shard, file, rows: keep([]), workers };
  const found = readPart(readFileSync(file, 'utf8'));
  if ('mistake' in found) return refused(file, found.mistake);
  const { part } = found;
  if (JSON.stringify(part.request) !== JSON.stringify(campaign.request))
    return refused(file, 'it holds another campaign; name another file for --part, or take this one away');
  if (part.fingerprint !== campaign.fingerprint || part.version !== TOOL_VERSION)
    return refused(file, 'bench, scenario or tool have changed since it was written; take it away to start anew');
  return { shard, file, rows: keep(part.rows), workers };
}

/** Under another name until it is whole: a part that was cut off would be lost work. */
function isPartWritten(
  file: string,
  { request, count, fingerprint }: Campaign,
  rows: RowsMade,
  streams: Streams,
): boolean {
  const part: Part = { version: TOOL_VERSION, fingerprint, count, request, rows };
  if (!writtenFile(`${file}.unfinished`, partText(part), streams)) return false;
  renameSync(`${file}.unfinished`, file);
  return true;
}

/** Writes a file; what the system refuses is told as the problem that it is. */
export function writtenFile(path: string, text: string, streams: Streams): boolean {
  try {
    writeFileSync(path, text);
    return true;
  } catch (error) {
    const reason = error instanceof Error && 'code' in error ? String(error.code) : 'unknown';
    tellProblems([problemAt(path, 'refused', { path: '', says: `it cannot be written (${reason})` })], streams);
    return false;
  }
}

/** `128 of 500, 450 a second, 1 s left: spread of cold start`, so that a narrow terminal cuts off the least of it. */
function progressLine(title: string, { status }: Streams, clock: () => number): (done: number, total: number) => void {
  if (status === undefined) return () => undefined;
  let startSeconds = clock();
  let startDone = 0;
  let lastSeconds = Number.NEGATIVE_INFINITY;
  return (done, total) => {
    const nowSeconds = clock();
    if (lastSeconds === Number.NEGATIVE_INFINITY) {
      // Threads take a moment to start; that says nothing about the rate.
      [startSeconds, startDone] = [nowSeconds, done];
    }
    if (nowSeconds - lastSeconds < 0.1 && done < total) return;
    lastSeconds = nowSeconds;
    const rate = (done - startDone) / (nowSeconds - startSeconds);
    const left =
      rate > 0 ? `, ${rate.toFixed(rate < 10 ? 1 : 0)} a second, ${timeWords((total - done) / rate)} left` : '';
    status(`${done} of ${total}${left}: ${title}`);
  };
}

function timeWords(seconds: number): string {
  if (seconds < 90) return `${Math.ceil(seconds)} s`;
  return seconds < 5400 ? `${Math.round(seconds / 60)} min` : `${(seconds / 3600).toFixed(1)} h`;
}
