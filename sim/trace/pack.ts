/**
 * Packs a block of recorded numbers into fewer bytes, to the last bit, and unpacks it again.
 *
 * What a run records is rarely any of the 2^64 numbers: instants lie on a clock's ticks, modes and counts are few, and what
 * flows goes on as it went. So a block is kept as the cheapest of
 *
 *     a list of its different numbers, and for each sample its place in the list;
 *     whole numbers over a rate, where all are just that; else the bits of the floats, read as whole numbers:
 *     of either the differences of the order (0 to 4) that makes them smallest, in groups, each as wide as its widest.
 *
 * Neighbours among floats of one sign are neighbours among their bits as whole numbers, so that a smooth curve has small
 * differences (the property of IEEE 754 that lets floats be sorted as integers). Hot path; see test/speed/trace-memory.bench.ts.
 */

/** Samples of a block. */
export const BLOCK = 1024;

/** So many numbers share a width; of width w they then take just w words. */
const GROUP = 32;
const GROUPS = BLOCK / GROUP;
const ORDER_MOST = 4;
/** Stands in the place of the order where the block is a list. */
const LISTED = ORDER_MOST + 1;
const LIST_MOST = 256;
/** A list as short as this is not held against anything else. */
const LIST_SURE = 16;
const WIDTHS_AT = 2;
const FIRST_AT = WIDTHS_AT + GROUPS / 4;

// Room to work in, filled anew by each call. The low and the high half of each number stand side by side.
const floats = new Float64Array(BLOCK);
const halves = new Int32Array(floats.buffer);
const words = new Uint32Array(FIRST_AT + 2 * LIST_MOST + 2 * BLOCK);
const bestWidths = new Uint8Array(GROUPS);
const triedWidths = new Uint8Array(GROUPS);
const places = new Int32Array(2 * BLOCK);
const slots = new Int16Array(2 * LIST_MOST);

/** Packs the first `BLOCK` numbers. `rates` are those that they may be whole numbers over, the likeliest first. */
export function pack(source: Float64Array, rates: readonly number[]): Uint32Array {
  floats.set(source.subarray(0, BLOCK));
  const listed = listNumbers();
  const listWords = listed === 0 ? Number.POSITIVE_INFINITY : 2 + 2 * listed + GROUPS * widthOfPlaces(listed);
  if (listed > 0 && listed <= LIST_SURE) return packList(listed);
  const rate = rateOf(rates);
  if (rate > 0) spreadCounts(rate);
  let order = 0;
  let least = measureWidths(order, bestWidths);
  for (let tried = 1; tried <= ORDER_MOST; tried += 1) {
    differences();
    const size = measureWidths(tried, triedWidths);
    if (size >= least) {
      sums();
      break;
    }
    order = tried;
    least = size;
    bestWidths.set(triedWidths);
  }
  return listWords > FIRST_AT + 2 * order + least ? packDifferences(order, rate) : packList(listed);
}

/** Gives the numbers of a packed block back, into `target` from the place `at`. */
export function unpack(packed: Uint32Array, target: Float64Array, at: number): void {
  const order = packed[0]! & 0xff;
  if (order === LISTED) unpackList(packed);
  else unpackDifferences(packed, order);
  target.set(floats, at);
}

/** The rate over which all numbers of the block are whole; 0 for none. Never for a minus 0, which a whole number cannot tell. */
function rateOf(rates: readonly number[]): number {
  for (const rate of rates) {
    let index = 0;
    while (index < BLOCK && isCountOver(floats[index]!, rate)) index += 1;
    if (index === BLOCK) return rate;
  }
  return 0;
}

function isCountOver(number: number, rate: number): boolean {
  const count = Math.round(number * rate);
  return count / rate === number && Math.abs(count) <= Number.MAX_SAFE_INTEGER && (number !== 0 || 1 / number > 0);
}

/** Each number as its count over the rate. */
function spreadCounts(rate: number): void {
  for (let index = 0; index < BLOCK; index += 1) {
    const count = Math.round(floats[index]! * rate);
    const high = Math.floor(count / 0x1_0000_0000);
    halves[2 * index] = count - high * 0x1_0000_0000;
    halves[2 * index + 1] = high;
  }
}

/** From the end, each number less the one before it; the first stays. */
function differences(): void {
  for (let at = 2 * BLOCK - 2; at > 0; at -= 2) {
    const low = halves[at]!;
    const before = halves[at - 2]!;
    halves[at] = low - before;
    halves[at + 1] = halves[at + 1]! - halves[at - 1]! - (low >>> 0 < before >>> 0 ? 1 : 0);
  }
}

/** Takes `differences` back. */
function sums(): void {
  let low = halves[0]!;
  let high = halves[1]!;
  for (let at = 2; at < 2 * BLOCK; at += 2) {
    const step = halves[at]!;
    low = (low + step) | 0;
    high = (high + halves[at + 1]! + (low >>> 0 < step >>> 0 ? 1 : 0)) | 0;
    halves[at] = low;
    halves[at + 1] = high;
  }
}

/** Bits that each group needs, sign included, and the words of all. The first `order` numbers stand apart. */
function measureWidths(order: number, result: Uint8Array): number {
  let sum = 0;
  let at = 2 * order;
  for (let group = 0; group < GROUPS; group += 1) {
    const end = 2 * GROUP * (group + 1);
    let low = 0;
    let high = 0;
    let signs = 0;
    for (; at < end; at += 2) {
      const sign = halves[at + 1]! >> 31;
      low |= halves[at]! ^ sign;
      high |= halves[at + 1]! ^ sign;
      signs |= sign;
    }
    const width = high !== 0 ? 65 - Math.clz32(high) : low !== 0 ? 33 - Math.clz32(low) : -signs;
    result[group] = width;
    sum += width;
  }
  return sum;
}

function packDifferences(order: number, rate: number): Uint32Array {
  words[0] = order;
  words[1] = rate;
  words.fill(0, WIDTHS_AT, FIRST_AT);
  for (let group = 0; group < GROUPS; group += 1)
    words[WIDTHS_AT + (group >> 2)]! |= bestWidths[group]! << (8 * (group & 3));
  let at = FIRST_AT;
  for (let half = 0; half < 2 * order; half += 1) {
    words[at] = halves[half]!;
    halves[half] = 0;
    at += 1;
  }
  for (let group = 0; group < GROUPS; group += 1) {
    const width = bestWidths[group]!;
    const first = 2 * GROUP * group;
    if (width <= 32) {
      packGroup(halves, first, width, at);
    } else {
      for (let index = 0; index < GROUP; index += 1) words[at + index] = halves[first + 2 * index]!;
      packGroup(halves, first + 1, width - 32, at + GROUP);
    }
    at += width;
  }
  return words.slice(0, at);
}

function unpackDifferences(packed: Uint32Array, order: number): void {
  const rate = packed[1]!;
  let at = FIRST_AT + 2 * order;
  for (let group = 0; group < GROUPS; group += 1) {
    const width = (packed[WIDTHS_AT + (group >> 2)]! >>> (8 * (group & 3))) & 0xff;
    const first = 2 * GROUP * group;
    if (width <= 32) {
      unpackGroup(packed, at, width, halves, first);
      for (let half = first; half < first + 2 * GROUP; half += 2) halves[half + 1] = halves[half]! >> 31;
    } else {
      for (let index = 0; index < GROUP; index += 1) halves[first + 2 * index] = packed[at + index]!;
      unpackGroup(packed, at + GROUP, width - 32, halves, first + 1);
    }
    at += width;
  }
  for (let half = 0; half < 2 * order; half += 1) halves[half] = packed[FIRST_AT + half]!;
  for (let count = 0; count < order; count += 1) sums();
  if (rate === 0) return;
  for (let index = 0; index < BLOCK; index += 1)
    floats[index] = (halves[2 * index + 1]! * 0x1_0000_0000 + (halves[2 * index]! >>> 0)) / rate;
}

/** The different numbers of the block, by their bits, into `words`, and the place of each in `places`; 0 when they are too many. */
function listNumbers(): number {
  let count = 0;
  slots.fill(-1);
  for (let index = 0; index < BLOCK; index += 1) {
    const low = halves[2 * index]!;
    const high = halves[2 * index + 1]!;
    let slot = Math.imul(low ^ Math.imul(high, 0x85eb_ca6b), 0x9e37_79b1) >>> 23;
    let place = slots[slot]!;
    while (place >= 0 && (words[2 + 2 * place]! !== low >>> 0 || words[3 + 2 * place]! !== high >>> 0)) {
      slot = (slot + 1) & (2 * LIST_MOST - 1);
      place = slots[slot]!;
    }
    if (place < 0) {
      if (count === LIST_MOST) return 0;
      place = count;
      slots[slot] = place;
      words[2 + 2 * place] = low;
      words[3 + 2 * place] = high;
      count += 1;
    }
    places[2 * index] = place;
  }
  return count;
}

function widthOfPlaces(count: number): number {
  return 32 - Math.clz32(count - 1);
}

/** `listNumbers` has left the list in its place. */
function packList(count: number): Uint32Array {
  words[0] = LISTED;
  words[1] = count;
  const width = widthOfPlaces(count);
  let at = 2 + 2 * count;
  for (let group = 0; group < GROUPS; group += 1) {
    packGroup(places, 2 * GROUP * group, width, at);
    at += width;
  }
  return words.slice(0, at);
}

function unpackList(packed: Uint32Array): void {
  const count = packed[1]!;
  const width = widthOfPlaces(count);
  let at = 2 + 2 * count;
  for (let group = 0; group < GROUPS; group += 1) {
    unpackGroup(packed, at, width, places, 2 * GROUP * group);
    at += width;
  }
  // A place was read with a sign, which it has not.
  const all = (1 << width) - 1;
  for (let index = 0; index < BLOCK; index += 1) {
    const place = places[2 * index]! & all;
    halves[2 * index] = packed[2 + 2 * place]!;
    halves[2 * index + 1] = packed[3 + 2 * place]!;
  }
}

/** The low `width` bits (0 to 32) of every other entry from `first`, into `words` from `at`. */
function packGroup(entries: Int32Array, first: number, width: number, at: number): void {
  if (width === 0) return;
  const mask = width === 32 ? -1 : (1 << width) - 1;
  let held = 0;
  let used = 0;
  let to = at;
  for (let from = first; from < first + 2 * GROUP; from += 2) {
    const bits = entries[from]! & mask;
    held |= bits << used;
    used += width;
    if (used < 32) continue;
    words[to] = held;
    to += 1;
    used -= 32;
    held = used === 0 ? 0 : bits >>> (width - used);
  }
}

/** Back into every other entry, the sign extended. */
function unpackGroup(packed: Uint32Array, at: number, width: number, entries: Int32Array, first: number): void {
  if (width === 0) {
    for (let to = first; to < first + 2 * GROUP; to += 2) entries[to] = 0;
    return;
  }
  const shift = 32 - width;
  let from = at;
  let used = 0;
  for (let to = first; to < first + 2 * GROUP; to += 2) {
    let bits = packed[from]! >>> used;
    if (used + width > 32) bits |= packed[from + 1]! << (32 - used);
    entries[to] = (bits << shift) >> shift;
    used += width;
    if (used < 32) continue;
    used -= 32;
    from += 1;
  }
}
