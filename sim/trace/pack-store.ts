/**
 * Where the full blocks of columns are kept. The first megabytes of a trace stay as they are, so that short runs pay nothing;
 * once there is more, all blocks are packed. Blocks that are equal once packed are kept once: columns that were told
 * at the same instants share them. Hot path; see test/speed/trace-memory.bench.ts.
 */
import { BLOCK, pack, unpack } from './pack.ts';

/** Blocks that a trace keeps unpacked: 16 MiB. */
const UNPACKED_MOST = 1024;
/** The grid of flowing signals, microseconds, and usual clocks. Instants of other clocks are packed a little less tightly. */
const INSTANT_RATES = [1000, 1e6, 8e6, 12e6, 16e6, 20e6];
const VALUE_RATES = [1];
/** So many of the latest packed blocks are looked through for an equal one; a power of two. */
const RECENT = 1024;

/** `BLOCK` samples that do not change any more: plain, the instants before the values, or packed. */
export interface Block {
  plain: Float64Array | null;
  instants: Uint32Array | null;
  values: Uint32Array | null;
}

/** What all columns of a trace share. */
export class BlockStore {
  private readonly unpackedMost: number;
  private readonly unpacked: Block[] = [];
  private isPacking: boolean;
  private readonly recent: (Uint32Array | undefined)[] = [];

  constructor(unpackedMost = UNPACKED_MOST) {
    this.unpackedMost = unpackedMost;
    this.isPacking = unpackedMost === 0;
  }

  /** Keeps the first `BLOCK` samples of these. */
  keep(instants: Float64Array, values: Float64Array): Block {
    const block: Block = { plain: null, instants: null, values: null };
    if (this.isPacking) {
      this.packInto(block, instants, values);
      return block;
    }
    block.plain = new Float64Array(2 * BLOCK);
    block.plain.set(instants.subarray(0, BLOCK));
    block.plain.set(values.subarray(0, BLOCK), BLOCK);
    this.unpacked.push(block);
    if (this.unpacked.length === this.unpackedMost) this.startPacking();
    return block;
  }

  private startPacking(): void {
    this.isPacking = true;
    for (const block of this.unpacked) {
      this.packInto(block, block.plain!, block.plain!.subarray(BLOCK));
      block.plain = null;
    }
    this.unpacked.length = 0;
  }

  private packInto(block: Block, instants: Float64Array, values: Float64Array): void {
    block.instants = this.shared(pack(instants, INSTANT_RATES, false));
    block.values = this.shared(pack(values, VALUE_RATES, true));
  }

  /** The same, or a recent one that is equal. */
  private shared(packed: Uint32Array): Uint32Array {
    let hash = packed.length;
    for (let index = 0; index < packed.length; index += 1) hash = Math.imul(hash ^ packed[index]!, 0x9e37_79b1);
    const place = (hash >>> 16) & (RECENT - 1);
    const other = this.recent[place];
    if (other !== undefined && isEqual(packed, other)) return other;
    this.recent[place] = packed;
    return packed;
  }
}

/** The full blocks of one column, in order of time. */
export class Blocks {
  private readonly store: BlockStore;
  private list: Block[] = [];
  private firstSeconds: number[] = [];
  /** The block that was read last, for those who read on, and room to unpack it into. */
  private openIndex = -1;
  private opened: Float64Array = nothing;
  private room = nothing;

  constructor(store: BlockStore) {
    this.store = store;
  }

  get count(): number {
    return this.list.length;
  }

  /** Keeps the first `BLOCK` samples of these as the next block. */
  add(instants: Float64Array, values: Float64Array): void {
    this.firstSeconds.push(instants[0]!);
    this.list.push(this.store.keep(instants, values));
  }

  /** The samples of a block, the instants before the values; good until another is asked for. */
  open(index: number): Float64Array {
    if (index === this.openIndex) return this.opened;
    const { plain, instants, values } = this.list[index]!;
    this.openIndex = index;
    if (plain !== null) {
      this.opened = plain;
      return plain;
    }
    if (this.room === nothing) this.room = new Float64Array(2 * BLOCK);
    unpack(instants!, this.room, 0);
    unpack(values!, this.room, BLOCK);
    this.opened = this.room;
    return this.room;
  }

  /** Index of the last block that begins at or before `seconds`; -1 for none. */
  indexAt(seconds: number): number {
    const { firstSeconds } = this;
    let low = 0;
    let high = firstSeconds.length;
    while (low < high) {
      const middle = (low + high) >>> 1;
      if (firstSeconds[middle]! <= seconds) low = middle + 1;
      else high = middle;
    }
    return low - 1;
  }

  /** Forgets all but the first `count`. */
  cutTo(count: number): void {
    this.list.length = count;
    this.firstSeconds.length = count;
    if (this.openIndex >= count) this.openIndex = -1;
  }

  /** The first blocks of another column, in place of all of its own. They are shared, as blocks never change. */
  takeOver(other: Blocks, count: number): void {
    this.list = other.list.slice(0, count);
    this.firstSeconds = other.firstSeconds.slice(0, count);
    this.openIndex = -1;
  }

  /** Adds to `held` each piece of memory that is held. */
  countInto(held: Set<ArrayBufferLike>): void {
    held.add(this.room.buffer);
    for (const block of this.list)
      for (const array of [block.plain, block.instants, block.values]) if (array !== null) held.add(array.buffer);
  }
}

const nothing = new Float64Array(0);

function isEqual(one: Uint32Array, other: Uint32Array): boolean {
  if (one.length !== other.length) return false;
  for (let index = 0; index < one.length; index += 1) if (one[index] !== other[index]) return false;
  return true;
}
