/**
 * The table of source lines of an ELF file: which line each address was compiled from.
 *
 * Source: DWARF Debugging Information Format, versions 2 to 5, section 6.2 (line number program). Whatever is wrong here
 * costs the names of lines, never the program: such mistakes are harmless.
 */
import type { ImageSink, LineRow } from './image.ts';

interface Texts {
  readonly lineText: Uint8Array | undefined;
  readonly text: Uint8Array | undefined;
}

const ROW_LIMIT = 200_000;

/** A cursor that reads zeros past the end and remembers that it did. */
interface Cursor {
  at: number;
  readonly end: number;
  readonly bytes: Uint8Array;
  ranOut: boolean;
}

interface Header {
  readonly version: number;
  readonly files: readonly string[];
  readonly programStart: number;
  readonly leastInstruction: number;
  readonly lineBase: number;
  readonly lineRange: number;
  readonly opcodeBase: number;
  readonly operandCounts: readonly number[];
}

/** Adds the rows of every unit in `.debug_line` to the image, sorted by address within a sequence. */
export function readLines(section: Uint8Array, texts: Texts, sink: ImageSink): void {
  let start = 0;
  while (start + 4 <= section.length && sink.image.lines.length < ROW_LIMIT) {
    const cursor: Cursor = { at: start, end: section.length, bytes: section, ranOut: false };
    const unitEnd = start + 4 + fixed(cursor, 4);
    if (unitEnd > section.length) {
      sink.tell({
        code: 'bad-line-table',
        offset: start,
        facts: { needs: unitEnd, bytes: section.length },
        harmless: true,
      });
      return;
    }
    const unit: Cursor = { at: cursor.at, end: unitEnd, bytes: section, ranOut: false };
    const header = readHeader(unit, texts);
    if (header === undefined || unit.ranOut)
      sink.tell({ code: 'bad-line-table', offset: start, facts: {}, harmless: true });
    else {
      unit.at = header.programStart;
      runProgram(unit, header, sink.image.lines);
    }
    start = unitEnd;
  }
}

function readHeader(unit: Cursor, texts: Texts): Header | undefined {
  const version = fixed(unit, 2);
  if (version < 2 || version > 5) return undefined;
  if (version === 5) fixed(unit, 2); // Address and segment sizes.
  const headerBytes = fixed(unit, 4);
  const programStart = unit.at + headerBytes;
  const leastInstruction = fixed(unit, 1);
  if (version >= 4) fixed(unit, 1); // Operations of a long instruction word: always 1 here.
  fixed(unit, 1); // Default of is-statement: every row counts for us.
  const lineBase = (fixed(unit, 1) << 24) >> 24;
  const lineRange = fixed(unit, 1);
  const opcodeBase = fixed(unit, 1);
  const operandCounts: number[] = [0];
  for (let code = 1; code < opcodeBase; code++) operandCounts.push(fixed(unit, 1));
  if (lineRange === 0 || programStart > unit.end) return undefined;
  const files = version === 5 ? filesOfFive(unit, texts) : filesBeforeFive(unit);
  return files === undefined
    ? undefined
    : { version, files, programStart, leastInstruction, lineBase, lineRange, opcodeBase, operandCounts };
}

function filesBeforeFive(unit: Cursor): string[] {
  const folders = [''];
  for (let name = text(unit); name !== '' && !unit.ranOut; name = text(unit)) folders.push(name);
  const files = [''];
  for (let name = text(unit); name !== '' && !unit.ranOut; name = text(unit)) {
    files.push(joined(folders[leb(unit)] ?? '', name));
    leb(unit);
    leb(unit);
  }
  return files;
}

function filesOfFive(unit: Cursor, texts: Texts): string[] | undefined {
  const folders = entries(unit, texts);
  const files = entries(unit, texts);
  if (folders === undefined || files === undefined) return undefined;
  return files.map((file) => joined(file.folder === 0 ? '' : (folders[file.folder]?.name ?? ''), file.name));
}

/** A list of folders or files of version 5: first the fields that each has, then the entries. */
function entries(unit: Cursor, texts: Texts): { name: string; folder: number }[] | undefined {
  const fields: { content: number; form: number }[] = [];
  for (let left = fixed(unit, 1); left > 0; left--) fields.push({ content: leb(unit), form: leb(unit) });
  const count = leb(unit);
  const list: { name: string; folder: number }[] = [];
  if (fields.length === 0) return count === 0 ? list : undefined;
  for (let index = 0; index < count && !unit.ranOut; index++) {
    const entry = { name: '', folder: 0 };
    for (const { content, form } of fields) {
      const value = formValue(unit, form, texts);
      if (value === undefined) return undefined;
      if (content === 1) entry.name = String(value);
      else if (content === 2) entry.folder = Number(value);
    }
    list.push(entry);
  }
  return list;
}

function formValue(unit: Cursor, form: number, texts: Texts): string | number | undefined {
  if (form === 0x08) return text(unit);
  if (form === 0x1f || form === 0x0e) {
    const bytes = form === 0x1f ? texts.lineText : texts.text;
    const at = fixed(unit, 4);
    return bytes === undefined ? '' : text({ at, end: bytes.length, bytes, ranOut: false });
  }
  if (form === 0x0b) return fixed(unit, 1);
  if (form === 0x05) return fixed(unit, 2);
  if (form === 0x06) return fixed(unit, 4);
  if (form === 0x0f) return leb(unit);
  if (form === 0x1e) {
    unit.at += 16; // A checksum of the source file.
    return 0;
  }
  return undefined;
}

function runProgram(unit: Cursor, header: Header, rows: LineRow[]): void {
  let address = 0;
  let file = 1;
  let line = 1;
  const row = (ends: boolean): void => {
    if (rows.length < ROW_LIMIT) rows.push({ address, file: header.files[file] ?? '', line, ends });
  };
  while (unit.at < unit.end) {
    const code = fixed(unit, 1);
    if (code >= header.opcodeBase) {
      const step = code - header.opcodeBase;
      address += Math.floor(step / header.lineRange) * header.leastInstruction;
      line += header.lineBase + (step % header.lineRange);
      row(false);
    } else if (code === 0) {
      const bytes = leb(unit);
      const next = unit.at + bytes;
      const extended = fixed(unit, 1);
      if (extended === 1) row(true);
      if (extended === 2) address = fixed(unit, Math.min(4, Math.max(0, bytes - 1)));
      if (extended === 1) {
        address = 0;
        file = 1;
        line = 1;
      }
      if (next <= unit.at - 1) return;
      unit.at = next;
    } else if (code === 1) row(false);
    else if (code === 2) address += leb(unit) * header.leastInstruction;
    else if (code === 3) line += signedLeb(unit);
    else if (code === 4) file = leb(unit);
    else if (code === 8) address += Math.floor((255 - header.opcodeBase) / header.lineRange) * header.leastInstruction;
    else if (code === 9) address += fixed(unit, 2);
    else for (let left = header.operandCounts[code] ?? 0; left > 0; left--) leb(unit);
  }
}

function fixed(cursor: Cursor, bytes: number): number {
  if (cursor.at + bytes > cursor.end) {
    cursor.ranOut = true;
    cursor.at = cursor.end;
    return 0;
  }
  let value = 0;
  for (let index = bytes - 1; index >= 0; index--) value = value * 256 + cursor.bytes[cursor.at + index]!;
  cursor.at += bytes;
  return value;
}

function leb(cursor: Cursor): number {
  let value = 0;
  for (let scale = 1; ; scale *= 128) {
    const byte = fixed(cursor, 1);
    value += (byte & 127) * scale;
    if (byte < 128 || scale > 2 ** 40) return value;
  }
}

function signedLeb(cursor: Cursor): number {
  let value = 0;
  for (let scale = 1; ; scale *= 128) {
    const byte = fixed(cursor, 1);
    value += (byte & 127) * scale;
    if (byte < 128 || scale > 2 ** 40) return (byte & 64) !== 0 ? value - scale * 128 : value;
  }
}

function text(cursor: Cursor): string {
  let words = '';
  while (cursor.at < cursor.end) {
    const code = cursor.bytes[cursor.at++]!;
    if (code === 0) return words;
    if (words.length < 512) words += String.fromCharCode(code);
  }
  cursor.ranOut = true;
  return words;
}

function joined(folder: string, name: string): string {
  return folder === '' || name.startsWith('/') ? name : `${folder}/${name}`;
}
