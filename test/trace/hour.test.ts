/** An hour of driving with everything recorded stays below 300 MB: counted to the byte, not seen from outside. */
import { expect, test } from 'vitest';
import { assemble } from '../../sim/bench/assemble.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { GRID_PER_SECOND, record } from '../../sim/trace/record.ts';
import { signalsRead } from '../../sim/verdict/expectation.ts';
import { powerScenario } from '../speed/power.ts';

const WANTED_BYTES_PER_SECOND = 300e6 / 3600;
/** By then the trace is packing, and no part of it grows any more but the packed blocks. */
const FROM_SECONDS = 240;
const UNTIL_SECONDS = 480;

test('an hour of driving: everything recorded takes less than 300 MB, what is judged on the grid', () => {
  const drive = powerScenario(UNTIL_SECONDS, '120 Ah');
  const exact = new Set(drive.expectations.flatMap(({ formula }) => signalsRead(formula)));
  const assembly = assemble(settleParts(drive.parts), drive.seed, drive.acts);
  const recorder = record(assembly, 'all', GRID_PER_SECOND, undefined, exact);
  const { trace } = recorder;
  recorder.passTo(FROM_SECONDS);
  const [bytes, samples] = [trace.byteCount, trace.sampleCount];
  recorder.runTo(UNTIL_SECONDS);
  // It does drive: at a standstill there would be little to tell.
  const metres = trace.column('vehicle.distance')!;
  expect(metres.at(UNTIL_SECONDS) - metres.at(FROM_SECONDS)).toBeGreaterThan(UNTIL_SECONDS - FROM_SECONDS);
  expect((trace.sampleCount - samples) / (UNTIL_SECONDS - FROM_SECONDS)).toBeGreaterThan(5000);
  expect((trace.byteCount - bytes) / (UNTIL_SECONDS - FROM_SECONDS)).toBeLessThan(WANTED_BYTES_PER_SECOND);
  // What stays plain and open beside that.
  expect(bytes).toBeLessThan(20e6);
});
