/**
 * A running 64-bit fingerprint of everything that was published: instant, signal, value, in order. Two runs are the
 * same run exactly when their digests agree (up to chance of 2^-64). It is no cryptographic hash.
 *
 * Publications are kept in a small buffer and mixed in when it is full, since a loop over many is several times faster
 * than one at a time. The mixing is that of MurmurHash3 (Appleby, public domain), two lanes with unlike constants.
 * Hot path; see test/speed/kernel.bench.ts.
 */
const CAPACITY = 128;

export class Digest {
  /** Instants and values in turn, and their bits. */
  private readonly numbers: Float64Array;
  private readonly words: Int32Array;
  private readonly signals = new Int32Array(CAPACITY);
  private readonly lanes = Int32Array.of(0x2545f491, 0x5f356495);
  private count = 0;

  constructor() {
    const bytes = new ArrayBuffer(2 * CAPACITY * Float64Array.BYTES_PER_ELEMENT);
    this.numbers = new Float64Array(bytes);
    this.words = new Int32Array(bytes);
  }

  /** Adds the present value of a signal, taken from the arrays that hold them so that no number is boxed. */
  add(signal: number, now: Float64Array, values: Float64Array): void {
    const { count, numbers } = this;
    this.signals[count] = signal;
    // Adding 0 turns -0 into +0: they are the same number to every reader of a trace.
    numbers[2 * count] = now[0]! + 0;
    numbers[2 * count + 1] = values[signal]! + 0;
    this.count = count + 1;
    if (count + 1 === CAPACITY) this.mix();
  }

  private mix(): void {
    const { words, signals, lanes, count } = this;
    let first = lanes[0]!;
    let second = lanes[1]!;
    for (let index = 0; index < count; index += 1) {
      const seconds = Math.imul(words[4 * index]!, 0x85ebca6b) ^ words[4 * index + 1]!;
      const value = Math.imul(words[4 * index + 2]!, 0xc2b2ae35) ^ words[4 * index + 3]!;
      const signal = Math.imul(signals[index]!, 0x27d4eb2f);
      first = Math.imul(((first << 13) | (first >>> 19)) ^ seconds, 0x1b873593) + (value ^ signal);
      second =
        Math.imul(((second << 15) | (second >>> 17)) ^ value ^ (value >>> 15), 0xcc9e2d51) ^
        (seconds + signal + (seconds >>> 13));
    }
    lanes[0] = first;
    lanes[1] = second;
    this.count = 0;
  }

  /** Sixteen hexadecimal digits. */
  toString(): string {
    this.mix();
    return [...this.lanes].map((lane) => (finished(lane) >>> 0).toString(16).padStart(8, '0')).join('');
  }

  save(): Int32Array {
    this.mix();
    return this.lanes.slice();
  }

  restore(lanes: Int32Array): void {
    this.lanes.set(lanes);
    this.count = 0;
  }
}

function finished(lane: number): number {
  let mixed = Math.imul(lane ^ (lane >>> 16), 0x85ebca6b);
  mixed = Math.imul(mixed ^ (mixed >>> 13), 0xc2b2ae35);
  return mixed ^ (mixed >>> 16);
}
