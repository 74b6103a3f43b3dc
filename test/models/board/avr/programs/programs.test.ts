/**
 * C programs compiled for the chip and for the host print the same bytes. The compilers are the outside reference: gcc
 * for both. Without them installed only the images checked in are run (images.test.ts).
 */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { CHIPS } from '../../../../../models/board/avr/chips.ts';
import { readImage } from '../../../../../models/board/avr/image/image.ts';
import { translatedEngine } from '../../../../../models/board/avr/translate/engine.ts';
import { coreOfImage, stateOf } from '../machine-code.ts';
import { fork } from '../random-source.ts';
import { compileForChip, FOLDER, hasCompilers, printedByHost } from './compile.ts';
import { randomProgram } from './random-program.ts';

const RANDOM_COUNT = 200;
const CYCLE_LIMIT = 400e6;
const LEVELS = [
  ['-O0'],
  ['-O1'],
  ['-O2'],
  ['-Os'],
  ['-O3'],
  ['-Os', '-mcall-prologues'],
  ['-O2', '-fno-jump-tables'],
  ['-Os', '-fno-inline'],
];

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'jackstand-avr-'));
});
afterAll(() => rmSync(folder, { recursive: true }));

/**
 * Runs an ELF file until its end mark, by the interpreter and translated, in the same stretches and with the same state
 * after each; returns what it printed and the findings.
 */
function runOnChip(elf: string): { printed: Uint8Array; findings: string[]; ended: boolean } {
  const { image, mistakes } = readImage(new Uint8Array(readFileSync(elf)), CHIPS.atmega328p);
  expect(mistakes).toEqual([]);
  const interpreted = coreOfImage(image!);
  const translated = coreOfImage(image!, { engine: translatedEngine });
  const draw = fork(1);
  for (let cycle = 0; !interpreted.bus.ended() && cycle < CYCLE_LIMIT; ) {
    cycle += 1 + draw(draw(2) === 0 ? 500 : 300_000);
    interpreted.core.run(cycle);
    translated.core.run(cycle);
    expect(stateOf(translated)).toEqual(stateOf(interpreted));
  }
  return {
    printed: Uint8Array.from(interpreted.bus.printed),
    findings: interpreted.core.findings.map((one) => one.kind),
    ended: interpreted.bus.ended(),
  };
}

async function expectSame(name: string, source: string, flags: readonly string[]): Promise<void> {
  const elf = join(folder, `${name}.elf`);
  const [, host] = await Promise.all([
    compileForChip(source, elf, flags),
    printedByHost(source, join(folder, `${name}.host`)),
  ]);
  const chip = runOnChip(elf);
  expect(chip.ended, `${name} ${flags.join(' ')} came to its end`).toBe(true);
  expect(chip.findings).toEqual([]);
  expect(Buffer.from(chip.printed).toString('hex'), `${name} ${flags.join(' ')}`).toBe(
    Buffer.from(host).toString('hex'),
  );
}

describe.skipIf(!hasCompilers)('programs: written by hand', () => {
  for (const name of ['crunch', 'sorting', 'jumps', 'widths']) {
    test.each(LEVELS.map((flags) => [flags.join(' '), flags] as const))(`${name} %s`, async (_text, flags) => {
      await expectSame(`${name}${flags.join('')}`, join(FOLDER, `${name}.c`), [...flags, '-lm']);
    });
  }
});

describe.skipIf(!hasCompilers)('programs: drawn at random', () => {
  const batch = 10;
  for (let first = 0; first < RANDOM_COUNT; first += batch) {
    test(`numbers ${first} to ${first + batch - 1}`, async () => {
      for (let seed = first; seed < first + batch; seed++) {
        const source = join(folder, `random${seed}.c`);
        writeFileSync(source, randomProgram(seed));
        await expectSame(`random${seed}`, source, LEVELS[seed % LEVELS.length]!);
      }
    });
  }
});
