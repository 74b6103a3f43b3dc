/**
 * Basic blocks: stretches of code that are entered at their start only, found by following the program from its roots.
 */
import { type Chip, SPL, SREG } from '../chips.ts';
import type { Program } from '../decode.ts';
import { FIRST_CAREFUL, OP } from '../op.ts';
import { cyclesOf, wordsOf } from '../timing.ts';

export interface Block {
  /** Word address of the first instruction, and of the one after the last. */
  readonly start: number;
  readonly end: number;
  /** Addresses of the instructions. */
  readonly at: readonly number[];
  /** Cycles of a pass that branches nowhere and skips nothing. */
  readonly cycles: number;
  /** The blocks that it may go on to without a return or a computed jump. */
  readonly next: readonly number[];
  /** The block that a call here returns to, which is entered from outside. */
  readonly resumes: number;
  /** The block that a call here leads to. */
  readonly calls: number;
}

/** Loads and stores of hooked registers: translated code calls the bus for them, and need not be left. */
export function callsBus({ op: ops, k }: Program, pc: number): boolean {
  const op = ops[pc]!;
  return op >= OP.LDS_IO && op <= OP.CBI_IO && k[pc]! < 0x100 && (k[pc]! < SPL || k[pc]! > SREG);
}

export function isHookedLoad(program: Program, pc: number): boolean {
  const op = program.op[pc]!;
  return (op === OP.LDS_IO || op === OP.IN_IO) && callsBus(program, pc);
}

/** Instructions that the host must carry out. */
export function needsHost(program: Program, pc: number): boolean {
  return program.op[pc]! >= FIRST_CAREFUL && !callsBus(program, pc);
}

/** How a block ends. A store that the bus sees may change what is left of the window, which the next block looks at. */
export function endsBlock(program: Program, pc: number): boolean {
  const op = program.op[pc]!;
  if (op >= FIRST_CAREFUL) return !isHookedLoad(program, pc);
  return (op >= OP.JUMP && op <= OP.RET) || op === OP.COUNT || (op >= OP.BRCS && op <= OP.SBIS);
}

/** Where the branch or skip at `pc` leads, and what it costs beyond its one cycle to take it. */
export function waysOf(
  { op: ops, b, k }: Program,
  { next }: Block,
  pc: number,
): { taken: number; straight: number; more: number } {
  const op = ops[pc]!;
  if (op <= OP.BRID) return { taken: next[0]!, straight: next[1]!, more: 1 };
  return { taken: next[1]!, straight: next[0]!, more: op >= OP.SBIC ? b[pc]! : k[pc]! };
}

const LENGTH_LIMIT = 48;

/** Addresses that are entered from outside: reset, vectors, and whatever a table before the program may point to. */
export function rootsOf(chip: Chip, program: Program): number[] {
  const roots: number[] = [];
  const add = (pc: number): void => {
    if (pc >= 0 && pc < program.words && !needsHost(program, pc) && program.op[pc] !== OP.WRAP) roots.push(pc);
  };
  for (let vector = 0; vector < chip.vectors.length; vector++) add(vector * chip.vectorWords);
  // Compilers put jump tables and constants between the vectors and the code that the reset vector leads to.
  const tables = chip.vectors.length * chip.vectorWords;
  const code = program.op[0] === OP.JUMP ? program.k[0]! : tables;
  for (let at = tables; at < code; at++) {
    const word = program.flash[at * 2]! | (program.flash[at * 2 + 1]! << 8);
    if (word >= code) add(word);
  }
  return roots;
}

/** All blocks that can be reached from `roots`, by their start, in the order of addresses. */
export function findBlocks(program: Program, roots: Iterable<number>): Map<number, Block> {
  const starts = new Set<number>();
  const seen = new Set<number>();
  const work = [...roots];
  // First every place that control can come to, then the blocks between them.
  while (work.length > 0) {
    const start = work.pop()! & (program.words - 1);
    starts.add(start);
    let pc = start;
    while (!seen.has(pc) && pc < program.words) {
      seen.add(pc);
      const op = program.op[pc]!;
      for (const target of targetsOf(program, pc)) work.push(target);
      if (endsBlock(program, pc)) break;
      pc += wordsOf(op);
    }
  }
  const blocks = new Map<number, Block>();
  for (const start of [...starts].sort((one, other) => one - other)) addBlocks(program, start, starts, blocks);
  return blocks;
}

/** Where control may go from the instruction at `pc`, computed jumps and returns aside. */
export function targetsOf(program: Program, pc: number): number[] {
  const { op, a, b, k } = program;
  const kind = op[pc]!;
  const wrap = (target: number): number => target & (program.words - 1);
  if (kind === OP.JUMP) return [k[pc]!];
  if (kind === OP.CALL) return [k[pc]!, wrap(pc + a[pc]!)];
  if (kind === OP.ICALL) return [wrap(pc + 1)];
  if (kind === OP.COUNT || (kind >= OP.BRCS && kind <= OP.BRID)) return [k[pc]!, wrap(pc + 1)];
  if (kind >= OP.CPSE && kind <= OP.SBRS) return [wrap(pc + 1), wrap(pc + 1 + k[pc]!)];
  if (kind === OP.SBIC || kind === OP.SBIS) return [wrap(pc + 1), wrap(pc + 1 + b[pc]!)];
  if (kind === OP.SBIC_IO || kind === OP.SBIS_IO) return [wrap(pc + 1), wrap(pc + 1 + b[pc]!)];
  if (kind >= FIRST_CAREFUL && kind !== OP.RETI && !isHookedLoad(program, pc)) return [wrap(pc + wordsOf(kind))];
  return [];
}

function addBlocks(program: Program, start: number, starts: ReadonlySet<number>, blocks: Map<number, Block>): void {
  for (let first = start; ; ) {
    if (blocks.has(first) || needsHost(program, first)) return;
    const at: number[] = [];
    let pc = first;
    let cycles = 0;
    while (at.length < LENGTH_LIMIT && (at.length === 0 || !starts.has(pc))) {
      // A careful instruction is left to the host: the block leads up to it.
      if (pc >= program.words || needsHost(program, pc)) break;
      at.push(pc);
      cycles += cyclesOf(program, pc);
      pc += wordsOf(program.op[pc]!);
      if (endsBlock(program, at[at.length - 1]!)) break;
    }
    const last = at[at.length - 1]!;
    const isEnd = endsBlock(program, last);
    const isCall = program.op[last] === OP.CALL || program.op[last] === OP.ICALL;
    const targets = targetsOf(program, last);
    const wrapped = pc & (program.words - 1);
    blocks.set(first, {
      start: first,
      end: wrapped,
      at,
      cycles,
      next: isCall ? [] : isEnd ? targets : [wrapped],
      resumes: isCall ? targets[targets.length - 1]! : -1,
      calls: program.op[last] === OP.CALL ? targets[0]! : -1,
    });
    // Cut for its length, or before the start of another: go on with the rest if nobody else does.
    if (isEnd || starts.has(wrapped)) return;
    first = wrapped;
  }
}
