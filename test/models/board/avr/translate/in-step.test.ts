/**
 * Translated code against the interpreter, which is its reference: both run the same program in the same stretches of
 * time and must agree on everything between them, every event and hooked access included.
 */
import { readdirSync, readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CHIP_NAMES, CHIPS } from '../../../../../models/board/avr/chips.ts';
import type { EngineKind } from '../../../../../models/board/avr/core.ts';
import { decode } from '../../../../../models/board/avr/decode.ts';
import { readImage } from '../../../../../models/board/avr/image/image.ts';
import { rootsOf } from '../../../../../models/board/avr/translate/blocks.ts';
import { translate, translatedEngine } from '../../../../../models/board/avr/translate/engine.ts';
import { ADCSRA } from '../example-bus.ts';
import { type CoreSettings, coreOf, coreOfImage, ldi, lds, rjmp, stateOf, sts } from '../machine-code.ts';
import { one } from '../one-instruction.ts';
import { fork } from '../random-source.ts';

type Running = ReturnType<typeof coreOf>;

/** Runs both in the same stretches, comparing after each. */
function runInStep(make: (settings: CoreSettings) => Running, stretches: readonly number[]): void {
  const reference = make({ leaps: false });
  const translated = make({ engine: translatedEngine });
  let cycle = 0;
  for (const stretch of stretches) {
    cycle += stretch;
    reference.core.run(cycle);
    translated.core.run(cycle);
    expect(stateOf(translated)).toEqual(stateOf(reference));
  }
}

const IMAGES = new URL('../images/', import.meta.url);
const images = readdirSync(IMAGES).filter((name) => name.endsWith('.elf'));

describe('translate: images, in step with the interpreter', () => {
  test.each(images)('%s', (name) => {
    const { image } = readImage(new Uint8Array(readFileSync(new URL(name, IMAGES))), CHIPS.atmega328p);
    const draw = fork(20261125);
    // Short stretches cut inside blocks, long ones let it run; then both in turn.
    const stretches = Array.from({ length: 1500 }, (_, index) =>
      index % 3 === 0 ? 1 + draw(40) : index % 3 === 1 ? 1 + draw(700) : 1 + draw(9000),
    );
    runInStep((settings) => coreOfImage(image!, settings), stretches);
  });
});

/** A word that is mostly an instruction without a jump, its registers and constants drawn. */
function drawnWord(draw: (below: number) => number): number {
  const word = draw(65536);
  const kind = draw(20);
  if (kind < 6) return word & 0x2fff; // two registers, multiplication, MOVW
  if (kind < 9) return 0x3000 + (word % 0x5000); // constants
  if (kind < 11) return [0x8000, 0x8200, 0x8008, 0x8208][draw(4)]! | (word & 0x2df7); // LDD, STD
  if (kind < 14) return 0x9000 | (word & 0x7ff); // loads, stores, one register, flags, computed jumps
  if (kind < 15) return 0x9600 | (word & 0x9ff); // pairs, single bits of I/O
  if (kind < 16) return 0xb000 | (word & 0xfff);
  if (kind < 17) return 0xe000 | (word & 0xfff);
  if (kind < 18) return 0xf800 | (word & 0x7f7); // BLD, BST, SBRC, SBRS
  if (kind < 19) return 0xf000 | (word & 0x407) | (draw(6) << 3); // short branches forward
  return 0xf000 | (word & 0x407) | ((127 - draw(12)) << 3); // and back
}

describe('translate: drawn machine code, in step with the interpreter', () => {
  test.each(CHIP_NAMES)('law: on %s', (chip) => {
    fc.assert(
      fc.property(fc.nat(2 ** 31 - 1), (seed) => {
        const draw = fork(seed);
        const words = Array.from({ length: 30 + draw(120) }, () => drawnWord(draw));
        // Pointers that mostly stay in the memory, and a way back to the start.
        const start = [26, 28, 30].flatMap((pair) => [
          ldi(pair, draw(256)),
          ldi(pair + 1, draw(9) === 0 ? draw(256) : 1),
        ]);
        const program = [...start, ...words];
        program.push(rjmp(-program.length - 1));
        const stretches = Array.from({ length: 40 }, () => 1 + draw(draw(2) === 0 ? 20 : 1500));
        runInStep((settings) => coreOf(program, { ...settings, chip }), stretches);
      }),
      { seed: 20261125, numRuns: 150 },
    );
  });
});

describe('translate: waiting', () => {
  test('law: loops that wait for a flag see each event when the interpreter does', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 7 }),
        fc.nat(8),
        fc.array(fc.nat(5000), { minLength: 1, maxLength: 5 }),
        (prescaler, nops, stretches) => {
          const wait = [...lds(24, ADCSRA), 0xfd86, rjmp(-4)];
          const main = [
            ldi(17, 0xc0 | prescaler),
            ...sts(ADCSRA, 17),
            ...new Array<number>(nops).fill(0),
            ...wait,
            one(3, 20),
            rjmp(-8 - nops),
          ];
          runInStep((settings) => coreOf(main, settings), stretches);
        },
      ),
      { seed: 20261125, numRuns: 200 },
    );
  });

  test('translated code leaps over the wait: a run of an hour ends', () => {
    const { core } = coreOf([rjmp(-1)], { engine: translatedEngine });
    core.run(16e6 * 3600);
    expect(core.cycle()).toBe(16e6 * 3600);
  });
});

describe('translate: it is translated code that runs', () => {
  /** The engine, counting how often the interpreter was left to finish a window. */
  const counting = (counts: { rest: number }): EngineKind => ({
    ...translatedEngine,
    start: (machine, image, interpretRest, access) =>
      translatedEngine.start(
        machine,
        image,
        () => {
          counts.rest++;
          return interpretRest();
        },
        access,
      ),
  });

  test('a program without events leaves the interpreter a rest a window, and no more', () => {
    const counts = { rest: 0 };
    const { image } = readImage(new Uint8Array(readFileSync(new URL('big.elf', IMAGES))), CHIPS.atmega328p);
    const { core } = coreOfImage(image!, { engine: counting(counts) });
    core.run(40e6);
    // Windows are of 4 million cycles; hooked stores stop it as well, one in 256 rounds of some 300 cycles.
    expect(counts.rest).toBeLessThan(3000);
  });

  test('jump tables before the program are followed', () => {
    const { image } = readImage(new Uint8Array(readFileSync(new URL('big.elf', IMAGES))), CHIPS.atmega328p);
    const program = decode(CHIPS.atmega328p, image!.flash, image!.given);
    const { entries } = translate(CHIPS.atmega328p, program, new Set(rootsOf(CHIPS.atmega328p, program)));
    // Each of the 40 routines has a table of 11 ways: without the tables none of these blocks would be found.
    expect(entries.filter((entry) => entry !== 0).length).toBeGreaterThan(800);
  });
});
