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
/** The order is chosen by stretches this long, which is a group with what goes before it. */
const STRETCH = GROUP + ORDER_MOST;
const STRETCHES = 4;
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
const widths = new Uint8Array(GROUPS);
const probe = new Int32Array(2 * STRETCH * STRETCHES);
const places = new Int32Array(2 * BLOCK);
const slots = new Int16Array(2 * LIST_MOST);

/**
 * Packs the first `BLOCK` numbers. `rates` are those that they may be whole numbers over, the likeliest first; `isListed` says
 * whether a list of them may be short, as it never is of instants.
 */
export function pack(source: Float64Array, rates: readonly number[], isListed: boolean): Uint32Array {
  floats.set(source.subarray(0, BLOCK));
  const listed = isListed ? listNumbers() : 0;
  if (listed > 0 && listed <= LIST_SURE) return packList(listed);
  const rate = rates.find(isCountedOver) ?? 0;
  const order = likelyOrder();
  for (let count = 0; count < order; count += 1) differences(halves, BLOCK);
  const size = measureWidths(order);
  const listWords = listed === 0 ? Number.POSITIVE_INFINITY : 2 + 2 * listed + GROUPS * widthOfPlaces(listed);
  return listWords > FIRST_AT + 2 * order + size ? packDifferences(order, rate) : packList(listed);
}

/** Gives the numbers of a packed block back, into `target` from the place `at`. */
export function unpack(packed: Uint32Array, target: Float64Array, at: number): void {
  const order = packed[0]! & 0xff;
  if (order === LISTED) unpackList(packed);
  else unpackDifferences(packed, order);
  target.set(floats, at);
}

/**
 * Puts the count over the rate in place of each number, if all numbers are whole over it; else leaves all as they are. Never
 * for a minus 0, which a count cannot tell.
 */
function isCountedOver(rate: number): boolean {
  let counted = 0;
  for (; counted < BLOCK; counted += 1) {
    const number = floats[counted]!;
    const count = Math.round(number * rate);
    if (count / rate !== number || Math.abs(count) > Number.MAX_SAFE_INTEGER || (count === 0 && 1 / number < 0)) break;
    const high = Math.floor(count / 0x1_0000_0000);
    halves[2 * counted] = count - high * 0x1_0000_0000;
    halves[2 * counted + 1] = high;
  }
  if (counted === BLOCK) return true;
  for (let index = 0; index < counted; index += 1) floats[index] = numberOver(rate, index);
  return false;
}

function numberOver(rate: number, index: number): number {
  return (halves[2 * index + 1]! * 0x1_0000_0000 + (halves[2 * index]! >>> 0)) / rate;
}

/** The order that makes the differences smallest, as far as a few stretches tell. */
function likelyOrder(): number {
  for (let stretch = 0; stretch < STRETCHES; stretch += 1) {
    const from = (2 * BLOCK * (2 * stretch + 1)) / (2 * STRETCHES);
    for (let half = 0; half < 2 * STRETCH; half += 1) probe[2 * STRETCH * stretch + half] = halves[from + half]!;
  }
  let order = 0;
  let least = probeWidths();
  for (let tried = 1; tried <= ORDER_MOST && least > 0; tried += 1) {
    differences(probe, STRETCH * STRETCHES);
    const size = probeWidths();
    if (size >= least) break;
    order = tried;
    least = size;
  }
  return order;
}

/** Bits for the numbers of the stretches, each after its first, which have none before them to differ from. */
function probeWidths(): number {
  let sum = 0;
  for (let stretch = 0; stretch < STRETCHES; stretch += 1)
    sum += widthOf(probe, 2 * (STRETCH * stretch + ORDER_MOST), 2 * STRETCH * (stretch + 1));
  return sum;
}

/** From the end, each number less the one before it; the first stays. */
function differences(numbers: Int32Array, count: number): void {
  let low = numbers[2 * count - 2]!;
  let high = numbers[2 * count - 1]!;
  for (let at = 2 * count - 2; at > 0; at -= 2) {
    const lowBefore = numbers[at - 2]!;
    const highBefore = numbers[at - 1]!;
    numbers[at] = low - lowBefore;
    numbers[at + 1] = high - highBefore - (low >>> 0 < lowBefore >>> 0 ? 1 : 0);
    low = lowBefore;
    high = highBefore;
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

/** Finds the bits that each group needs, and gives the words of all. The first `order` numbers stand apart. */
function measureWidths(order: number): number {
  let sum = 0;
  for (let group = 0; group < GROUPS; group += 1) {
    const width = widthOf(halves, group === 0 ? 2 * order : 2 * GROUP * group, 2 * GROUP * (group + 1));
    widths[group] = width;
    sum += width;
  }
  return sum;
}

/** Bits for the widest of some numbers, sign included. */
function widthOf(numbers: Int32Array, from: number, end: number): number {
  let low = 0;
  let high = 0;
  let signs = 0;
  for (let at = from; at < end; at += 2) {
    const sign = numbers[at + 1]! >> 31;
    low |= numbers[at]! ^ sign;
    high |= numbers[at + 1]! ^ sign;
    signs |= sign;
  }
  return high !== 0 ? 65 - Math.clz32(high) : low !== 0 ? 33 - Math.clz32(low) : -signs;
}

function packDifferences(order: number, rate: number): Uint32Array {
  words[0] = order;
  words[1] = rate;
  words.fill(0, WIDTHS_AT, FIRST_AT);
  for (let group = 0; group < GROUPS; group += 1)
    words[WIDTHS_AT + (group >> 2)]! |= widths[group]! << (8 * (group & 3));
  let at = FIRST_AT;
  for (let half = 0; half < 2 * order; half += 1) {
    words[at] = halves[half]!;
    halves[half] = 0;
    at += 1;
  }
  for (let group = 0; group < GROUPS; group += 1) {
    const width = widths[group]!;
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
  for (let index = 0; index < BLOCK; index += 1) floats[index] = numberOver(rate, index);
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
