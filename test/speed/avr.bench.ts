/**
 * Compiled images: each pass is one second of a 16 MHz chip, so that `hz` reads as times real time.
 *
 * Marks to hold, on a quiet machine: interpreter 12; translated 120 and four times the C interpreter where nothing
 * waits (crunch), 300 where the program waits for the converter, 50 for 20 KiB of switches with warm-up over 60 s, 250 ms
 * from file to translated code for 16 KiB. The C interpreter is avr-interpreter.c, built with gcc -O2 where there is one.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { bench, describe } from 'vitest';
import type { Bus } from '../../models/board/avr/bus.ts';
import { CHIPS } from '../../models/board/avr/chips.ts';
import { type Core, createCore } from '../../models/board/avr/core.ts';
import { decode } from '../../models/board/avr/decode.ts';
import { type Image, readImage } from '../../models/board/avr/image/image.ts';
import { createPeripherals } from '../../models/board/avr/peripherals/peripherals.ts';
import { rootsOf } from '../../models/board/avr/translate/blocks.ts';
import { translate, translatedEngine } from '../../models/board/avr/translate/engine.ts';
import { exampleBus } from '../models/board/avr/example-bus.ts';

const HERTZ = 16e6;
const chip = CHIPS.atmega328p;
const file = (name: string): Uint8Array =>
  new Uint8Array(readFileSync(new URL(`../models/board/avr/images/${name}.elf`, import.meta.url)));
const imageOf = (name: string): Image => readImage(file(name), chip).image!;
const warm = { warmupTime: 3000, time: 3000 };

function second(core: Core): () => void {
  return () => core.run(core.cycle() + HERTZ);
}

/** The chip's own peripherals, with a world outside that answers at once. */
function chipBus(): Bus {
  const { eeprom } = imageOf('waiting');
  let count = 0;
  const nothing = (): void => undefined;
  return createPeripherals(
    {
      watched: [2, 0, 0],
      eeprom,
      isClockDivided: false,
      isWatchdogAlwaysOn: false,
      wakeCycles: 16_384,
      hertz: () => HERTZ,
    },
    {
      isReady: () => true,
      hold: nothing,
      result: () => (count = (count * 5 + 77) & 1023),
      pin: nothing,
      timer: nothing,
      converts: nothing,
      sent: nothing,
      watchdogCycles: () => HERTZ / 128e3,
      watchdogReset: nothing,
      report: nothing,
    },
  );
}

function coreOf(name: string, engine: 'interpreter' | 'translated', leaps = true): Core {
  return createCore({
    chip,
    image: imageOf(name),
    bus: name === 'waiting' || name === 'delaying' ? chipBus() : exampleBus(),
    leaps,
    ...(engine === 'translated' ? { engine: translatedEngine } : {}),
  });
}

/** Builds the C interpreter and writes the decoded image for it; undefined where there is no gcc. */
function builtC(name: string): (() => void) | undefined {
  if (spawnSync('gcc', ['--version']).status !== 0) return undefined;
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-c-'));
  const program = join(folder, 'interpreter');
  execFileSync('gcc', ['-O2', '-o', program, fileURLToPath(new URL('avr-interpreter.c', import.meta.url))]);
  const image = imageOf(name);
  const { words, op, a, b, k, flash } = decode(chip, image.flash, image.given);
  const decoded = join(folder, name);
  writeFileSync(
    decoded,
    Buffer.concat(
      [new Int32Array([words, op.length]), op, a, b, k, flash].map((part) =>
        Buffer.from(part.buffer, part.byteOffset, part.byteLength),
      ),
    ),
  );
  return () => void execFileSync(program, [decoded, String(10 * HERTZ)]);
}

let serial = 0;
/** The image with a number in its unused flash, so that no translation of it is kept from before. */
function unseen(image: Image): Image {
  const flash = image.flash.slice();
  new DataView(flash.buffer).setUint32(flash.length - 4, serial++);
  return { ...image, flash };
}

describe('crunch: CRC-32, products, quotients; a pass is 1 s', () => {
  bench('interpreter', second(coreOf('crunch', 'interpreter')), warm);
  bench('translated', second(coreOf('crunch', 'translated')), warm);
});

const plainC = builtC('crunch');
describe.skipIf(plainC === undefined)('crunch in C; a pass is 10 s, so hz is a tenth of times real time', () => {
  bench('C interpreter, gcc -O2', () => plainC?.(), { time: 3000 });
});

describe('a control loop that waits for the converter, 9615 times a second; a pass is 1 s', () => {
  // First, as it runs for its users: the peripherals' code is built for the engine that it meets.
  bench('translated', second(coreOf('waiting', 'translated')), warm);
  bench('interpreter', second(coreOf('waiting', 'interpreter')), warm);
  bench('interpreter, not leaping', second(coreOf('waiting', 'interpreter', false)), warm);
});

describe('the same with delays; a pass is 1 s', () => {
  bench('interpreter', second(coreOf('delaying', 'interpreter')), warm);
  bench('translated', second(coreOf('delaying', 'translated')), warm);
});

describe('20 KiB of switches', () => {
  bench('interpreter; a pass is 1 s', second(coreOf('big', 'interpreter')), warm);
  bench('translated; a pass is 1 s', second(coreOf('big', 'translated')), warm);
  const program = decode(chip, imageOf('big').flash, imageOf('big').given);
  bench(
    '60 s from the file on, first translation included; 60 times hz is times real time',
    () => {
      const core = createCore({ chip, image: unseen(imageOf('big')), bus: exampleBus(), engine: translatedEngine });
      core.run(60 * HERTZ);
    },
    { iterations: 2, time: 1, warmupIterations: 0, warmupTime: 0 },
  );
  bench(
    'decode and translate',
    () => {
      translate(
        chip,
        program,
        new Set(rootsOf(chip, decode(chip, program.flash, new Uint8Array(program.flash.length).fill(1)))),
      );
    },
    { time: 2000 },
  );
});
