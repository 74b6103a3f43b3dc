/**
 * Where one WebAssembly instruction ends and the next begins, and which ones a module of ours may not hold.
 *
 * Source: WebAssembly Core Specification 2.0 (W3C), section 5.4 Instructions.
 */
import { type Cursor, NotTaken } from './cursor.ts';
import { REFERENCE_LEAST } from './read.ts';

// biome-ignore format: a table read by number
export const OP = {
  unreachable: 0x00, block: 0x02, loop: 0x03, if: 0x04, end: 0x0b, br: 0x0c, return: 0x0f, call: 0x10, drop: 0x1a,
  select: 0x1b, localGet: 0x20, localSet: 0x21, globalGet: 0x23, globalSet: 0x24, memoryGrow: 0x40, const32: 0x41,
  f32Const: 0x43, f64Const: 0x44, i32GtS: 0x4a, i32LtS: 0x48, f32Eq: 0x5b, f64Eq: 0x61, i32Add: 0x6a, i32Sub: 0x6b,
  i32Xor: 0x73, i32ShrU: 0x76, i32Wrap: 0xa7, i64Extend: 0xad, i32Reinterpret: 0xbc, i64Reinterpret: 0xbd, f32Reinterpret: 0xbe,
  f64Reinterpret: 0xbf, prefixed: 0xfc,
} as const;
export const PREFIXED = { truncateLast: 7, memoryCopy: 10, memoryFill: 11 } as const;

/**
 * Instructions whose result may be one of several NaNs, by the type of that result: the processor chooses, and the program
 * can see the choice. Those that only move bits (abs, neg, copysign, loads) are not among them (section 4.3.3).
 */
// biome-ignore format: lists of codes
const NAN_32 = new Set([0x8d, 0x8e, 0x8f, 0x90, 0x91, 0x92, 0x93, 0x94, 0x95, 0x96, 0x97, 0xb6]);
// biome-ignore format: lists of codes
const NAN_64 = new Set([0x9b, 0x9c, 0x9d, 0x9e, 0x9f, 0xa0, 0xa1, 0xa2, 0xa3, 0xa4, 0xa5, 0xbb]);

/** 32 or 64 where the result of the instruction may be any NaN of that width, else 0. */
export function nanWidth(op: number): 0 | 32 | 64 {
  return NAN_32.has(op) ? 32 : NAN_64.has(op) ? 64 : 0;
}

/**
 * Passes what follows the code of an instruction; gives the second code of one that has two.
 * @throws NotTaken where it is not among those that are taken.
 */
export function skipImmediates(cursor: Cursor, op: number): number | undefined {
  const at = cursor.at - 1;
  if (op >= 0x45 && op <= 0xc4) return undefined;
  if (op >= 0x28 && op <= 0x3e) {
    // Alignment (from 64 on it would name one of several memories) and offset.
    if (cursor.unsigned() >= 64) throw new NotTaken(at, 'more than one memory is not taken');
    cursor.skipNumber();
    return undefined;
  }
  switch (op) {
    case 0x00:
    case 0x01:
    case 0x05:
    case 0x0b:
    case 0x0f:
    case 0x1a:
    case 0x1b:
    case 0xd1:
      return undefined;
    case 0x02:
    case 0x03:
    case 0x04: {
      // A block's type: nothing, one value, or the number of a type. Longer references begin with one of two bytes.
      const first = cursor.bytes[cursor.at];
      if (first === 0x63 || first === 0x64) throw new NotTaken(at, 'a block with a reference is not taken');
      cursor.skipNumber();
      return undefined;
    }
    case 0x0c: // a label
    case 0x0d:
    case 0x10: // a function
    case 0x20: // a local or a global
    case 0x21:
    case 0x22:
    case 0x23:
    case 0x24:
    case 0x25: // a table
    case 0x3f: // a memory
    case 0x40:
    case 0x41: // a number
    case 0x42:
    case 0xd0:
    case 0xd2:
      cursor.skipNumber();
      return undefined;
    case 0x0e:
      cursor.list(() => cursor.skipNumber());
      cursor.skipNumber();
      return undefined;
    case 0x11:
      cursor.skipNumber();
      cursor.skipNumber();
      return undefined;
    case 0x1c:
      cursor.list(() => {
        if (cursor.byte() < REFERENCE_LEAST) throw new NotTaken(at, 'a choice between such references is not taken');
      });
      return undefined;
    case 0x43:
      cursor.skip(4);
      return undefined;
    case 0x44:
      cursor.skip(8);
      return undefined;
    case 0xfc:
      return skipPrefixed(cursor, at);
    default:
      throw new NotTaken(at, `${refusedWords(op)}; build without it`);
  }
}

function skipPrefixed(cursor: Cursor, at: number): number {
  const code = cursor.unsigned();
  if (code === PREFIXED.memoryCopy) {
    cursor.skipNumber();
    cursor.skipNumber();
  } else if (code === PREFIXED.memoryFill) cursor.skipNumber();
  // The others change tables and segments, which a snapshot would have to hold.
  else if (code > PREFIXED.truncateLast)
    throw new NotTaken(at, `instruction 0xfc ${code}, which changes tables or segments, is not taken`);
  return code;
}

function refusedWords(op: number): string {
  if (op === 0xfd) return 'vector instructions (simd128) are not taken';
  if (op === 0xfe) return 'instructions for threads (atomics) are not taken';
  if ([0x06, 0x07, 0x08, 0x09, 0x0a, 0x18, 0x19, 0x1f].includes(op)) return 'exceptions are not taken';
  if (op >= 0x12 && op <= 0x15) return 'tail calls are not taken';
  return `instruction 0x${op.toString(16).padStart(2, '0')} is not taken`;
}
