/**
 * A grid of dots in character cells: eight dots a cell in Unicode braille (2 wide, 4 high; The Unicode Standard, block
 * 2800), one a cell in ASCII. Columns of dots run in time, rows of dots from the top down.
 */
import type { Glyphs } from './glyphs.ts';
import type { Line, Span, Tone } from './line.ts';

/** Bit of the dot at [row][column] of a cell: dots are numbered down the left column first, the fourth row came later. */
const BRAILLE_BITS = [
  [0x01, 0x08],
  [0x02, 0x10],
  [0x04, 0x20],
  [0x40, 0x80],
] as const;

export class Canvas {
  readonly dotColumns: number;
  readonly dotRows: number;
  private readonly columns: number;
  private readonly rows: number;
  private readonly bits: Uint8Array;
  /** 1 where the cell's dots are curve rather than range. */
  private readonly curves: Uint8Array;
  private readonly shades: Uint8Array;
  private readonly marks = new Map<number, string>();
  private readonly glyphs: Glyphs;

  constructor(columns: number, rows: number, glyphs: Glyphs) {
    this.columns = columns;
    this.rows = rows;
    this.glyphs = glyphs;
    this.dotColumns = glyphs.isAscii ? columns : columns * 2;
    this.dotRows = glyphs.isAscii ? rows : rows * 4;
    this.bits = new Uint8Array(columns * rows);
    this.curves = new Uint8Array(columns * rows);
    this.shades = new Uint8Array(columns * rows);
  }

  /** Sets the dots of one dot column from one dot row to another, both included; what lies outside is left out. */
  column(dotColumn: number, fromRow: number, toRow: number, isCurve: boolean): void {
    if (dotColumn < 0 || dotColumn >= this.dotColumns) return;
    const top = Math.max(0, Math.min(fromRow, toRow));
    const bottom = Math.min(this.dotRows - 1, Math.max(fromRow, toRow));
    const { isAscii } = this.glyphs;
    for (let row = top; row <= bottom; row += 1) {
      const cell = isAscii ? row * this.columns + dotColumn : (row >> 2) * this.columns + (dotColumn >> 1);
      this.bits[cell]! |= isAscii ? 1 : BRAILLE_BITS[row & 3]![dotColumn & 1]!;
      if (isCurve) this.curves[cell] = 1;
    }
  }

  /** Shades whole cells: columns of cells from one dot column to another. */
  shade(fromDotColumn: number, toDotColumn: number): void {
    const divisor = this.glyphs.isAscii ? 1 : 2;
    const from = Math.max(0, Math.floor(fromDotColumn / divisor));
    const to = Math.min(this.columns - 1, Math.floor(toDotColumn / divisor));
    for (let row = 0; row < this.rows; row += 1)
      for (let column = from; column <= to; column += 1) this.shades[row * this.columns + column] = 1;
  }

  /** A vertical line of its own character, such as a cursor, where no curve is. */
  mark(column: number, character: string): void {
    if (column >= 0 && column < this.columns) this.marks.set(column, character);
  }

  lines(): Line[] {
    return Array.from({ length: this.rows }, (_, row) => this.line(row));
  }

  private line(row: number): Line {
    const spans: Span[] = [];
    let text = '';
    let tone: Tone = 'plain';
    for (let column = 0; column < this.columns; column += 1) {
      const cell = row * this.columns + column;
      const [character, cellTone] = this.character(cell, column);
      if (cellTone !== tone && text !== '') {
        spans.push({ text, tone });
        text = '';
      }
      tone = cellTone;
      text += character;
    }
    if (text !== '') spans.push({ text, tone });
    return spans;
  }

  private character(cell: number, column: number): readonly [string, Tone] {
    const { glyphs } = this;
    const bits = this.bits[cell]!;
    const isCurve = this.curves[cell] === 1;
    if (isCurve) return [glyphs.isAscii ? '*' : String.fromCharCode(0x2800 + bits), 'curve'];
    const mark = this.marks.get(column);
    if (mark !== undefined) return [mark, 'strong'];
    if (bits !== 0) return [glyphs.isAscii ? '-' : String.fromCharCode(0x2800 + bits), 'aim'];
    return this.shades[cell] === 1 ? [glyphs.shade, 'aim'] : [' ', 'plain'];
  }
}
