/**
 * The drive of `two-controllers.ts`, in simulated seconds a second, beside the same arithmetic fused by hand: what
 * events, ports, charts and recording cost. `fused.test.ts` holds that both make the same pulses. And the shipped bench,
 * whose battery, wires, motors and wheels move between the events.
 *
 * Runs module by module, unlike the other benchmarks (vitest.config.ts): its mark, four times the loop by hand, was set so.
 * In one piece the kernel makes about 2,350 simulated seconds a second and the loop by hand 16,500, seven times as many.
 */
import { afterAll, bench, describe } from 'vitest';
import { assemble } from '../../sim/bench/assemble.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { allowWideInlining } from '../../sim/kernel/inlining.ts';
import { Streams } from '../../sim/kernel/random.ts';
import { record } from '../../sim/trace/record.ts';
import { signalsRead } from '../../sim/verdict/expectation.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario, type Scenario } from '../../sim/verdict/run-scenario.ts';
import { fusedRun } from './fused.ts';
import { DRIVE_SECONDS, driveScenario, ramps, SEED } from './two-controllers.ts';

allowWideInlining();

const options = { time: 4000, warmupTime: 1000, warmupIterations: 5, iterations: 10 };
const rates = new Map<string, number[]>();

/** A bench whose every pass is also kept as simulated seconds a second. */
function measured(name: string, simulatedSeconds: number, pass: () => void): void {
  const kept: number[] = [];
  rates.set(name, kept);
  bench(
    name,
    () => {
      const start = performance.now();
      pass();
      kept.push((1000 * simulatedSeconds) / (performance.now() - start));
    },
    options,
  );
}

/** The run alone: what is recorded is what the expectations read, and nothing is judged. */
function ran(scenario: Scenario, names: readonly string[] | 'all'): void {
  const assembly = assemble(settleParts(scenario.parts), scenario.seed, scenario.acts);
  record(assembly, names).runTo(scenario.durationSeconds);
  if (assembly.kernel.eventCount === 0) throw new Error('nothing happened');
}

function median(list: readonly number[]): number {
  // The first half is left out: the compiler is still at work in it.
  const settled = list.slice(Math.floor(list.length / 2)).sort((a, b) => a - b);
  return settled[Math.floor(settled.length / 2)]!;
}

const drive = driveScenario();
const names = drive.expectations.flatMap(({ formula }) => signalsRead(formula));

describe(`a pass is ${DRIVE_SECONDS} s of pedal, board and two controllers`, () => {
  measured('kernel, run', DRIVE_SECONDS, () => ran(drive, names));
  measured('by hand', DRIVE_SECONDS, () => {
    const { pulseCount } = fusedRun(DRIVE_SECONDS, ramps, new Streams(SEED).for('pedal', 'noise'));
    if (pulseCount === 0) throw new Error('no pulse was made');
  });
  measured('kernel, run and judged', DRIVE_SECONDS, () => {
    if (!runScenario(drive).holds) throw new Error('the drive fails');
  });
  measured('kernel, everything recorded', DRIVE_SECONDS, () => ran(drive, 'all'));
});

const coldStart = loadScenario('scenarios/orchard-cart/cold-start.yaml').value!;

describe('a pass is the cold start of the shipped bench, with battery, wires, motors and wheels', () => {
  measured('shipped, run and judged', coldStart.durationSeconds, () => {
    if (!runScenario(coldStart).holds) throw new Error('the cold start fails');
  });
});

afterAll(() => {
  const lines = [...rates].map(
    ([name, list]) => `  ${name.padEnd(28)} ${Math.round(median(list)).toString().padStart(8)} simulated s/s`,
  );
  const ratio = median(rates.get('by hand')!) / median(rates.get('kernel, run')!);
  process.stdout.write(
    `\n${lines.join('\n')}\n  the kernel takes ${ratio.toFixed(1)} times the time of the arithmetic by hand\n`,
  );
});
