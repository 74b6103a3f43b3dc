/**
 * Images checked in, so that the core is tested without a compiler. The bytes they must print are those that the same
 * sources (programs/*.c) printed when compiled by gcc 12 for the host; the images were made by avr-gcc 5.4 with -Os.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { CHIPS } from '../../../../models/board/avr/chips.ts';
import { readImage } from '../../../../models/board/avr/image/image.ts';
import { translatedEngine } from '../../../../models/board/avr/translate/engine.ts';
import { coreOfImage } from './machine-code.ts';

const IMAGES = new URL('./images/', import.meta.url);
const names = readdirSync(IMAGES).filter((name) => name.endsWith('-short.elf'));

describe('images: what they print', () => {
  test.each(
    names.flatMap(
      (name) =>
        [
          [name, 'interpreted'],
          [name, 'translated'],
        ] as const,
    ),
  )('%s, %s', (name, how) => {
    const { image } = readImage(new Uint8Array(readFileSync(new URL(name, IMAGES))), CHIPS.atmega328p);
    const { core, bus } = coreOfImage(image!, how === 'translated' ? { engine: translatedEngine } : {});
    for (let cycle = 1e6; !bus.ended() && cycle < 100e6; cycle += 1e6) core.run(cycle);
    expect(core.findings).toEqual([]);
    expect(Buffer.from(bus.printed).toString('hex')).toBe(
      readFileSync(new URL(name.replace('.elf', '.printed.txt'), IMAGES), 'utf8'),
    );
  });

  test('the CRC-32 of "123456789" is 0xCBF43926, the check value in the catalogue of CRC parameters', () => {
    const printed = readFileSync(new URL('crunch-short.printed.txt', IMAGES), 'utf8');
    expect(printed.slice(-8)).toBe('2639f4cb');
  });
});
