/** Intel HEX as it is written: against the specification's own words, another tool, and our reader. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CHIPS } from '../../../../../models/board/avr/chips.ts';
import { writeHex } from '../../../../../models/board/avr/image/hex.ts';
import { readImage } from '../../../../../models/board/avr/image/image.ts';

const encode = (text: string): Uint8Array => new TextEncoder().encode(text);
const chip = CHIPS.atmega328p;
/** One word of a program, so that there is an image at all. */
const program = encode(':020000000C945E\n:00000001FF\n');
const contents = fc.uint8Array({ minLength: chip.eepromBytes, maxLength: chip.eepromBytes });
const hasObjcopy = spawnSync('objcopy', ['--version']).status === 0;

describe('image: Intel HEX, written', () => {
  test('records and their sums (Hexadecimal Object File Format Specification, Revision A, sections 2.6 and 2.7)', () => {
    // 01 + 00 + 00 + 00 + A5 = A6, whose two's complement is 5A; the end record is the one that the specification prints.
    expect(writeHex(Uint8Array.of(0xa5))).toBe(':01000000A55A\n:00000001FF\n');
    expect(writeHex(new Uint8Array(0))).toBe(':00000001FF\n');
    // Erased memory, as in print in manuals of device programmers (the reader's test has the same two records).
    expect(writeHex(new Uint8Array(32).fill(0xff))).toBe(
      `:10000000${'FF'.repeat(16)}00\n:10001000${'FF'.repeat(16)}F0\n:00000001FF\n`,
    );
    // 10 + 01 + 20 = 31 for the nineteenth record of zeros.
    expect(writeHex(new Uint8Array(0x130)).split('\n')[18]).toBe(`:10012000${'00'.repeat(16)}CF`);
  });

  test('law: what was written is read back, all of it', () => {
    fc.assert(
      fc.property(contents, (eeprom) => {
        const { image, mistakes } = readImage(program, chip, encode(writeHex(eeprom)));
        expect(mistakes).toEqual([]);
        expect(image!.eeprom).toEqual(eeprom);
      }),
      { seed: 20261125, numRuns: 50 },
    );
  });

  test.runIf(hasObjcopy)('GNU objcopy reads the same bytes', () => {
    const folder = mkdtempSync(join(tmpdir(), 'hex-written-'));
    const [eeprom] = fc.sample(contents, { seed: 20261125, numRuns: 1 });
    writeFileSync(join(folder, 'a.eep'), writeHex(eeprom!));
    const { status } = spawnSync('objcopy', [
      '-I',
      'ihex',
      '-O',
      'binary',
      join(folder, 'a.eep'),
      join(folder, 'a.bin'),
    ]);
    expect(status).toBe(0);
    expect(new Uint8Array(readFileSync(join(folder, 'a.bin')))).toEqual(eeprom);
  });
});

describe('image: the second file', () => {
  test('takes the place of what the first one gives the EEPROM, byte by byte', () => {
    const elf = new Uint8Array(readFileSync('test/models/board/image/keeps.elf'));
    expect([...readImage(elf, chip).image!.eeprom.subarray(0, 4)]).toEqual([0x10, 0, 0xa5, 0xff]);
    const { image, mistakes } = readImage(elf, chip, encode(':0100010033CB\n:00000001FF\n'));
    expect(mistakes).toEqual([]);
    expect([...image!.eeprom.subarray(0, 4)]).toEqual([0x10, 0x33, 0xa5, 0xff]);
  });

  test('may not give one address twice itself, and what is wrong with it is told as its own', () => {
    const twice = encode(':0100010033CB\n:0100010033CB\n:00000001FF\n');
    expect(readImage(program, chip, twice).mistakes).toMatchObject([{ code: 'overlap', line: 2, isOfEeprom: true }]);
  });
});
