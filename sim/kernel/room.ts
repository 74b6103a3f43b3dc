/**
 * Typed arrays cut from one piece of memory after another, filled with 0.
 *
 * An array with memory of its own takes about a microsecond to make and to free again, one that is cut from a piece a
 * fiftieth of that. A campaign makes thousands of runs of some hundred arrays each (test/speed/campaign-many.bench.ts).
 */
const PIECE_BYTES = 32_768;
/** Every array begins at a multiple of it, as those of float64 must. */
const GRAIN_BYTES = 8;

export class Room {
  private piece: ArrayBuffer;
  private used = 0;

  /** The size of the first piece, where it is known. */
  constructor(bytes: number = PIECE_BYTES) {
    this.piece = new ArrayBuffer(bytes);
  }

  doubles(count: number): Float64Array<ArrayBuffer> {
    const start = this.take(count * Float64Array.BYTES_PER_ELEMENT);
    return new Float64Array(this.piece, start, count);
  }

  integers(count: number): Int32Array<ArrayBuffer> {
    const start = this.take(count * Int32Array.BYTES_PER_ELEMENT);
    return new Int32Array(this.piece, start, count);
  }

  bytes(count: number): Uint8Array<ArrayBuffer> {
    const start = this.take(count);
    return new Uint8Array(this.piece, start, count);
  }

  /** Where so many bytes begin, in what is now `piece`. */
  private take(bytes: number): number {
    if (this.used + bytes > this.piece.byteLength) {
      this.piece = new ArrayBuffer(Math.max(PIECE_BYTES, bytes));
      this.used = 0;
    }
    const start = this.used;
    this.used = Math.ceil((start + bytes) / GRAIN_BYTES) * GRAIN_BYTES;
    return start;
  }
}
