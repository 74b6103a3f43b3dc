/**
 * A compiled program as the chip holds it: the bytes of both non-volatile memories, which of them the file gave, and
 * what the file says about the source. Whatever is wrong with a file is data with a place, never an exception.
 */
import type { Chip } from '../chips.ts';
import { readElf } from './elf.ts';
import { readHex } from './hex.ts';

export interface ImageSymbol {
  readonly name: string;
  /** Byte address within its memory. */
  readonly address: number;
  readonly bytes: number;
  readonly memory: 'flash' | 'data' | 'eeprom';
  readonly kind: 'function' | 'object' | 'other';
}

/** The machine code from `address` (bytes) up to the next row comes from this source line. */
export interface LineRow {
  readonly address: number;
  readonly file: string;
  readonly line: number;
  /** The row only ends a sequence: no code follows it. */
  readonly ends: boolean;
}

// biome-ignore format: words in a row
export const IMAGE_MISTAKES = [
  'not-an-image', 'bad-character', 'bad-length', 'bad-checksum', 'bad-record-type', 'no-end-record', 'after-end', 'overlap',
  'outside-chip', 'wrong-machine', 'wrong-class', 'truncated', 'bad-table', 'bad-line-table', 'empty',
] as const;
export type ImageMistakeCode = (typeof IMAGE_MISTAKES)[number];

export interface ImageMistake {
  readonly code: ImageMistakeCode;
  /** Line of a text file, from 1. */
  readonly line?: number;
  /** Byte of a binary file, from 0. */
  readonly offset?: number;
  /** It stands in the second file, the one with the EEPROM's contents. */
  readonly isOfEeprom?: true;
  /** What was found and what was expected, by name. */
  readonly facts: Readonly<Record<string, number | string>>;
  /** The rest of the file is still good to run: only what describes the source is lost. */
  readonly harmless?: true;
}

export interface Image {
  readonly flash: Uint8Array;
  /** 1 for each byte of the flash that the file gave. */
  readonly given: Uint8Array;
  readonly eeprom: Uint8Array;
  readonly symbols: readonly ImageSymbol[];
  readonly lines: readonly LineRow[];
}

export interface ImageReading {
  /** Missing when a mistake that is not harmless was found. */
  readonly image?: Image;
  readonly mistakes: readonly ImageMistake[];
}

/** Bytes of the file, put where the chip has them. Mistakes beyond `MISTAKE_LIMIT` are not kept. */
export interface ImageSink {
  readonly image: Image & { readonly symbols: ImageSymbol[]; readonly lines: LineRow[] };
  readonly mistakes: ImageMistake[];
  tell(mistake: ImageMistake): void;
  /** Places bytes, telling once where they do not fit or meet bytes placed before. */
  place(
    memory: 'flash' | 'eeprom',
    address: number,
    bytes: Uint8Array,
    where: { line?: number; offset?: number },
  ): void;
  /** What is placed from now on may take the place of what was placed before. */
  renew(memory: 'flash' | 'eeprom'): void;
}

const MISTAKE_LIMIT = 50;

/**
 * Reads an Intel HEX file or a linked ELF file for `chip`. `eeprom` is a second HEX file with the EEPROM's contents; what it
 * gives takes the place of what the first one gives.
 */
export function readImage(file: Uint8Array, chip: Chip, eeprom?: Uint8Array): ImageReading {
  const sink = imageSink(chip);
  const isElf = file.length >= 4 && file[0] === 0x7f && file[1] === 0x45 && file[2] === 0x4c && file[3] === 0x46;
  if (isElf) readElf(file, sink);
  else readHex(file, 'flash', sink);
  if (eeprom !== undefined) {
    sink.renew('eeprom');
    const { mistakes } = sink;
    const first = mistakes.length;
    readHex(eeprom, 'eeprom', sink);
    mistakes.forEach((mistake, index) => {
      if (index >= first) mistakes[index] = { ...mistake, isOfEeprom: true };
    });
  }
  if (sink.mistakes.length === 0 && !sink.image.given.includes(1)) sink.tell({ code: 'empty', facts: {} });
  const isGood = sink.mistakes.every((mistake) => mistake.harmless === true);
  return isGood ? { image: sink.image, mistakes: sink.mistakes } : { mistakes: sink.mistakes };
}

function imageSink(chip: Chip): ImageSink {
  const flash = new Uint8Array(chip.flashBytes).fill(0xff);
  const eeprom = new Uint8Array(chip.eepromBytes).fill(0xff);
  const given = { flash: new Uint8Array(chip.flashBytes), eeprom: new Uint8Array(chip.eepromBytes) };
  const mistakes: ImageMistake[] = [];
  const tell = (mistake: ImageMistake): void => {
    if (mistakes.length < MISTAKE_LIMIT) mistakes.push(mistake);
  };
  return {
    image: { flash, given: given.flash, eeprom, symbols: [], lines: [] },
    mistakes,
    tell,
    place(memory, address, bytes, where) {
      const target = memory === 'flash' ? flash : eeprom;
      const taken = given[memory];
      if (address + bytes.length > target.length) {
        tell({
          code: 'outside-chip',
          ...where,
          facts: { memory, address, bytes: bytes.length, memoryBytes: target.length, chip: chip.name },
        });
        return;
      }
      const clash = taken.subarray(address, address + bytes.length).indexOf(1);
      if (clash >= 0) tell({ code: 'overlap', ...where, facts: { memory, address: address + clash } });
      target.set(bytes, address);
      taken.fill(1, address, address + bytes.length);
    },
    renew: (memory) => void given[memory].fill(0),
  };
}
