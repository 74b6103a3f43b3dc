/**
 * The operations that instructions are decoded to. One instruction of the manual may become several operations (IN of
 * plain memory, of the stack pointer, of a hooked register), so that the run loop decides nothing twice.
 *
 * The numbers are written out again in interpreter.ts, since only literal cases become a jump table; a test holds both
 * together. Operands: `a` is mostly Rd, `b` Rr or a small constant, `k` an address, a word target or a constant.
 */
// biome-ignore format: a table read by number
export const OP = {
  // Carried out by both engines.
  NOP: 0, WRAP: 1, JUMP: 2, IJMP: 3, CALL: 4, ICALL: 5, RET: 6, COUNT: 7, IDLE: 8,
  ADD: 10, ADC: 11, SUB: 12, SBC: 13, AND: 14, OR: 15, EOR: 16, CP: 17, CPC: 18, MOV: 19, MOVW: 20,
  SUBI: 21, SBCI: 22, ANDI: 23, ORI: 24, CPI: 25, LDI: 26, ADIW: 27, SBIW: 28,
  COM: 29, NEG: 30, INC: 31, DEC: 32, LSR: 33, ROR: 34, ASR: 35, SWAP: 36,
  MUL: 37, MULS: 38, MULSU: 39, FMUL: 40, FMULS: 41, FMULSU: 42,
  BST: 43, BLD: 44,
  // Flags: SEx = 45 + bit, CLx = 53 + bit; SEI is among the careful ones.
  SEC: 45, SEZ: 46, SEN: 47, SEV: 48, SES: 49, SEH: 50, SET: 51,
  CLC: 53, CLZ: 54, CLN: 55, CLV: 56, CLS: 57, CLH: 58, CLT: 59, CLI: 60,
  // Branches: on a set flag 61 + bit, on a cleared flag 69 + bit.
  BRCS: 61, BREQ: 62, BRMI: 63, BRVS: 64, BRLT: 65, BRHS: 66, BRTS: 67, BRIE: 68,
  BRCC: 69, BRNE: 70, BRPL: 71, BRVC: 72, BRGE: 73, BRHC: 74, BRTC: 75, BRID: 76,
  CPSE: 77, SBRC: 78, SBRS: 79, SBIC: 80, SBIS: 81,
  LDS: 82, STS: 83, IN: 84, OUT: 85, SBI: 86, CBI: 87,
  IN_SPL: 88, IN_SPH: 89, IN_SREG: 90, OUT_SPL: 91, OUT_SPH: 92, OUT_SREG: 93,
  LDD: 94, LD_INC: 95, LD_DEC: 96, STD: 97, ST_INC: 98, ST_DEC: 99, PUSH: 100, POP: 101, LPM: 102, LPM_INC: 103,
  // Carried out by the careful path only.
  SEI: 109, OUTSIDE: 110, ILLEGAL: 111, RETI: 112, SLEEP: 113, WDR: 114, BREAK: 115, SPM: 116,
  LDS_IO: 117, STS_IO: 118, IN_IO: 119, OUT_IO: 120, SBI_IO: 121, CBI_IO: 122, SBIC_IO: 123, SBIS_IO: 124,
} as const;

export const FIRST_CAREFUL = OP.SEI;
