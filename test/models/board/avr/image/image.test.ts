import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CHIP_NAMES, CHIPS } from '../../../../../models/board/avr/chips.ts';
import { readImage } from '../../../../../models/board/avr/image/image.ts';

const chip = CHIPS.atmega328p;
const END = ':00000001FF\n';
const OBJDUMP = [
  '16 0xa6',
  '17 0xa6',
  '21 0xac',
  '11 0xb8',
  '12 0xc2',
  '13 0xca',
  '20 0xd2',
  '21 0xee',
  '22 0x106',
  '23 0x118',
];
const file = (text: string): Uint8Array => new TextEncoder().encode(text);
const read = (text: string) => readImage(file(text), chip);
const codes = (text: string) => read(text).mistakes.map((mistake) => `${mistake.line}:${mistake.code}`);
const built = (name: string): Uint8Array => new Uint8Array(readFileSync(new URL(`../images/${name}`, import.meta.url)));

/** A record with its checksum, by the rule of the specification of 1988: all bytes sum to 0. */
function record(offset: number, type: number, data: readonly number[]): string {
  const bytes = [data.length, offset >> 8, offset & 0xff, type, ...data];
  const sum = bytes.reduce((total, byte) => total + byte, 0);
  return `:${[...bytes, -sum & 0xff].map((byte) => byte.toString(16).toUpperCase().padStart(2, '0')).join('')}\n`;
}

describe('image: hex records in print', () => {
  // Specification Rev. A of 1988 and the manuals listed with it; each sums to 0 modulo 256.
  test.each([
    [`:10001000${'FF'.repeat(16)}F0`, 0x10, 16],
    [`:10000000${'FF'.repeat(16)}00`, 0, 16],
    [':10E0000002E003E4F588758910F58DF58BD28E302A', 0xe000, 16],
    [':03012300010203D3', 0x123, 3],
    [':10010000214601360121470136007EFE09D2190140', 0x100, 16],
    [':0300300002337A1E', 0x30, 3],
  ])('%s is good', (line, address, bytes) => {
    const reading = read(`${line}\n${END}`);
    if (address + bytes > chip.flashBytes)
      expect(reading.mistakes.map((mistake) => mistake.code)).toEqual(['outside-chip']);
    else {
      expect(reading.mistakes).toEqual([]);
      expect(reading.image!.given.subarray(address, address + bytes)).toEqual(new Uint8Array(bytes).fill(1));
    }
  });

  // Published with wrong checksums or lengths.
  test.each([
    [':00000001FE', 'bad-checksum'],
    [':0D011C0000000000C3E0FF0000000000C30F', 'bad-checksum'],
    [':10000001FF', 'bad-length'],
  ])('%s is refused with its line', (line, code) => {
    expect(codes(`${record(0, 0, [1])}${line}\n${END}`)).toContain(`2:${code}`);
  });

  test('the wrong checksum is told with the right one', () => {
    expect(read(`:0D011C0000000000C3E0FF0000000000C30F\n${END}`).mistakes[0]!.facts).toEqual({
      found: 0x0f,
      expected: 0x71,
    });
  });
});

describe('image: hex addresses', () => {
  test('a linear base adds to the offset, a segment base is times 16', () => {
    const linear = read(`${record(0, 4, [0, 0])}${record(0x7000, 0, [1, 2])}${END}`);
    expect([...linear.image!.flash.subarray(0x7000, 0x7002)]).toEqual([1, 2]);
    const segment = read(`${record(0, 2, [0x07, 0x00])}${record(0x10, 0, [3])}${END}`);
    expect(segment.image!.flash[0x7010]).toBe(3);
  });

  test('bytes beyond the flash are refused', () => {
    expect(codes(`${record(0, 4, [0, 1])}${record(0, 0, [1])}${END}`)).toEqual(['2:outside-chip']);
    expect(codes(`${record(0x7fff, 0, [1, 2])}${END}`)).toEqual(['1:outside-chip']);
  });

  test('what is wrong with each line is told at once', () => {
    const text = `${record(0, 0, [1, 2])}${record(1, 0, [9])}${record(0, 7, [])}${record(0, 4, [1])}:0g\nxyz\n${END}${record(9, 0, [1])}`;
    expect(codes(text)).toEqual([
      '2:overlap',
      '3:bad-record-type',
      '4:bad-length',
      '5:bad-character',
      '6:bad-character',
      '8:after-end',
    ]);
  });

  test('a file without an end record is cut short', () => {
    expect(codes(record(0, 0, [1]))).toEqual(['1:no-end-record']);
    expect(codes('hello\n')).toEqual(['1:not-an-image']);
    expect(codes('')).toEqual(['1:not-an-image']);
    expect(read(END).mistakes.map((mistake) => mistake.code)).toEqual(['empty']);
  });
});

describe('image: elf', () => {
  test('loads the same bytes as the HEX file that objcopy made from it', () => {
    const elf = readImage(built('blink-count.elf'), chip);
    const hex = readImage(built('blink-count.hex'), chip);
    expect(elf.mistakes).toEqual([]);
    expect(hex.mistakes).toEqual([]);
    expect(elf.image!.flash).toEqual(hex.image!.flash);
    expect(elf.image!.given).toEqual(hex.image!.given);
  });

  test('symbols have the addresses and sizes that nm prints', () => {
    // avr-nm -S blink-count.elf
    const symbol = (name: string) =>
      readImage(built('blink-count.elf'), chip).image!.symbols.find((one) => one.name === name);
    expect(symbol('passes')).toEqual({ name: 'passes', address: 0x100, bytes: 2, memory: 'data', kind: 'object' });
    expect(symbol('table')).toEqual({ name: 'table', address: 0x106, bytes: 16, memory: 'data', kind: 'object' });
    expect(symbol('main')).toEqual({ name: 'main', address: 0xa6, bytes: 116, memory: 'flash', kind: 'function' });
  });

  test('source lines are those that objdump decodes', () => {
    // avr-objdump --dwarf=decodedline blink-count.elf
    const rows = readImage(built('blink-count.elf'), chip).image!.lines.map(
      (row) => `${row.line} 0x${row.address.toString(16)}`,
    );
    expect(rows.slice(0, OBJDUMP.length)).toEqual(OBJDUMP);
  });

  test('a wrong machine, class or kind is told at its offset', () => {
    const change = (offset: number, value: number) => {
      const bytes = built('blink-count.elf');
      bytes[offset] = value;
      return readImage(bytes, chip).mistakes.map((mistake) => `${mistake.offset}:${mistake.code}`);
    };
    expect(change(18, 40)).toEqual(['18:wrong-machine']);
    expect(change(4, 2)).toEqual(['4:wrong-class']);
    expect(change(5, 2)).toEqual(['4:wrong-class']);
    expect(change(16, 1)).toEqual(['16:not-an-image']);
  });

  test('law: a file cut anywhere gives a mistake or a whole program, and never throws', () => {
    const whole = built('blink-count.elf');
    fc.assert(
      fc.property(fc.nat({ max: whole.length - 1 }), (length) => {
        const reading = readImage(whole.subarray(0, length), chip);
        expect(reading.mistakes.length).toBeGreaterThan(0);
      }),
      { seed: 20261125, numRuns: 300 },
    );
  });
});

describe('image: any bytes', () => {
  const outcome = (bytes: Uint8Array, chipName: (typeof CHIP_NAMES)[number]) => {
    const reading = readImage(bytes, CHIPS[chipName]);
    expect(reading.image === undefined).toBe(reading.mistakes.some((mistake) => mistake.harmless !== true));
  };

  test('law: random bytes, random records and random damage never throw or hang', () => {
    const whole = built('blink-count.elf');
    const noise = fc.uint8Array({ maxLength: 400 });
    const magic = fc
      .uint8Array({ maxLength: 400 })
      .map((bytes) => Uint8Array.from([0x7f, 0x45, 0x4c, 0x46, 1, 1, 1, ...bytes]));
    const records = fc
      .array(fc.tuple(fc.nat(65535), fc.nat(6), fc.array(fc.nat(255), { maxLength: 8 })), { maxLength: 8 })
      .map((list) => file(list.map((one) => record(...one)).join('')));
    const damaged = fc
      .array(fc.tuple(fc.nat(whole.length - 1), fc.nat(255)), { minLength: 1, maxLength: 8 })
      .map((changes) => {
        const bytes = whole.slice();
        for (const [at, value] of changes) bytes[at] = value;
        return bytes;
      });
    fc.assert(fc.property(fc.oneof(noise, magic, records, damaged), fc.constantFrom(...CHIP_NAMES), outcome), {
      seed: 20261125,
      numRuns: 1500,
    });
  });

  test('law: what is placed by random records is what is read back', () => {
    fc.assert(
      fc.property(fc.nat(0x7f00), fc.uint8Array({ minLength: 1, maxLength: 200 }), (address, bytes) => {
        const reading = read(`${record(address, 0, [...bytes])}${END}`);
        expect(reading.image!.flash.subarray(address, address + bytes.length)).toEqual(bytes);
      }),
      { seed: 20261125, numRuns: 200 },
    );
  });
});
