/**
 * Searches of many runs. Figures to hold, on one quiet core: `why` on the shipped refusal over all parameters under 2 s,
 * `tune` over a full board under 5 s.
 */
import { bench, describe } from 'vitest';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { tune } from '../../sim/campaign/tune.ts';
import { why } from '../../sim/campaign/why.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';

const refusal = loadScenario('scenarios/orchard-cart/idle-one-too-high.yaml').value!;
const cart = loadBench('scenarios/orchard-cart/bench.yaml').value!;
const few = { iterations: 3, time: 0, warmupIterations: 1, warmupTime: 0 };

describe('searches', () => {
  bench('why: the shipped refusal, every number and choice', async () => void (await why(refusal)), few);
  bench('tune: every timer, mode and divider, three of them tried', async () => void (await tune(cart)), few);
});
