/**
 * A place in a WebAssembly file that moves on as it is read.
 *
 * Source: WebAssembly Core Specification 2.0 (W3C), ch. 5 Binary Format: numbers are LEB128, vectors start with a count.
 */

/** Something in the file that is not taken, at a byte of it. Thrown by the readers, caught where the file is taken. */
export class NotTaken extends Error {
  readonly offset: number;
  constructor(offset: number, says: string) {
    super(says);
    this.offset = offset;
  }
}

export class Cursor {
  readonly bytes: Uint8Array;
  at: number;
  readonly end: number;

  constructor(bytes: Uint8Array, at = 0, end = bytes.length) {
    this.bytes = bytes;
    this.at = at;
    this.end = end;
  }

  byte(): number {
    if (this.at >= this.end) throw new NotTaken(this.at, 'the file ends in the middle of something');
    return this.bytes[this.at++]!;
  }

  /** An unsigned number of up to 32 bits. */
  unsigned(): number {
    let value = 0;
    for (let shift = 0; ; shift += 7) {
      const byte = this.byte();
      value += (byte & 127) * 2 ** shift;
      if (byte < 128) return value;
      if (shift >= 28) throw new NotTaken(this.at, 'a number is longer than 32 bits');
    }
  }

  /** Passes a number of whatever length. */
  skipNumber(): void {
    while (this.byte() >= 128);
  }

  skip(count: number): void {
    if (count > this.end - this.at) throw new NotTaken(this.at, 'the file ends in the middle of something');
    this.at += count;
  }

  name(): string {
    const length = this.unsigned();
    const start = this.at;
    this.skip(length);
    return new TextDecoder().decode(this.bytes.subarray(start, this.at));
  }

  /** Reads a vector: its count, then so many members. */
  list<T>(member: () => T): T[] {
    const count = this.unsigned();
    const members: T[] = [];
    for (let index = 0; index < count; index += 1) members.push(member());
    return members;
  }
}

/** Appends an unsigned number. */
export function pushUnsigned(to: number[], value: number): void {
  for (let rest = value >>> 0; ; rest >>>= 7) {
    if (rest < 128) {
      to.push(rest);
      return;
    }
    to.push((rest & 127) | 128);
  }
}

/** Appends a signed number of 32 bits. */
export function pushSigned(to: number[], value: number): void {
  for (let rest = value | 0; ; rest >>= 7) {
    if (rest >= -64 && rest < 64) {
      to.push(rest & 127);
      return;
    }
    to.push((rest & 127) | 128);
  }
}

export function pushName(to: number[], name: string): void {
  const encoded = new TextEncoder().encode(name);
  pushUnsigned(to, encoded.length);
  pushBytes(to, encoded);
}

/** Appends bytes one by one, as a spread of many would overflow the stack. */
export function pushBytes(to: number[], bytes: ArrayLike<number>): void {
  for (let index = 0; index < bytes.length; index += 1) to.push(bytes[index]!);
}
