/**
 * Drives a bench for thirty simulated seconds and prints how many bytes each event allocated. A program of its own, since
 * the heap must be the run's alone: the test of the zero-allocation rule starts it with `--expose-gc` and a young
 * generation large enough that nothing is collected in between.
 */
import { PerformanceObserver } from 'node:perf_hooks';
import { assemble } from '../../sim/bench/assemble.ts';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { allowWideInlining } from '../../sim/kernel/inlining.ts';

allowWideInlining();
const bench = loadBench(process.argv[2]!).value!;
const connect = { seconds: 0, part: 'battery', form: 'connect', contents: undefined };
const press = { seconds: 2, part: 'pedal', form: 'press', contents: { press: 0.5, over: 1 } };
const { kernel } = assemble(settleParts(bench.parts), 7, [connect, press]);
let heardCount = 0;
kernel.watched.fill(1);
kernel.observer = {
  observe: () => {
    heardCount += 1;
  },
};
let collections = 0;
new PerformanceObserver((list) => {
  collections += list.getEntries().length;
}).observe({ entryTypes: ['gc'] });

const bytes = (): number => {
  const { heapUsed, external } = process.memoryUsage();
  return heapUsed + external;
};
// Until here the compiler is still at work, and its feedback lies on the same heap.
kernel.run(60);
let fewest = Number.POSITIVE_INFINITY;
let events = 0;
// The least of six stretches: what the compiler still does in one of them is not the run's.
for (const untilSeconds of [90, 120, 150, 180, 210, 240]) {
  globalThis.gc!();
  bytes();
  const before = bytes();
  const eventsBefore = kernel.eventCount;
  kernel.run(untilSeconds);
  const after = bytes();
  events = kernel.eventCount - eventsBefore;
  fewest = Math.min(fewest, (after - before) / events);
}
await new Promise((resolve) => setTimeout(resolve, 10));
process.stdout.write(`${JSON.stringify({ events, bytesPerEvent: fewest, collections, heardCount })}\n`);
