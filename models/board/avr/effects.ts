/**
 * What an operation reads and writes: registers as a set of 32 bits, flags as bits of the status register. Decides
 * which loops only wait, and which registers translated code keeps at hand.
 *
 * Source: AVR Instruction Set Manual, Atmel-0856L, the flag table of each instruction.
 */
import type { Program } from './decode.ts';
import { OP } from './op.ts';

export interface Effects {
  readonly reads: number;
  readonly writes: number;
  readonly flagReads: number;
  readonly flagWrites: number;
  /** Nothing but registers and flags changes, and only registers, flags and memory decide. */
  readonly isPure: boolean;
}

const C = 1;
const Z = 2;
const ARITHMETIC = 0x3f; // C Z N V S H
const LOGIC = 0x1e; // Z N V S
const NO_H = 0x1f; // C Z N V S

/** Effects of the operation at `pc`. A skip's are those of its test. */
export function effectsAt({ op: ops, a: as, b: bs, k: ks }: Program, pc: number): Effects {
  const op = ops[pc]!;
  const a = 1 << as[pc]!;
  const b = 1 << (bs[pc]! & 31);
  const k = ks[pc]!;
  const isCarrying = op === OP.ADC || op === OP.SBC || op === OP.SBCI || op === OP.CPC;
  const chained = (isCarrying ? C : 0) | (isCarrying && op !== OP.ADC ? Z : 0);
  if (op >= OP.BRCS && op <= OP.BRID) return pure(0, 0, 1 << ((op - OP.BRCS) & 7), 0);
  if (op >= OP.SEC && op <= OP.CLI) return { ...pure(0, 0, 0, 1 << ((op - OP.SEC) & 7)), isPure: op !== OP.CLI };
  switch (op) {
    case OP.NOP:
    case OP.WRAP:
    case OP.JUMP:
      return pure(0, 0, 0, 0);
    case OP.COUNT:
      return pure(0, 0, Z, 0);
    case OP.ADD:
    case OP.ADC:
    case OP.SUB:
    case OP.SBC:
      return pure(a | b, a, chained, ARITHMETIC);
    case OP.AND:
    case OP.OR:
    case OP.EOR:
      return pure(a | b, a, 0, LOGIC);
    case OP.CP:
    case OP.CPC:
      return pure(a | b, 0, chained, ARITHMETIC);
    case OP.CPSE:
      return pure(a | b, 0, 0, 0);
    case OP.MOV:
      return pure(b, a, 0, 0);
    case OP.MOVW:
      return pure(b | (b << 1), a | (a << 1), 0, 0);
    case OP.SUBI:
    case OP.SBCI:
      return pure(a, a, chained, ARITHMETIC);
    case OP.CPI:
      return pure(a, 0, 0, ARITHMETIC);
    case OP.ANDI:
    case OP.ORI:
      return pure(a, a, 0, LOGIC);
    case OP.LDI:
      return pure(0, a, 0, 0);
    case OP.ADIW:
    case OP.SBIW:
      return pure(a | (a << 1), a | (a << 1), 0, NO_H);
    case OP.NEG:
      return pure(a, a, 0, ARITHMETIC);
    case OP.INC:
    case OP.DEC:
      return pure(a, a, 0, LOGIC);
    case OP.COM:
    case OP.LSR:
    case OP.ASR:
      return pure(a, a, 0, NO_H);
    case OP.ROR:
      return pure(a, a, C, NO_H);
    case OP.SWAP:
      return pure(a, a, 0, 0);
    case OP.MUL:
    case OP.MULS:
    case OP.MULSU:
    case OP.FMUL:
    case OP.FMULS:
    case OP.FMULSU:
      return pure(a | b, 3, 0, C | Z);
    case OP.BST:
      return pure(a, 0, 0, 0x40);
    case OP.BLD:
      return pure(a, a, 0x40, 0);
    case OP.SBRC:
    case OP.SBRS:
      return pure(a, 0, 0, 0);
    case OP.SBIC:
    case OP.SBIS:
      return pure(0, 0, 0, 0);
    case OP.LDS:
    case OP.IN:
      // A register may be loaded by its data address.
      return pure(k < 32 ? 1 << k : 0, a, 0, 0);
    case OP.STS:
      return { ...pure(a, k < 32 ? 1 << k : 0, 0, 0), isPure: false };
    case OP.LDD:
      return pure(pair(k), a, 0, 0);
    case OP.LD_INC:
    case OP.LD_DEC:
      return pure(pair(k), a | pair(k), 0, 0);
    case OP.LPM:
      return pure(pair(30), a, 0, 0);
    case OP.LPM_INC:
      return pure(pair(30), a | pair(30), 0, 0);
    case OP.IN_SPL:
    case OP.IN_SPH:
      return pure(0, a, 0, 0);
    case OP.LDS_IO:
    case OP.IN_IO:
      return { ...pure(0, a, 0, 0), isPure: false };
    case OP.STS_IO:
    case OP.OUT_IO:
      return { ...pure(a, 0, 0, 0), isPure: false };
    case OP.IN_SREG:
      return pure(0, a, 0xff, 0);
    case OP.OUT:
    case OP.OUT_SPL:
    case OP.OUT_SPH:
    case OP.PUSH:
      return { ...pure(a, 0, 0, 0), isPure: false };
    case OP.OUT_SREG:
      return { ...pure(a, 0, 0, 0xff), isPure: false };
    case OP.POP:
      return { ...pure(0, a, 0, 0), isPure: false };
    case OP.STD:
      return { ...pure(a | pair(k), 0, 0, 0), isPure: false };
    case OP.ST_INC:
    case OP.ST_DEC:
      return { ...pure(a | pair(k), pair(k), 0, 0), isPure: false };
    case OP.IJMP:
    case OP.ICALL:
      return { ...pure(pair(30), 0, 0, 0), isPure: false };
    default:
      return { ...pure(0, 0, 0, 0), isPure: false };
  }
}

function pure(reads: number, writes: number, flagReads: number, flagWrites: number): Effects {
  return { reads, writes, flagReads, flagWrites, isPure: true };
}

function pair(low: number): number {
  return 3 << low;
}
