/**
 * Writing an hour of signals as CSV and VCD: the text is never held as a whole. Beside its time, each says on standard
 * error how much text it made and how much the memory grew meanwhile; the second must not follow the first.
 *
 * Then what an hour of driving takes with everything recorded, in a process of its own: what the trace holds, how much the
 * heap and the resident set grew, and the peak of the whole process.
 */
import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { afterAll, bench, describe } from 'vitest';
import { csvOf } from '../../sim/trace/csv.ts';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';
import { vcdOf } from '../../sim/trace/vcd.ts';

const PER_SECOND = 100;
const signals: readonly SignalInfo[] = Array.from({ length: 8 }, (_, index) => ({
  name: `part.signal-${index}`,
  dimension: 'voltage',
  shape: 'held',
  means: 'a signal that changes at every sample',
}));

function recorded(minutes: number): Trace {
  const trace = new Trace(signals);
  for (let count = 0; count < minutes * 60 * PER_SECOND; count += 1)
    for (const index of signals.keys()) trace.append(index, count / PER_SECOND, ((count * 7919 + index) % 101) / 7);
  trace.finish(minutes * 60);
  return trace;
}

const told: string[] = [];
afterAll(() => void process.stderr.write(`${[...new Set(told)].join('\n')}\n`));

/** Bytes of the heap that are in use at most while the chunks pass by, over those before. */
function grown(name: string, chunks: Iterable<string>): void {
  const before = process.memoryUsage().heapUsed;
  let most = before;
  let characters = 0;
  for (const chunk of chunks) {
    characters += chunk.length;
    most = Math.max(most, process.memoryUsage().heapUsed);
  }
  told.push(
    `${name}: ${(characters / 1e6).toFixed(0)} MB of text, ${((most - before) / 1e6).toFixed(0)} MB more in use`,
  );
}

describe.each([6, 60])('trace: %d minutes of eight signals', (minutes) => {
  const trace = recorded(minutes);
  const once = { iterations: 1, time: 0, warmupIterations: 0, warmupTime: 0 };
  bench('CSV', () => grown(`CSV of ${minutes} min`, csvOf(trace.columns)), once);
  bench(
    'VCD',
    () => grown(`VCD of ${minutes} min`, vcdOf(trace.columns, { version: 'bench', endSeconds: minutes * 60 })),
    once,
  );
});

describe('a drive, everything recorded', () => {
  for (const seconds of [300, 900, 3600]) {
    bench(
      `${seconds} simulated seconds`,
      () => {
        const child = ['--expose-gc', '--import', 'tsx', join(import.meta.dirname, 'drive-memory.ts'), `${seconds}`];
        const seen = JSON.parse(execFileSync(process.execPath, child, { encoding: 'utf8' })) as Record<string, number>;
        const megabytes = (bytes: number): string => `${(bytes / 1e6).toFixed(0)} MB`;
        told.push(
          `${seconds} s of driving, ${(seen.samples! / seen.seconds!).toFixed(0)} samples a second: the trace holds ${megabytes(seen.traceBytes!)}, ` +
            `the heap grew by ${megabytes(seen.heapBytes!)} and the resident set by ${megabytes(seen.residentBytes!)}, ` +
            `at the peak the process had ${megabytes(seen.peakBytes!)}; ${seen.cpuSeconds!.toFixed(1)} s of processor time`,
        );
      },
      { iterations: 1, time: 0, warmupIterations: 0, warmupTime: 0 },
    );
  }
});
