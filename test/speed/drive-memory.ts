/**
 * Drives as `power.ts` does for so many simulated seconds with everything recorded, as `jackstand run --trace` records it,
 * and prints what memory that took, as JSON. A process of its own; see trace-memory.bench.ts.
 */
import { assemble } from '../../sim/bench/assemble.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { GRID_PER_SECOND, record } from '../../sim/trace/record.ts';
import { signalsRead } from '../../sim/verdict/expectation.ts';
import { powerScenario } from './power.ts';

const seconds = Number(process.argv[2]);
const drive = powerScenario(seconds, '120 Ah');
const exact = new Set(drive.expectations.flatMap(({ formula }) => signalsRead(formula)));
const recorder = record(
  assemble(settleParts(drive.parts), drive.seed, drive.acts),
  'all',
  GRID_PER_SECOND,
  undefined,
  exact,
);
// What the code itself takes once it is compiled is not what the trace takes.
recorder.runTo(10);
globalThis.gc?.();
const before = process.memoryUsage();
const { sampleCount } = recorder.trace;
const start = process.cpuUsage();
recorder.runTo(seconds);
const cpuSeconds = (process.cpuUsage(start).user + process.cpuUsage(start).system) / 1e6;
const peak = process.resourceUsage().maxRSS * 1024;
globalThis.gc?.();
const after = process.memoryUsage();
process.stdout.write(
  `${JSON.stringify({
    seconds: seconds - 10,
    samples: recorder.trace.sampleCount - sampleCount,
    traceBytes: recorder.trace.byteCount,
    heapBytes: after.heapUsed + after.arrayBuffers - before.heapUsed - before.arrayBuffers,
    residentBytes: after.rss - before.rss,
    peakBytes: peak,
    cpuSeconds,
  })}\n`,
);
