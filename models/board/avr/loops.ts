/**
 * Loops that only pass the time, leapt over exactly: those that wait for memory to change, and those that count down.
 *
 * A waiting loop is straight code from its head to a jump back, changes nothing but registers and flags, and carries
 * none of those that it writes from one pass to the next. Its pass is then the same each time until memory changes, and
 * memory changes only at events and in interrupts. Leaping needs a whole pass seen within the present window: an event
 * may have come after that pass's load. Two visits to the head, one pass's cycles apart and with no event between, prove
 * it, as the code between has no way in or out that takes the same time.
 *
 * A counting loop (DEC, SBIW or SUBI with SBCIs, then BRNE) leaps to its last pass but one that fits the window, and
 * runs the next whole, so that the flags are as they would be.
 */
import { type Program, WRAP_WORDS } from './decode.ts';
import { effectsAt } from './effects.ts';
import { OP } from './op.ts';
import { cyclesOf, wordsOf } from './timing.ts';

export interface Loops {
  readonly idleCycles: Int32Array;
  readonly countCycles: Int32Array;
  /** Bytes of the counter, and their registers from the lowest byte up, one in each byte of the word. */
  readonly countBytes: Uint8Array;
  readonly countRegisters: Int32Array;
  /** Addresses of the heads that are moved aside, in the order of their places. */
  readonly heads: Int32Array;
}

/** Words of a moved loop head: the head itself and the three words that it may go on to. */
const MOVED_WORDS = 4;
const IDLE_LIMIT = 256;
const COUNT_LIMIT = 1024;
const PASS_LIMIT_WORDS = 16;

/** Room that a program needs beyond its flash for the heads that `patchLoops` moves aside. */
export const SPARE_WORDS = IDLE_LIMIT * MOVED_WORDS;

/** Finds the loops of a decoded program and puts the operations that leap in their places. */
export function patchLoops(program: Program): Loops {
  const idle: number[] = [];
  const heads: number[] = [];
  const counts: Counter[] = [];
  for (let pc = 0; pc < program.words; pc++) {
    const counter = counterAt(program, pc);
    if (counter !== undefined && counts.length < COUNT_LIMIT) {
      program.op[pc] = OP.COUNT;
      program.a[pc] = counts.length & 255;
      program.b[pc] = counts.length >> 8;
      counts.push(counter);
      continue;
    }
    const head = idleHead(program, pc);
    if (head === undefined || idle.length >= IDLE_LIMIT || program.op[head.pc] === OP.IDLE) continue;
    moveHead(program, head.pc, idle.length);
    idle.push(head.cycles);
    heads.push(head.pc);
  }
  return {
    idleCycles: Int32Array.from(idle),
    countCycles: Int32Array.from(counts, (one) => one.cycles),
    countBytes: Uint8Array.from(counts, (one) => one.registers.length),
    countRegisters: Int32Array.from(counts, (one) =>
      one.registers.reduce((word, register, index) => word | (register << (8 * index)), 0),
    ),
    heads: Int32Array.from(heads),
  };
}

/** The loops of a program that is run as it stands. */
export function noLoops(): Loops {
  return {
    idleCycles: new Int32Array(0),
    countCycles: new Int32Array(0),
    countBytes: new Uint8Array(0),
    countRegisters: new Int32Array(0),
    heads: new Int32Array(0),
  };
}

/**
 * The address in flash for a program counter beyond its `words`. A function of the module, not of each program: code that
 * the host compiled for one program's function would be thrown away, and made again, with every pass of another's.
 */
export function homeOf({ heads }: Loops, words: number, pc: number): number {
  const moved = pc - words - WRAP_WORDS;
  return moved < 0 ? pc - words : heads[Math.floor(moved / MOVED_WORDS)]! + (moved % MOVED_WORDS);
}

/** Leaps over the passes of counting loop `index` that fit into `left` with one to spare. Returns their cycles. */
export function leapCount(loops: Loops, index: number, left: number, data: Uint8Array): number {
  const cycles = loops.countCycles[index]!;
  if (left <= 2 * cycles) return 0;
  const registers = loops.countRegisters[index]!;
  const bytes = loops.countBytes[index]!;
  let passes = 0;
  for (let at = bytes - 1; at >= 0; at--) passes = passes * 256 + data[(registers >> (8 * at)) & 255]!;
  const skip = Math.min(passes - 1, Math.floor((left - 1) / cycles) - 1);
  if (skip <= 0) return 0;
  let rest = passes - skip;
  for (let at = 0; at < bytes; at++) {
    data[(registers >> (8 * at)) & 255] = rest;
    rest = Math.floor(rest / 256);
  }
  return skip * cycles;
}

export interface Counter {
  readonly cycles: number;
  readonly registers: readonly number[];
}

/** The counting loop that ends in the BRNE at `pc`, if it is one. */
export function counterAt({ op, a, b, k }: Program, pc: number): Counter | undefined {
  const head = k[pc]!;
  const words = pc - head;
  if ((op[pc] !== OP.BRNE && op[pc] !== OP.COUNT) || words < 1 || words > 4) return undefined;
  const first = op[head];
  const register = a[head]!;
  if (words === 1 && first === OP.DEC) return { cycles: 3, registers: [register] };
  if (words === 1 && first === OP.SBIW && b[head] === 1) return { cycles: 4, registers: [register, register + 1] };
  if (first !== OP.SUBI || b[head] !== 1) return undefined;
  const registers = [register];
  for (let at = head + 1; at < pc; at++) {
    if (op[at] !== OP.SBCI || b[at] !== 0 || registers.includes(a[at]!)) return undefined;
    registers.push(a[at]!);
  }
  return { cycles: words + 2, registers };
}

/** Head and cycles of the waiting loop whose jump back is at `pc`, if it is one. */
export function idleHead(program: Program, pc: number): { readonly pc: number; readonly cycles: number } | undefined {
  const { op, k } = program;
  const back = op[pc]!;
  const head = k[pc]!;
  if (!(back === OP.JUMP || (back >= OP.BRCS && back <= OP.BRID)) || head > pc || pc - head > PASS_LIMIT_WORDS)
    return undefined;
  let cycles = back === OP.JUMP ? program.b[pc]! : 2;
  let written = 0;
  let flagsWritten = 0;
  // What is read before it is written comes from the pass before.
  let firstReads = 0;
  let firstFlagReads = 0;
  let at = head;
  while (at < pc) {
    const kind = op[at]!;
    const isSkip = kind >= OP.CPSE && kind <= OP.SBIS;
    const isBranch =
      kind === OP.JUMP ||
      kind === OP.IDLE ||
      kind === OP.COUNT ||
      kind === OP.WRAP ||
      (kind >= OP.BRCS && kind <= OP.BRID);
    const effects = effectsAt(program, at);
    // A skip may only be the way out: over the jump back.
    if (!effects.isPure || isBranch || (isSkip && at + 1 !== pc)) return undefined;
    firstReads |= effects.reads & ~written;
    firstFlagReads |= effects.flagReads & ~flagsWritten;
    written |= effects.writes;
    flagsWritten |= effects.flagWrites;
    cycles += cyclesOf(program, at);
    at += wordsOf(kind);
  }
  const isCarrying = (firstReads & written) !== 0 || (firstFlagReads & flagsWritten) !== 0;
  // A branch on a flag that the loop never writes would never leave; that too is waiting.
  return at !== pc || isCarrying ? undefined : { pc: head, cycles };
}

/** Puts IDLE at the head; the head's own operation goes to the spare words, with the ways on from it. */
function moveHead(program: Program, head: number, index: number): void {
  const { op, a, b, k } = program;
  const moved = program.words + WRAP_WORDS + index * MOVED_WORDS;
  op[moved] = op[head]!;
  a[moved] = a[head]!;
  b[moved] = b[head]!;
  k[moved] = k[head]!;
  for (let step = 1; step < MOVED_WORDS; step++) {
    op[moved + step] = OP.JUMP;
    b[moved + step] = 0;
    k[moved + step] = head + step;
  }
  op[head] = OP.IDLE;
  a[head] = index & 255;
  b[head] = index >> 8;
  k[head] = moved;
}
