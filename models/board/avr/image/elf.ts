/**
 * Linked ELF files: what is loaded, the symbols, and the table of source lines.
 *
 * Sources: System V ABI, edition 4.1, ch. 4 and 5 (headers, sections, symbols, program headers); machine number 83 for
 * these cores from the ABI's list of machines. The linker puts the memories at offsets of one address space: flash at
 * 0, data at 0x800000, EEPROM at 0x810000, fuses and lock bits from 0x820000 (binutils linker scripts for avr5).
 */
import type { ImageSink, ImageSymbol } from './image.ts';
import { readLines } from './lines.ts';

const MACHINE = 83;
const DATA_BASE = 0x800000;
const EEPROM_BASE = 0x810000;
const FUSES_BASE = 0x820000;
const SYMBOL_LIMIT = 20_000;

interface Section {
  readonly name: number;
  readonly type: number;
  readonly offset: number;
  readonly bytes: number;
  readonly link: number;
}

/** Reads a file that starts with the ELF magic. */
export function readElf(file: Uint8Array, sink: ImageSink): void {
  const view = new DataView(file.buffer, file.byteOffset, file.byteLength);
  if (file.length < 52) {
    sink.tell({ code: 'truncated', offset: file.length, facts: { headerBytes: 52 } });
    return;
  }
  if (file[4] !== 1 || file[5] !== 1) {
    sink.tell({
      code: 'wrong-class',
      offset: 4,
      facts: { class: file[4]!, order: file[5]!, expected: '32 bit, little-endian' },
    });
    return;
  }
  const machine = view.getUint16(18, true);
  if (machine !== MACHINE) {
    sink.tell({ code: 'wrong-machine', offset: 18, facts: { found: machine, expected: MACHINE } });
    return;
  }
  const type = view.getUint16(16, true);
  if (type !== 2) {
    sink.tell({ code: 'not-an-image', offset: 16, facts: { found: type, expected: 'a linked program (2)' } });
    return;
  }
  placeSegments(file, view, sink);
  const sections = readSections(file, view, sink);
  for (const section of sections)
    if (section.type === 2) readSymbols(file, view, section, sections[section.link], sink);
  const names = sections[view.getUint16(50, true)];
  const find = (name: string): Uint8Array | undefined => {
    const section = sections.find((one) => names !== undefined && textAt(file, names.offset + one.name) === name);
    return section === undefined ? undefined : file.subarray(section.offset, section.offset + section.bytes);
  };
  const lines = find('.debug_line');
  if (lines !== undefined) readLines(lines, { lineText: find('.debug_line_str'), text: find('.debug_str') }, sink);
}

function placeSegments(file: Uint8Array, view: DataView, sink: ImageSink): void {
  const table = view.getUint32(28, true);
  const size = view.getUint16(42, true);
  const count = view.getUint16(44, true);
  if (count > 0 && (size < 32 || table + size * count > file.length)) {
    sink.tell({ code: 'truncated', offset: Math.min(table, file.length), facts: { table: 'segments', count } });
    return;
  }
  for (let index = 0; index < count; index++) {
    const at = table + index * size;
    const offset = view.getUint32(at + 4, true);
    const address = view.getUint32(at + 12, true); // The load address: initial data lies in flash.
    const bytes = view.getUint32(at + 16, true);
    if (view.getUint32(at, true) !== 1 || bytes === 0) continue;
    if (offset + bytes > file.length) {
      sink.tell({
        code: 'truncated',
        offset: at,
        facts: { table: 'segment contents', needs: offset + bytes, fileBytes: file.length },
      });
    } else if (address < DATA_BASE) sink.place('flash', address, file.subarray(offset, offset + bytes), { offset: at });
    else if (address >= EEPROM_BASE && address < FUSES_BASE)
      sink.place('eeprom', address - EEPROM_BASE, file.subarray(offset, offset + bytes), { offset: at });
    else if (address < EEPROM_BASE)
      sink.tell({ code: 'outside-chip', offset: at, facts: { memory: 'data', address, bytes } });
    // Fuses, lock bits and the signature set the chip up and are not code: the bench file names them instead.
  }
}

function readSections(file: Uint8Array, view: DataView, sink: ImageSink): Section[] {
  const table = view.getUint32(32, true);
  const size = view.getUint16(46, true);
  const count = view.getUint16(48, true);
  if (count === 0) return [];
  if (size < 40 || table + size * count > file.length) {
    sink.tell({ code: 'truncated', offset: Math.min(table, file.length), facts: { table: 'sections', count } });
    return [];
  }
  const sections: Section[] = [];
  for (let index = 0; index < count; index++) {
    const at = table + index * size;
    const word = (offset: number) => view.getUint32(at + offset, true);
    const section = { name: word(0), type: word(4), offset: word(16), bytes: word(20), link: word(24) };
    // Sections without contents (.bss) may point anywhere.
    const isGood = section.type === 8 || section.type === 0 || section.offset + section.bytes <= file.length;
    if (!isGood)
      sink.tell({
        code: 'truncated',
        offset: at,
        facts: { table: 'section contents', needs: section.offset + section.bytes, fileBytes: file.length },
      });
    sections.push(isGood ? section : { ...section, bytes: 0, offset: 0 });
  }
  return sections;
}

function readSymbols(
  file: Uint8Array,
  view: DataView,
  section: Section,
  names: Section | undefined,
  sink: ImageSink,
): void {
  if (names === undefined) {
    sink.tell({ code: 'bad-table', offset: section.offset, facts: { table: 'symbols' }, harmless: true });
    return;
  }
  const count = Math.min(Math.floor(section.bytes / 16), SYMBOL_LIMIT);
  for (let index = 0; index < count; index++) {
    const at = section.offset + index * 16;
    const value = view.getUint32(at + 4, true);
    const type = file[at + 12]! & 15;
    const name = textAt(file, names.offset + view.getUint32(at, true));
    const home = view.getUint16(at + 14, true);
    // Types 3 and 4 name sections and source files; home 0 means undefined, 0xff00 and above plain numbers.
    if (name === '' || type > 2 || home === 0 || home >= 0xff00) continue;
    const memory = value < DATA_BASE ? 'flash' : value < EEPROM_BASE ? 'data' : 'eeprom';
    if (value >= FUSES_BASE) continue;
    const symbol: ImageSymbol = {
      name,
      address: memory === 'flash' ? value : memory === 'data' ? value - DATA_BASE : value - EEPROM_BASE,
      bytes: view.getUint32(at + 8, true),
      memory,
      kind: type === 2 ? 'function' : type === 1 ? 'object' : 'other',
    };
    sink.image.symbols.push(symbol);
  }
}

function textAt(file: Uint8Array, offset: number): string {
  let text = '';
  for (let at = offset; at < file.length && at < offset + 512 && file[at] !== 0; at++)
    text += String.fromCharCode(file[at]!);
  return text;
}
