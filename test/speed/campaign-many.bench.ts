/**
 * Campaigns of many runs. Figures to hold on a quiet machine: 500 draws a second a core of the 6 s cold start, 0.85 of
 * linear over the cores, memory that does not grow with the draws, the fault table over the shipped scenarios under 60 s
 * (measured with the built program, as it takes that long: `time jackstand faults scenarios/orchard-cart`).
 *
 * Threads are started anew in each pass, as a command does; the draws are enough that it does not matter much.
 */
import { availableParallelism } from 'node:os';
import { afterAll, bench, describe } from 'vitest';
import { Healthy } from '../../sim/campaign/faults/craft.ts';
import { openGround } from '../../sim/campaign/hunt/ground.ts';
import { planHunt } from '../../sim/campaign/hunt.ts';
import { spread } from '../../sim/campaign/spread.ts';
import { keepInliningNarrow } from '../../sim/kernel/inlining.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';

// As the commands do for so few runs.
keepInliningNarrow();

const cart = loadScenario('scenarios/orchard-cart/cold-start.yaml').value!;
const few = { iterations: 3, time: 0, warmupIterations: 1, warmupTime: 0 };
const cores = availableParallelism();
const DRAWS_A_CORE = 2000;
const rates = new Map<number, number>();

describe('spread of the 6 s cold start', () => {
  for (const workers of new Set([1, cores])) {
    const draws = DRAWS_A_CORE * workers;
    bench(
      `${draws} draws on ${workers} ${workers === 1 ? 'thread' : 'threads'}`,
      async () => {
        const start = performance.now();
        await spread(cart, { draws }, { workers });
        const rate = (1000 * draws) / (performance.now() - start);
        rates.set(workers, Math.max(rate, rates.get(workers) ?? 0));
      },
      few,
    );
  }
  afterAll(() => {
    const alone = rates.get(1) ?? 0;
    const together = rates.get(cores) ?? 0;
    process.stdout.write(
      `${alone.toFixed(0)} draws a second on one thread, ${together.toFixed(0)} on ${cores}: ${(together / (alone * cores)).toFixed(2)} of linear\n`,
    );
  });
});

describe('one of many', () => {
  const healthy = new Healthy(cart, { briefSeconds: 0.2, spacedCount: 8 });
  bench(
    'faults: one fault at every instant of the cold start',
    () => void healthy.row([{ part: 'pedal', fault: 'stuck' }]),
    few,
  );
  const ground = openGround(planHunt(cart));
  bench('hunt: one try on the cold start', () => void ground.try([{ at: 2000, part: 'pedal', lever: 50 }]));
});
