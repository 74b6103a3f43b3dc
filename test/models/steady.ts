/**
 * Drives a bench for thirty simulated seconds and prints how many bytes each event allocated. A program of its own, since
 * the heap must be the run's alone: the test of the zero-allocation rule starts it with `--expose-gc` and a young
 * generation large enough that nothing is collected in between.
 */
import { PerformanceObserver } from 'node:perf_hooks';
import { assemble } from '../../sim/bench/assemble.ts';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { settleParts } from '../../sim/bench/schema.ts';

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
globalThis.gc!();
bytes();
const before = bytes();
const eventsBefore = kernel.eventCount;
kernel.run(90);
const after = bytes();
const events = kernel.eventCount - eventsBefore;
await new Promise((resolve) => setTimeout(resolve, 10));
process.stdout.write(
  `${JSON.stringify({ events, bytes: after - before, bytesPerEvent: (after - before) / events, collections, heardCount })}\n`,
);
