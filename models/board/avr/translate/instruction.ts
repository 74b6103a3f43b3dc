/**
 * WebAssembly for single instructions: the same arithmetic as interpreter.ts, flags unmasked as described in machine.ts.
 *
 * Hot path: what this emits runs at the full speed of the host. Speed: test/speed/avr.bench.ts.
 */

import type { Program } from '../decode.ts';
import { AT, FLASH_BASE, STATE_BASE } from '../machine.ts';
import { OP } from '../op.ts';
import { type Code, WASM } from './wasm-bytes.ts';

/** Locals of a unit's function. The first is its argument; registers follow at `register0`. */
export const LOCAL = {
  target: 0,
  left: 1,
  sp: 2,
  c: 3,
  z: 4,
  n: 5,
  v: 6,
  s: 7,
  h: 8,
  t: 9,
  exitPc: 10,
  status: 11,
  lowest: 12,
  d: 13,
  r: 14,
  x: 15,
  y: 16,
  register0: 17,
} as const;
export const FIRST_WAIT_LOCAL = LOCAL.register0 + 32;

/** What the instructions need of the unit around them. */
export interface Site {
  readonly code: Code;
  readonly program: Program;
  readonly ramStart: number;
  readonly ramEnd: number;
  /** Puts a register's value on the stack. */
  getRegister(register: number): void;
  /** Takes the value on the stack, of which only the low 8 bits may be set, into a register. */
  setRegister(register: number): void;
  /** Leaves the function before the instruction at `pc`, for the host to carry it out. */
  leaveBefore(pc: number): void;
}

const { and, or, xor, add, sub, mul, shl, shrU, eqz, eq, ltS, gtU, extend8 } = WASM;
const L = LOCAL;

/** Emits the instruction at `pc`, unless it ends a block. */
// biome-ignore format: stack code reads along the line
export function emitInstruction(site: Site, pc: number): void {
  const { code, program } = site;
  const op = program.op[pc]!;
  const a = program.a[pc]!;
  const b = program.b[pc]!;
  const k = program.k[pc]!;
  const keepD = (): void => {
    site.getRegister(a);
    code.set(L.d);
  };
  const keepR = (): void => {
    site.getRegister(b);
    code.set(L.r);
  };
  /** Result is `x` (0 to 255): into the register, Z and N. */
  const settle = (register: number): void => {
    code.get(L.x).tee(L.z).set(L.n).get(L.x);
    site.setRegister(register);
  };
  switch (op) {
    case OP.NOP:
      return;
    case OP.ADD:
    case OP.ADC:
      keepD();
      keepR();
      code.get(L.d).get(L.r).op(add);
      if (op === OP.ADC) code.get(L.c).op(add);
      code.set(L.x).get(L.x).int(8).op(shrU).set(L.c).get(L.x).int(255).op(and).set(L.x);
      code.get(L.d).get(L.r).op(xor).get(L.x).op(xor).set(L.h);
      code.get(L.d).get(L.x).op(xor).get(L.r).get(L.x).op(xor, and).tee(L.v).get(L.x).op(xor).set(L.s);
      settle(a);
      break;
    case OP.SUB:
    case OP.SBC:
    case OP.CP:
    case OP.CPC:
    case OP.SUBI:
    case OP.SBCI:
    case OP.CPI:
      emitSubtract(site, op, a, b);
      break;
    case OP.AND:
    case OP.OR:
    case OP.EOR:
    case OP.ANDI:
    case OP.ORI:
      site.getRegister(a);
      if (op === OP.ANDI || op === OP.ORI) code.int(b);
      else site.getRegister(b);
      code.op(op === OP.EOR ? xor : op === OP.OR || op === OP.ORI ? or : and).set(L.x).int(0).set(L.v).get(L.x).set(L.s);
      settle(a);
      break;
    case OP.MOV:
      site.getRegister(b);
      site.setRegister(a);
      break;
    case OP.MOVW:
      site.getRegister(b);
      site.setRegister(a);
      site.getRegister(b + 1);
      site.setRegister(a + 1);
      break;
    case OP.LDI:
      code.int(b);
      site.setRegister(a);
      break;
    case OP.ADIW:
    case OP.SBIW: {
      pair(site, a);
      code.tee(L.d).int(b).op(op === OP.ADIW ? add : sub).set(L.x);
      if (op === OP.ADIW) code.get(L.x).int(16).op(shrU).set(L.c);
      else code.get(L.x).int(31).op(shrU).set(L.c);
      code.get(L.x).int(0xffff).op(and).tee(L.z).int(8).op(shrU).set(L.n);
      // V is the bit that only the new value has (ADIW), or only the old (SBIW).
      code.get(op === OP.ADIW ? L.z : L.d).get(op === OP.ADIW ? L.d : L.z).int(-1).op(xor, and).int(8).op(shrU).tee(L.v).get(L.n).op(xor).set(L.s);
      code.get(L.z).int(255).op(and);
      site.setRegister(a);
      code.get(L.n);
      site.setRegister(a + 1);
      break;
    }
    case OP.COM:
      code.int(255);
      site.getRegister(a);
      code.op(sub).tee(L.x).set(L.s).int(1).set(L.c).int(0).set(L.v);
      settle(a);
      break;
    case OP.NEG:
      keepD();
      code.int(0).get(L.d).op(sub).int(255).op(and).tee(L.x).op(eqz, eqz).set(L.c);
      code.get(L.d).get(L.x).op(or).int(1).op(shl).set(L.h);
      code.get(L.d).get(L.x).op(and).tee(L.v).get(L.x).op(xor).set(L.s);
      settle(a);
      break;
    case OP.INC:
    case OP.DEC: {
      keepD();
      code.get(L.d).int(1).op(op === OP.INC ? add : sub).int(255).op(and).set(L.x);
      code.get(op === OP.INC ? L.x : L.d).get(op === OP.INC ? L.d : L.x).int(-1).op(xor, and).tee(L.v).get(L.x).op(xor).set(L.s);
      settle(a);
      break;
    }
    case OP.LSR:
      keepD();
      code.get(L.d).int(1).op(shrU).tee(L.x).set(L.z).int(0).set(L.n);
      code.get(L.d).int(1).op(and).tee(L.c).int(7).op(shl).tee(L.v).set(L.s).get(L.x);
      site.setRegister(a);
      break;
    case OP.ROR:
    case OP.ASR:
      keepD();
      code.get(L.d).int(1).op(shrU);
      if (op === OP.ROR) code.get(L.c).int(7).op(shl, or).set(L.x);
      else code.get(L.d).int(128).op(and, or).set(L.x);
      code.get(L.d).int(1).op(and).tee(L.c).int(7).op(shl).tee(L.s).get(L.x).op(xor).set(L.v);
      settle(a);
      break;
    case OP.SWAP:
      keepD();
      code.get(L.d).int(4).op(shrU).get(L.d).int(4).op(shl).int(0xf0).op(and, or);
      site.setRegister(a);
      break;
    case OP.MUL:
    case OP.MULS:
    case OP.MULSU:
    case OP.FMUL:
    case OP.FMULS:
    case OP.FMULSU:
      emitMultiply(site, op, a, b);
      break;
    case OP.BST:
      site.getRegister(a);
      code.int(b).op(shrU).int(1).op(and).set(L.t);
      return;
    case OP.BLD:
      site.getRegister(a);
      code.int(255 & ~(1 << b)).op(and).get(L.t).int(b).op(shl, or);
      site.setRegister(a);
      break;
    case OP.LDS:
    case OP.IN:
      if (k < 32) site.getRegister(k);
      else code.int(0).load8(k);
      site.setRegister(a);
      break;
    case OP.STS:
    case OP.OUT:
      if (k < 32) {
        site.getRegister(a);
        site.setRegister(k);
        break;
      }
      code.int(0);
      site.getRegister(a);
      code.store8(k);
      return;
    case OP.SBI:
      code.int(0).int(0).load8(k).int(a).op(or).store8(k);
      return;
    case OP.CBI:
      code.int(0).int(0).load8(k).int(255 & ~a).op(and).store8(k);
      return;
    case OP.IN_SPL:
      code.get(L.sp).int(255).op(and);
      site.setRegister(a);
      break;
    case OP.IN_SPH:
      code.get(L.sp).int(8).op(shrU);
      site.setRegister(a);
      break;
    case OP.OUT_SPL:
      code.get(L.sp).int(0xff00).op(and);
      site.getRegister(a);
      code.op(or).set(L.sp);
      return;
    case OP.OUT_SPH:
      code.get(L.sp).int(255).op(and);
      site.getRegister(a);
      code.int(8).op(shl, or).set(L.sp);
      return;
    case OP.IN_SREG:
    case OP.OUT_SREG:
      emitStatus(site, op, a, pc);
      break;
    case OP.PUSH:
      // Below the lowest address so far, or outside the memory: the careful path.
      code.get(L.sp).get(L.lowest).op(ltS).get(L.sp).int(site.ramEnd).op(WASM.gtS, or);
      leaveIf(site, pc);
      code.get(L.sp);
      site.getRegister(a);
      code.store8(0).get(L.sp).int(1).op(sub).set(L.sp);
      return;
    case OP.POP:
      code.get(L.sp).int(1).op(add).tee(L.x).int(site.ramStart).op(sub).int(site.ramEnd - site.ramStart).op(gtU);
      leaveIf(site, pc);
      code.get(L.x).tee(L.sp).load8(0);
      site.setRegister(a);
      break;
    case OP.LPM:
    case OP.LPM_INC:
      pair(site, 30);
      code.tee(L.y).int(program.words * 2 - 1).op(and).load8(FLASH_BASE).set(L.d);
      if (op === OP.LPM_INC) advance(site, 30, 1);
      code.get(L.d);
      site.setRegister(a);
      break;
    default:
      if (op >= OP.SEC && op <= OP.CLI) emitFlag(site, op);
      else emitAccess(site, op, a, b, k, pc);
  }
}

// biome-ignore format: stack code reads along the line
function emitSubtract(site: Site, op: number, a: number, b: number): void {
  const { code } = site;
  const isConstant = op === OP.SUBI || op === OP.SBCI || op === OP.CPI;
  const isCarrying = op === OP.SBC || op === OP.CPC || op === OP.SBCI;
  site.getRegister(a);
  code.set(L.d);
  if (isConstant) code.int(b);
  else site.getRegister(b);
  code.set(L.r).get(L.d).get(L.r).op(sub);
  if (isCarrying) code.get(L.c).op(sub);
  code.tee(L.x).int(31).op(shrU).set(L.c).get(L.x).int(255).op(and).tee(L.x).set(L.n);
  code.get(L.d).get(L.r).op(xor).tee(L.y).get(L.x).op(xor).set(L.h);
  code.get(L.y).get(L.d).get(L.x).op(xor, and).tee(L.v).get(L.x).op(xor).set(L.s);
  if (isCarrying) code.get(L.z).get(L.x).op(or).set(L.z);
  else code.get(L.x).set(L.z);
  if (op === OP.CP || op === OP.CPC || op === OP.CPI) return;
  code.get(L.x);
  site.setRegister(a);
}

// biome-ignore format: stack code reads along the line
function emitMultiply(site: Site, op: number, a: number, b: number): void {
  const { code } = site;
  const isLeftSigned = op !== OP.MUL && op !== OP.FMUL;
  const isRightSigned = op === OP.MULS || op === OP.FMULS;
  site.getRegister(a);
  if (isLeftSigned) code.op(extend8);
  site.getRegister(b);
  if (isRightSigned) code.op(extend8);
  code.op(mul).tee(L.x).int(15).op(shrU).int(1).op(and).set(L.c);
  code.get(L.x);
  if (op >= OP.FMUL) code.int(1).op(shl);
  code.int(0xffff).op(and).set(L.z);
  code.get(L.z).int(255).op(and);
  site.setRegister(0);
  code.get(L.z).int(8).op(shrU);
  site.setRegister(1);
}

function emitFlag({ code }: Site, op: number): void {
  const isSet = op <= OP.SET;
  const flag = (op - OP.SEC) & 7;
  if (flag === 7)
    code
      .int(0)
      .int(0)
      .store(STATE_BASE + 4 * AT.i); // Only CLI comes here.
  else {
    const values = [1, 0, 128, 128, 128, 16, 1];
    const value = flag === 1 ? (isSet ? 0 : 1) : isSet ? values[flag]! : 0;
    code.int(value).set([L.c, L.z, L.n, L.v, L.s, L.h, L.t][flag]!);
  }
}

// biome-ignore format: stack code reads along the line
function emitStatus(site: Site, op: number, a: number, pc: number): void {
  const { code } = site;
  const iOffset = STATE_BASE + 4 * AT.i;
  if (op === OP.IN_SREG) {
    code.get(L.c).get(L.z).op(eqz).int(1).op(shl, or);
    for (const [local, shift, mask] of [
      [L.n, 5, 4],
      [L.v, 4, 8],
      [L.s, 3, 16],
    ] as const)
      code.get(local).int(shift).op(shrU).int(mask).op(and, or);
    code.get(L.h).int(1).op(shl).int(32).op(and, or).get(L.t).int(6).op(shl, or).int(0).load(iOffset).int(7).op(shl, or);
    site.setRegister(a);
    return;
  }
  site.getRegister(a);
  code.tee(L.d).int(127).op(gtU).int(0).load(iOffset).op(eqz, and);
  leaveIf(site, pc);
  code.get(L.d).int(1).op(and).set(L.c).get(L.d).int(-1).op(xor).int(2).op(and).set(L.z);
  code.get(L.d).int(5).op(shl).set(L.n).get(L.d).int(4).op(shl).set(L.v).get(L.d).int(3).op(shl).set(L.s).get(L.d).int(1).op(shrU).set(L.h);
  code.get(L.d).int(6).op(shrU).int(1).op(and).set(L.t).int(0).get(L.d).int(7).op(shrU).store(iOffset);
}

/** Loads and stores through a pointer: in the SRAM here, anywhere else by the careful path. */
// biome-ignore format: stack code reads along the line
function emitAccess(site: Site, op: number, a: number, b: number, k: number, pc: number): void {
  const { code } = site;
  const isBefore = op === OP.LD_DEC || op === OP.ST_DEC;
  const isAfter = op === OP.LD_INC || op === OP.ST_INC;
  pair(site, k);
  if (isBefore) code.int(1).op(sub).int(0xffff).op(and);
  else if (!isAfter && b !== 0) code.int(b).op(add).int(0xffff).op(and);
  code.tee(L.y).int(site.ramStart).op(sub).int(site.ramEnd - site.ramStart).op(gtU);
  leaveIf(site, pc);
  if (op >= OP.STD) {
    code.get(L.y);
    site.getRegister(a);
    code.store8(0);
  } else code.get(L.y).load8(0).set(L.d);
  if (isBefore) advance(site, k, 0);
  else if (isAfter) advance(site, k, 1);
  if (op >= OP.STD) return;
  code.get(L.d);
  site.setRegister(a);
}

function pair(site: Site, low: number): void {
  site.getRegister(low);
  site.getRegister(low + 1);
  site.code.int(8).op(shl, or);
}

/** Puts `y` plus `step` into a pointer. */
// biome-ignore format: stack code reads along the line
function advance(site: Site, low: number, step: number): void {
  const { code } = site;
  code.get(L.y).int(step).op(add).tee(L.y).int(255).op(and);
  site.setRegister(low);
  code.get(L.y).int(8).op(shrU).int(255).op(and);
  site.setRegister(low + 1);
}

/** Leaves before the instruction at `pc` if the number on the stack is not 0. */
export function leaveIf(site: Site, pc: number): void {
  site.code.open(WASM.if);
  site.leaveBefore(pc);
  site.code.close();
}

/** Puts on the stack whether the branch or skip at `pc` is taken. */
export function emitCondition(site: Site, pc: number): void {
  const { code, program } = site;
  const op = program.op[pc]!;
  const a = program.a[pc]!;
  const b = program.b[pc]!;
  const k = program.k[pc]!;
  if (op >= OP.BRCS && op <= OP.BRID) {
    const flag = (op - OP.BRCS) & 7;
    const isOnSet = op <= OP.BRIE;
    if (flag === 1) code.get(L.z);
    else if (flag === 7) code.int(0).load(STATE_BASE + 4 * AT.i);
    else {
      code.get([L.c, L.z, L.n, L.v, L.s, L.h, L.t][flag]!);
      if (flag >= 2 && flag <= 5) code.int(flag === 5 ? 16 : 128).op(and);
    }
    // Z is set where its word is 0.
    if (isOnSet === (flag === 1)) code.op(eqz);
    return;
  }
  if (op === OP.CPSE) {
    site.getRegister(a);
    site.getRegister(b);
    code.op(eq);
    return;
  }
  const isRegister = op === OP.SBRC || op === OP.SBRS;
  if (isRegister) site.getRegister(a);
  else if (k < 32) site.getRegister(k);
  else code.int(0).load8(k);
  code.int(isRegister ? b : a).op(and);
  if (op === OP.SBRC || op === OP.SBIC) code.op(eqz);
}
