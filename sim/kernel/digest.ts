/**
 * A running 64-bit fingerprint of everything that was published: instant, signal, value, in order. Two runs are the
 * same run exactly when their digests agree (up to chance of 2^-64). It is no cryptographic hash.
 *
 * The mixing is that of the 32-bit MurmurHash3 finalizer (Appleby, public domain), two lanes with unlike constants.
 * Hot path; see test/speed/kernel.bench.ts.
 */
export class Digest {
  private readonly numbers = new Float64Array(2);
  private readonly words = new Int32Array(this.numbers.buffer);
  private readonly lanes = new Int32Array([0x2545f491, 0x5f356495]);

  add(signal: number, seconds: number, value: number): void {
    const { numbers, words, lanes } = this;
    // Adding 0 turns -0 into +0: they are the same number to every reader of a trace.
    numbers[0] = seconds + 0;
    numbers[1] = value + 0;
    let first = Math.imul(lanes[0]! ^ words[0]! ^ signal, 0x85ebca6b);
    first = Math.imul((first ^ (first >>> 13)) + words[1]!, 0xc2b2ae35);
    first = Math.imul(first ^ (first >>> 16) ^ words[2]!, 0x85ebca6b);
    first = Math.imul((first ^ (first >>> 13)) + words[3]!, 0xc2b2ae35);
    first ^= first >>> 16;
    const second = Math.imul(lanes[1]! + first, 0x27d4eb2f) ^ words[0]! ^ (words[2]! << 7);
    lanes[0] = first;
    lanes[1] = second ^ (second >>> 15);
  }

  /** Sixteen hexadecimal digits. */
  toString(): string {
    return [this.lanes[0]!, this.lanes[1]!].map((lane) => (lane >>> 0).toString(16).padStart(8, '0')).join('');
  }

  save(): Int32Array {
    return this.lanes.slice();
  }

  restore(lanes: Int32Array): void {
    this.lanes.set(lanes);
  }
}
