/**
 * From the words of the flash to operations with their operands, all at once when an image is loaded.
 *
 * Source: AVR Instruction Set Manual, Atmel-0856L (11/2016): the 16-bit opcode of each instruction, the words it takes;
 * what is in none of its pages is illegal.
 */
import type { Chip } from './chips.ts';
import { SPH, SPL, SREG } from './chips.ts';
import { OP } from './op.ts';

/** Arrays indexed by word address. Beyond `words` lie three words that wrap to 0, then room for loop heads moved aside. */
export interface Program {
  readonly words: number;
  readonly flash: Uint8Array;
  readonly op: Uint8Array;
  readonly a: Uint8Array;
  readonly b: Uint8Array;
  readonly k: Int32Array;
}

/** Words after the flash that lead back to its start: the longest skip over the last word ends three beyond. */
export const WRAP_WORDS = 4;

/** Decodes a whole flash. `given` tells which bytes the image has; running into others is told apart from an illegal word. */
export function decode(chip: Chip, flash: Uint8Array, given: Uint8Array, spareWords = 0): Program {
  const words = flash.length >> 1;
  const room = words + WRAP_WORDS + spareWords;
  const program: Program = {
    words,
    flash,
    op: new Uint8Array(room),
    a: new Uint8Array(room),
    b: new Uint8Array(room),
    k: new Int32Array(room),
  };
  program.op.fill(OP.WRAP, words, words + WRAP_WORDS);
  const hooks = hookTable(chip);
  for (let pc = 0; pc < words; pc++) {
    if (given[pc * 2] === 1) decodeWord(program, chip, hooks, pc);
    else program.op[pc] = OP.OUTSIDE;
  }
  return program;
}

/** True for the first word of LDS, STS, JMP and CALL: all that takes two words. */
export function isTwoWords(word: number): boolean {
  return (word & 0xfc0f) === 0x9000 || (word & 0xfe0c) === 0x940c;
}

/** By data address: 1 where loads are hooked, 2 where stores are. */
export function hookTable(chip: Chip): Uint8Array {
  const hooks = new Uint8Array(0x100);
  for (const address of chip.hookedReads) hooks[address]! |= 1;
  for (const address of chip.hookedWrites) hooks[address]! |= 2;
  return hooks;
}

function wordAt(program: Program, pc: number): number {
  const at = (pc & (program.words - 1)) * 2;
  return program.flash[at]! | (program.flash[at + 1]! << 8);
}

function decodeWord(program: Program, chip: Chip, hooks: Uint8Array, pc: number): void {
  const word = wordAt(program, pc);
  const set = (op: number, a = 0, b = 0, k = 0): void => {
    program.op[pc] = op;
    program.a[pc] = a;
    program.b[pc] = b;
    program.k[pc] = k;
  };
  set(OP.ILLEGAL);
  const d = (word >> 4) & 31;
  const group = word >> 12;
  if (group <= 2) decodeTwoRegisters(word, chip, set, skipWords(program, pc));
  else if (group <= 7) set([OP.CPI, OP.SBCI, OP.SUBI, OP.ORI, OP.ANDI][group - 3]!, 16 + (d & 15), byteConstant(word));
  else if ((word & 0xd000) === 0x8000) {
    const displacement = ((word >> 8) & 0x20) | ((word >> 7) & 0x18) | (word & 7);
    set((word & 0x200) === 0 ? OP.LDD : OP.STD, d, displacement, (word & 8) === 0 ? 30 : 28);
  } else if (group === 9) decodeNine(program, chip, hooks, pc, word, set);
  else if (group === 11) decodeInOut(word, hooks, set);
  else if (group === 12 || group === 13) {
    const target = wrapped(program, pc + 1 + ((word << 20) >> 20));
    if (group === 12) set(OP.JUMP, 0, 2, target);
    else set(OP.CALL, 1, 3, target);
  } else if (group === 14) set(OP.LDI, 16 + (d & 15), byteConstant(word));
  else if ((word & 0xfc00) === 0xf000) set(OP.BRCS + (word & 7), 0, 0, wrapped(program, pc + 1 + ((word << 22) >> 25)));
  else if ((word & 0xfc00) === 0xf400) set(OP.BRCC + (word & 7), 0, 0, wrapped(program, pc + 1 + ((word << 22) >> 25)));
  else if ((word & 0xfe08) === 0xf800) set(OP.BLD, d, word & 7);
  else if ((word & 0xfe08) === 0xfa00) set(OP.BST, d, word & 7);
  else if ((word & 0xfe08) === 0xfc00) set(OP.SBRC, d, 1 << (word & 7), skipWords(program, pc));
  else if ((word & 0xfe08) === 0xfe00) set(OP.SBRS, d, 1 << (word & 7), skipWords(program, pc));
}

type Set = (op: number, a?: number, b?: number, k?: number) => void;

function decodeTwoRegisters(word: number, chip: Chip, set: Set, skip: number): void {
  const d = (word >> 4) & 31;
  const r = ((word >> 5) & 16) | (word & 15);
  const high = word >> 10;
  if (high === 0) {
    const kind = word >> 8;
    if (word === 0) set(OP.NOP);
    else if (kind === 1) set(OP.MOVW, (d & 15) * 2, (word & 15) * 2);
    else if (kind === 2 && chip.hasMultiply) set(OP.MULS, 16 + (d & 15), 16 + (word & 15));
    else if (kind === 3 && chip.hasMultiply) {
      const op = [OP.MULSU, OP.FMUL, OP.FMULS, OP.FMULSU][((word >> 6) & 2) | ((word >> 3) & 1)]!;
      set(op, 16 + (d & 7), 16 + (word & 7));
    }
    return;
  }
  const op = [0, OP.CPC, OP.SBC, OP.ADD, OP.CPSE, OP.CP, OP.SUB, OP.ADC, OP.AND, OP.EOR, OP.OR, OP.MOV][high]!;
  set(op, d, r, op === OP.CPSE ? skip : 0);
}

/** Opcodes 1001: loads and stores, one-register arithmetic, calls, single bits of I/O, the core's own instructions. */
function decodeNine(program: Program, chip: Chip, hooks: Uint8Array, pc: number, word: number, set: Set): void {
  const d = (word >> 4) & 31;
  const kind = (word >> 8) & 15;
  if (kind <= 3) decodeLoadStore(word, chip, hooks, wordAt(program, pc + 1), set);
  else if (kind <= 5) decodeOneOperand(program, chip, pc, word, set);
  else if (kind <= 7) {
    const pair = 24 + ((d & 3) << 1);
    set(kind === 6 ? OP.ADIW : OP.SBIW, pair, ((word >> 2) & 0x30) | (word & 15));
  } else if (kind <= 11) {
    const address = 0x20 + ((word >> 3) & 31);
    const mask = 1 << (word & 7);
    const hook = hooks[address]!;
    if (kind === 8) set((hook & 2) === 0 ? OP.CBI : OP.CBI_IO, mask, word & 7, address);
    else if (kind === 10) set((hook & 2) === 0 ? OP.SBI : OP.SBI_IO, mask, word & 7, address);
    else if (kind === 9) set((hook & 1) === 0 ? OP.SBIC : OP.SBIC_IO, mask, skipWords(program, pc), address);
    else set((hook & 1) === 0 ? OP.SBIS : OP.SBIS_IO, mask, skipWords(program, pc), address);
  } else if (chip.hasMultiply) set(OP.MUL, d, ((word >> 5) & 16) | (word & 15));
}

function decodeLoadStore(word: number, chip: Chip, hooks: Uint8Array, next: number, set: Set): void {
  const d = (word >> 4) & 31;
  const isStore = (word & 0x200) !== 0;
  const low = word & 15;
  if (low === 0) {
    const isPlain =
      next < 0x20 ||
      (next >= chip.sramStart && next <= chip.sramEnd) ||
      (next < chip.sramStart && !isCoreRegister(next) && (hooks[next]! & (isStore ? 2 : 1)) === 0);
    if (isStore) set(isPlain ? OP.STS : OP.STS_IO, d, 0, next);
    else set(isPlain ? OP.LDS : OP.LDS_IO, d, 0, next);
  } else if (low === 15) set(isStore ? OP.PUSH : OP.POP, d);
  else if (low === 4 || low === 5) {
    if (!isStore) set(low === 4 ? OP.LPM : OP.LPM_INC, d);
  } else if (low === 12) set(isStore ? OP.STD : OP.LDD, d, 0, 26);
  else {
    const pointer = low < 4 ? 30 : low < 12 ? 28 : 26;
    if ((low & 3) === 1) set(isStore ? OP.ST_INC : OP.LD_INC, d, 0, pointer);
    else if ((low & 3) === 2) set(isStore ? OP.ST_DEC : OP.LD_DEC, d, 0, pointer);
  }
}

function decodeOneOperand(program: Program, chip: Chip, pc: number, word: number, set: Set): void {
  const d = (word >> 4) & 31;
  const low = word & 15;
  const simple = [OP.COM, OP.NEG, OP.SWAP, OP.INC, -1, OP.ASR, OP.LSR, OP.ROR, -1, -1, OP.DEC][low] ?? -1;
  if (simple >= 0) set(simple, d);
  else if (low >= 12) {
    const target = wordAt(program, pc + 1) & (program.words - 1);
    if (chip.hasLongJump) set(low < 14 ? OP.JUMP : OP.CALL, low < 14 ? 0 : 2, low < 14 ? 3 : 4, target);
  } else if (word === 0x9478) set(OP.SEI);
  else if ((word & 0xff8f) === 0x9408) set(OP.SEC + ((word >> 4) & 7));
  else if ((word & 0xff8f) === 0x9488) set(OP.CLC + ((word >> 4) & 7));
  else if (word === 0x9409) set(OP.IJMP);
  else if (word === 0x9509) set(OP.ICALL);
  else if (word === 0x9508) set(OP.RET);
  else if (word === 0x9518) set(OP.RETI);
  else if (word === 0x9588) set(OP.SLEEP);
  else if (word === 0x9598) set(OP.BREAK);
  else if (word === 0x95a8) set(OP.WDR);
  else if (word === 0x95c8) set(OP.LPM, 0);
  else if (word === 0x95e8) set(OP.SPM);
}

function decodeInOut(word: number, hooks: Uint8Array, set: Set): void {
  const d = (word >> 4) & 31;
  const address = 0x20 + (((word >> 5) & 0x30) | (word & 15));
  const isOut = (word & 0x800) !== 0;
  if (address === SPL) set(isOut ? OP.OUT_SPL : OP.IN_SPL, d, 0, address);
  else if (address === SPH) set(isOut ? OP.OUT_SPH : OP.IN_SPH, d, 0, address);
  else if (address === SREG) set(isOut ? OP.OUT_SREG : OP.IN_SREG, d, 0, address);
  else if ((hooks[address]! & (isOut ? 2 : 1)) === 0) set(isOut ? OP.OUT : OP.IN, d, 0, address);
  else set(isOut ? OP.OUT_IO : OP.IN_IO, d, 0, address);
}

function isCoreRegister(address: number): boolean {
  return address === SPL || address === SPH || address === SREG;
}

function byteConstant(word: number): number {
  return ((word >> 4) & 0xf0) | (word & 15);
}

/** Words of the instruction that a skip at `pc` jumps over. */
function skipWords(program: Program, pc: number): number {
  return isTwoWords(wordAt(program, pc + 1)) ? 2 : 1;
}

function wrapped(program: Program, pc: number): number {
  return pc & (program.words - 1);
}
