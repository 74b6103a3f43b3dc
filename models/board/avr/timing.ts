/**
 * Words and cycles of operations that neither branch nor skip.
 * Source: AVR Instruction Set Manual, Atmel-0856L, for parts with a 16-bit program counter.
 */
import type { Program } from './decode.ts';
import { OP } from './op.ts';

/** Words that an operation's instruction takes, jumps and calls aside. */
export function wordsOf(op: number): number {
  return op === OP.LDS || op === OP.STS || op === OP.LDS_IO || op === OP.STS_IO ? 2 : 1;
}

/** Cycles of the instruction at `pc`; of a branch or a skip, those of going straight on. */
export function cyclesOf({ op: ops, b }: Program, pc: number): number {
  const op = ops[pc]!;
  if (op === OP.JUMP || op === OP.CALL) return b[pc]!;
  if (op === OP.RET) return 4;
  if (op === OP.LPM || op === OP.LPM_INC || op === OP.ICALL) return 3;
  const isBit = op === OP.SBI || op === OP.CBI || op === OP.SBI_IO || op === OP.CBI_IO;
  const isAccess = wordsOf(op) === 2 || (op >= OP.LDD && op <= OP.POP) || isBit;
  return isAccess || op === OP.IJMP || op === OP.ADIW || op === OP.SBIW || (op >= OP.MUL && op <= OP.FMULSU) ? 2 : 1;
}
