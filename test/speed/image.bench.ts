/**
 * A compiled image on a whole bench: each pass is one second of the cart, so that `hz` reads as times real time.
 *
 * Mark to hold, on a quiet machine, once warm: 40 times real time for the shipped program, whose loop sleeps and takes one
 * conversion a frame.
 */
import { fileURLToPath } from 'node:url';
import { bench, describe } from 'vitest';
import { assemble } from '../../sim/bench/assemble.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';

const scenario = (name: string) =>
  loadScenario(fileURLToPath(new URL(`../../scenarios/orchard-cart/${name}.yaml`, import.meta.url))).value!;

describe('one second of a bench, times real time', () => {
  for (const name of ['firmware-cold-start', 'cold-start']) {
    const { parts, acts } = scenario(name);
    const { kernel } = assemble(settleParts(parts), 7, acts);
    bench(name, () => kernel.run(kernel.now[0]! + 1), { warmupTime: 2000, time: 3000 });
  }
});
