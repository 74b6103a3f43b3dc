/**
 * A compiled image on a whole bench: each pass is one second of the shipped cart with its power side, foot at 60 %, so
 * that `hz` reads as times real time.
 *
 * Mark to hold, on a quiet machine, once warm: 1,000 times real time for both programs. `paced` makes a control pass every
 * 10 ms with delay loops, the shipped one sleeps and makes one a frame. The mapping law beside them is the same bench without a chip.
 */
import { fileURLToPath } from 'node:url';
import { bench, describe } from 'vitest';
import { type Act, assemble } from '../../sim/bench/assemble.ts';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { parseSource } from '../../sim/bench/source.ts';
import { allowWideInlining } from '../../sim/kernel/inlining.ts';

// As the command does.
allowWideInlining();

const cart = fileURLToPath(new URL('../../scenarios/orchard-cart/', import.meta.url));
const images = fileURLToPath(new URL('../models/board/image/', import.meta.url));
const acts: readonly Act[] = [
  { seconds: 0, part: 'battery', form: 'connect', contents: undefined },
  { seconds: 3, part: 'pedal', form: 'press', contents: { press: 0.6, over: 0.5 } },
];

function second(firmware?: string, folder = cart): () => void {
  const overrides = firmware === undefined ? undefined : parseSource(`${cart}with`, `board.firmware: ${firmware}`).tree;
  const { parts } = loadBench(`${folder}bench.yaml`, overrides).value!;
  const { kernel } = assemble(settleParts(parts), 7, acts);
  kernel.run(5);
  return () => kernel.run(kernel.now[0]! + 1);
}

const warm = { warmupTime: 2000, time: 3000 };

describe('one second of a bench, times real time', () => {
  bench('pass every 10 ms with delays', second(`{ kind: image, file: ${images}paced.elf }`), warm);
  bench('shipped program', second('{ kind: image, file: firmware/cart.elf, control-pass: { deadline: 25 ms } }'), warm);
  bench('mapping law', second(), warm);
  const polls = `{ kind: image, file: ${images}polls.elf, pins: { pwm: PB1, receiver: PD2 } }`;
  bench('never waits, beside a receiver', second(polls, images), warm);
});
