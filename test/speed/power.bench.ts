/**
 * The whole bench, power side included, in simulated seconds a second, beside the same equations fused by hand: what
 * events, ports, charts, recording and the step control of the continuous states cost together. Only what the
 * expectations read is recorded. `fused-power.test.ts` holds that both drive the same way.
 */
import { afterAll, bench, describe } from 'vitest';
import { assemble } from '../../sim/bench/assemble.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { allowWideInlining } from '../../sim/kernel/inlining.ts';
import { Streams } from '../../sim/kernel/random.ts';
import { record } from '../../sim/trace/record.ts';
import { signalsRead } from '../../sim/verdict/expectation.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { fusedPowerRun } from './fused-power.ts';
import { powerScenario } from './power.ts';
import { DRIVE_SECONDS, ramps, SEED } from './two-controllers.ts';

allowWideInlining();

const options = { time: 4000, warmupTime: 1000, warmupIterations: 5, iterations: 10 };
const rates = new Map<string, number[]>();

function measured(name: string, pass: () => void): void {
  const kept: number[] = [];
  rates.set(name, kept);
  bench(
    name,
    () => {
      const start = performance.now();
      pass();
      kept.push((1000 * DRIVE_SECONDS) / (performance.now() - start));
    },
    options,
  );
}

function median(list: readonly number[]): number {
  // The first half is left out: the compiler is still at work in it.
  const settled = list.slice(Math.floor(list.length / 2)).sort((a, b) => a - b);
  return settled[Math.floor(settled.length / 2)]!;
}

const drive = powerScenario();
const names = drive.expectations.flatMap(({ formula }) => signalsRead(formula));

describe(`a pass is ${DRIVE_SECONDS} s of pedal, board, two controllers, battery, wires, motors and vehicle`, () => {
  measured('bench, run', () => {
    const assembly = assemble(settleParts(drive.parts), drive.seed, drive.acts);
    record(assembly, names).runTo(drive.durationSeconds);
    if (assembly.kernel.eventCount === 0) throw new Error('nothing happened');
  });
  measured('by hand', () => {
    const { metres } = fusedPowerRun(DRIVE_SECONDS, ramps, new Streams(SEED).for('pedal', 'noise'));
    if (metres < 100) throw new Error('it did not drive');
  });
  measured('bench, run and judged', () => {
    if (!runScenario(drive).holds) throw new Error('the drive fails');
  });
});

afterAll(() => {
  const lines = [...rates].map(
    ([name, list]) => `  ${name.padEnd(28)} ${Math.round(median(list)).toString().padStart(8)} simulated s/s`,
  );
  const ratio = median(rates.get('by hand')!) / median(rates.get('bench, run')!);
  process.stdout.write(
    `\n${lines.join('\n')}\n  the bench takes ${ratio.toFixed(1)} times the time of the arithmetic by hand\n`,
  );
});
