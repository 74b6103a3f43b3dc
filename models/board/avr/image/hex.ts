/**
 * Intel HEX, the text form of an image.
 *
 * Source: Hexadecimal Object File Format Specification, Revision A, 1/6/88: a record is `:`, length, load offset, type,
 * data, checksum; all its bytes sum to 0 modulo 256; the address of a byte is (base + offset) modulo 4 G after a linear
 * base record (type 04), and wraps within 64 K after a segment base record (type 02).
 */
import type { ImageSink } from './image.ts';

interface Base {
  readonly bytes: number;
  readonly isSegment: boolean;
}

/** Reads every record, telling the sink what is wrong with each by its line. */
export function readHex(file: Uint8Array, memory: 'flash' | 'eeprom', sink: ImageSink): void {
  let base: Base = { bytes: 0, isSegment: false };
  let line = 0;
  let ended = false;
  let records = 0;
  for (let start = 0; start < file.length; ) {
    line++;
    let end = file.indexOf(0x0a, start);
    if (end < 0) end = file.length;
    const text = trimmed(file.subarray(start, end));
    start = end + 1;
    if (text.length === 0) continue;
    if (text[0] !== 0x3a) {
      // One report is enough for a file that is something else altogether.
      if (records === 0) {
        sink.tell({ code: 'not-an-image', line, facts: { found: printable(text) } });
        return;
      }
      sink.tell({ code: 'bad-character', line, facts: { found: printable(text), expected: ':' } });
      continue;
    }
    records++;
    const record = recordBytes(text, line, sink);
    if (record === undefined) continue;
    if (ended) {
      sink.tell({ code: 'after-end', line, facts: {} });
      continue;
    }
    const type = record[3]!;
    if (type === 1) ended = true;
    else base = takeRecord(record, base, memory, line, sink);
  }
  if (!ended) sink.tell({ code: records === 0 ? 'not-an-image' : 'no-end-record', line: Math.max(1, line), facts: {} });
}

/** Data bytes in a record that is written: what the common tools write. */
const RECORD_BYTES = 16;

/** All of a memory of at most 64 KiB as records, one a line, with the end record. */
export function writeHex(memory: Uint8Array): string {
  let text = '';
  for (let offset = 0; offset < memory.length; offset += RECORD_BYTES)
    text += recordText(offset, 0, memory.subarray(offset, offset + RECORD_BYTES));
  return text + recordText(0, 1, new Uint8Array(0));
}

function recordText(offset: number, type: number, data: Uint8Array): string {
  const bytes = [data.length, offset >> 8, offset & 0xff, type, ...data];
  const sum = bytes.reduce((total, byte) => total + byte, 0);
  const digits = [...bytes, -sum & 0xff].map((byte) => byte.toString(16).padStart(2, '0')).join('');
  return `:${digits.toUpperCase()}\n`;
}

/** The bytes of one record with its length and checksum found good, or undefined after telling why not. */
function recordBytes(text: Uint8Array, line: number, sink: ImageSink): Uint8Array | undefined {
  const bytes = new Uint8Array((text.length - 1) >> 1);
  for (let index = 1; index < text.length; index++) {
    const digit = digitOf(text[index]!);
    if (digit < 0) {
      sink.tell({
        code: 'bad-character',
        line,
        facts: {
          column: index + 1,
          found: printable(text.subarray(index, index + 1)),
          expected: 'a hexadecimal digit',
        },
      });
      return undefined;
    }
    const at = (index - 1) >> 1;
    if (at < bytes.length) bytes[at] = (bytes[at]! << 4) | digit;
  }
  const expected = bytes.length > 0 ? bytes[0]! + 5 : 5;
  if (text.length % 2 === 0 || bytes.length !== expected) {
    sink.tell({ code: 'bad-length', line, facts: { digits: text.length - 1, expectedDigits: expected * 2 } });
    return undefined;
  }
  let sum = 0;
  for (const byte of bytes) sum += byte;
  if ((sum & 0xff) !== 0) {
    const found = bytes[bytes.length - 1]!;
    sink.tell({ code: 'bad-checksum', line, facts: { found, expected: (found - sum) & 0xff } });
    return undefined;
  }
  return bytes;
}

function takeRecord(record: Uint8Array, base: Base, memory: 'flash' | 'eeprom', line: number, sink: ImageSink): Base {
  const data = record.subarray(4, record.length - 1);
  const offset = (record[1]! << 8) | record[2]!;
  const type = record[3]!;
  if (type === 0) {
    if (base.isSegment && offset + data.length > 0x10000) {
      const fits = 0x10000 - offset;
      sink.place(memory, base.bytes + offset, data.subarray(0, fits), { line });
      sink.place(memory, base.bytes, data.subarray(fits), { line });
    } else if (data.length > 0) sink.place(memory, base.bytes + offset, data, { line });
    return base;
  }
  const expectedBytes = type === 2 || type === 4 ? 2 : 4;
  if (type > 5) sink.tell({ code: 'bad-record-type', line, facts: { found: type, greatest: 5 } });
  else if (data.length !== expectedBytes)
    sink.tell({ code: 'bad-length', line, facts: { type, bytes: data.length, expectedBytes } });
  else if (type === 2) return { bytes: ((data[0]! << 8) | data[1]!) * 16, isSegment: true };
  else if (type === 4) return { bytes: ((data[0]! << 8) | data[1]!) * 0x10000, isSegment: false };
  // Types 03 and 05 name a start address, which these chips do not have: they start at their reset vector.
  return base;
}

function trimmed(text: Uint8Array): Uint8Array {
  let start = 0;
  let end = text.length;
  while (start < end && isBlank(text[start]!)) start++;
  while (end > start && isBlank(text[end - 1]!)) end--;
  return text.subarray(start, end);
}

function isBlank(code: number): boolean {
  return code === 0x20 || code === 0x09 || code === 0x0d;
}

function digitOf(code: number): number {
  if (code >= 0x30 && code <= 0x39) return code - 0x30;
  const upper = code & 0xdf;
  return upper >= 0x41 && upper <= 0x46 ? upper - 0x37 : -1;
}

function printable(text: Uint8Array): string {
  let words = '';
  for (const code of text.subarray(0, 20)) words += code >= 0x20 && code < 0x7f ? String.fromCharCode(code) : '.';
  return words;
}
