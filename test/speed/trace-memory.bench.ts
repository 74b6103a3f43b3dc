/**
 * Writing an hour of signals as CSV and VCD: the text is never held as a whole. Beside its time, each says on standard
 * error how much text it made and how much the memory grew meanwhile; the second must not follow the first.
 */
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
