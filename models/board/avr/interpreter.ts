/**
 * The run loop that carries out decoded instructions one by one, and the reference for translated code.
 *
 * Hot path: nothing allocates, the whole state is in locals, and every case is a literal number (op.ts, by name in the
 * comment) so that the switch becomes a jump table; that is why it is one long function. Speed: test/speed/avr.bench.ts.
 *
 * What needs care (hooked I/O, the stack at a new depth, interrupts coming on, mistakes of the program) is not done
 * here: the loop ends before such an instruction, and careful.ts carries it out.
 *
 * Flags as in machine.ts: unmasked. Source of their formulas and of the cycles: AVR Instruction Set Manual,
 * Atmel-0856L, for parts with a 16-bit program counter.
 */
import { homeOf, type Loops, leapCount } from './loops.ts';
import { AT, type Machine } from './machine.ts';

/**
 * Runs while `left` is above 0. Returns 0 when it is not, or 1 when the instruction at `pc` needs the careful path.
 * The time of an event window is what `left` holds at the call: waiting loops are leapt over within it.
 */
export function interpret(machine: Machine, loops: Loops): 0 | 1 {
  const { data, state } = machine;
  const { words, flash, op: OPS, a: A, b: B, k: K } = machine.program;
  const ramStart = machine.chip.sramStart;
  const ramEnd = machine.chip.sramEnd;
  const lowest = state[AT.lowest]!;
  let pc = state[AT.pc]!;
  let sp = state[AT.sp]!;
  let c = state[AT.c]!;
  let z = state[AT.z]!;
  let n = state[AT.n]!;
  let v = state[AT.v]!;
  let s = state[AT.s]!;
  let h = state[AT.h]!;
  let t = state[AT.t]!;
  let i = state[AT.i]!;
  let left = state[AT.left]!;
  let headPc = -1;
  let headLeft = 0;
  let d = 0;
  let r = 0;
  let x = 0;
  let next = 0;
  // biome-ignore format: one instruction a paragraph
  loop: while (left > 0) {
    switch (OPS[pc]) {
      case 0: // NOP
        pc++; left -= 1; continue;
      case 1: // WRAP
        pc -= words; continue;
      case 2: // JUMP
        left -= B[pc]!; pc = K[pc]!; continue;
      case 3: // IJMP
        pc = (data[30]! | (data[31]! << 8)) & (words - 1); left -= 2; continue;
      case 4: // CALL
        if (sp <= lowest || sp > ramEnd) break loop;
        next = (pc + A[pc]!) & (words - 1);
        data[sp] = next; data[sp - 1] = next >> 8; sp -= 2;
        left -= B[pc]!; pc = K[pc]!; continue;
      case 5: // ICALL
        if (sp <= lowest || sp > ramEnd) break loop;
        next = (pc + 1) & (words - 1);
        data[sp] = next; data[sp - 1] = next >> 8; sp -= 2;
        pc = (data[30]! | (data[31]! << 8)) & (words - 1); left -= 3; continue;
      case 6: // RET
        if (sp + 1 < ramStart || sp + 2 > ramEnd) break loop;
        pc = ((data[sp + 1]! << 8) | data[sp + 2]!) & (words - 1); sp += 2;
        left -= 4; continue;
      case 7: // COUNT
        // A delay loop's BRNE: leaps over passes that only count, and leaves a whole one to be run.
        if (z === 0) { pc++; left -= 1; continue; }
        left -= 2;
        left -= leapCount(loops, A[pc]! | (B[pc]! << 8), left, data);
        pc = K[pc]!; continue;
      case 8: // IDLE
        // Head of a loop that only waits: a second pass in the same window without events ends like the first, so leap.
        next = loops.idleCycles[A[pc]! | (B[pc]! << 8)]!;
        if (pc === headPc && headLeft - left === next) left -= (((left - 1) / next) | 0) * next;
        headPc = pc; headLeft = left;
        pc = K[pc]!; continue;
      case 10: // ADD
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d + r; data[A[pc]!] = x;
        c = x >> 8; h = d ^ r ^ x; v = (d ^ x) & (r ^ x); z = x & 255; n = x; s = n ^ v;
        pc++; left -= 1; continue;
      case 11: // ADC
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d + r + c; data[A[pc]!] = x;
        c = x >> 8; h = d ^ r ^ x; v = (d ^ x) & (r ^ x); z = x & 255; n = x; s = n ^ v;
        pc++; left -= 1; continue;
      case 12: // SUB
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d - r; data[A[pc]!] = x;
        c = x >>> 31; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
        pc++; left -= 1; continue;
      case 21: // SUBI
        d = data[A[pc]!]!; r = B[pc]!; x = d - r; data[A[pc]!] = x;
        c = x >>> 31; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
        pc++; left -= 1; continue;
      case 13: // SBC
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d - r - c; data[A[pc]!] = x;
        c = x >>> 31; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z |= x & 255;
        pc++; left -= 1; continue;
      case 22: // SBCI
        d = data[A[pc]!]!; r = B[pc]!; x = d - r - c; data[A[pc]!] = x;
        c = x >>> 31; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z |= x & 255;
        pc++; left -= 1; continue;
      case 17: // CP
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d - r;
        c = x >>> 31; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
        pc++; left -= 1; continue;
      case 25: // CPI
        d = data[A[pc]!]!; r = B[pc]!; x = d - r;
        c = x >>> 31; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
        pc++; left -= 1; continue;
      case 18: // CPC
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d - r - c;
        c = x >>> 31; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z |= x & 255;
        pc++; left -= 1; continue;
      case 14: // AND
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d & r; data[A[pc]!] = x; v = 0; n = s = z = x;
        pc++; left -= 1; continue;
      case 23: // ANDI
        d = data[A[pc]!]!; r = B[pc]!; x = d & r; data[A[pc]!] = x; v = 0; n = s = z = x;
        pc++; left -= 1; continue;
      case 15: // OR
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d | r; data[A[pc]!] = x; v = 0; n = s = z = x;
        pc++; left -= 1; continue;
      case 24: // ORI
        d = data[A[pc]!]!; r = B[pc]!; x = d | r; data[A[pc]!] = x; v = 0; n = s = z = x;
        pc++; left -= 1; continue;
      case 16: // EOR
        d = data[A[pc]!]!; r = data[B[pc]!]!; x = d ^ r; data[A[pc]!] = x; v = 0; n = s = z = x;
        pc++; left -= 1; continue;
      case 19: // MOV
        data[A[pc]!] = data[B[pc]!]!;
        pc++; left -= 1; continue;
      case 20: // MOVW
        data[A[pc]!] = data[B[pc]!]!; data[A[pc]! + 1] = data[B[pc]! + 1]!;
        pc++; left -= 1; continue;
      case 26: // LDI
        data[A[pc]!] = B[pc]!;
        pc++; left -= 1; continue;
      case 27: // ADIW
        next = A[pc]!; d = data[next]! | (data[next + 1]! << 8); x = d + B[pc]!; data[next] = x; data[next + 1] = x >> 8;
        c = x >> 16; z = x & 0xffff; n = x >> 8; v = (x & ~d) >> 8; s = n ^ v;
        pc++; left -= 2; continue;
      case 28: // SBIW
        next = A[pc]!; d = data[next]! | (data[next + 1]! << 8); x = d - B[pc]!; data[next] = x; data[next + 1] = x >> 8;
        c = x >>> 31; z = x & 0xffff; n = x >> 8; v = (d & ~x) >> 8; s = n ^ v;
        pc++; left -= 2; continue;
      case 29: // COM
        d = data[A[pc]!]!; x = 255 - d; data[A[pc]!] = x; c = 1; v = 0; n = s = z = x;
        pc++; left -= 1; continue;
      case 30: // NEG
        d = data[A[pc]!]!; x = -d & 255; data[A[pc]!] = x; c = x === 0 ? 0 : 1; v = d & x; h = (d | x) << 1; n = z = x; s = n ^ v;
        pc++; left -= 1; continue;
      case 31: // INC
        d = data[A[pc]!]!; x = (d + 1) & 255; data[A[pc]!] = x; v = x & ~d; n = z = x; s = n ^ v;
        pc++; left -= 1; continue;
      case 32: // DEC
        d = data[A[pc]!]!; x = (d - 1) & 255; data[A[pc]!] = x; v = d & ~x; n = z = x; s = n ^ v;
        pc++; left -= 1; continue;
      case 33: // LSR
        d = data[A[pc]!]!; x = d >> 1; data[A[pc]!] = x; c = d & 1; n = 0; v = s = c << 7; z = x;
        pc++; left -= 1; continue;
      case 34: // ROR
        d = data[A[pc]!]!; x = (d >> 1) | (c << 7); data[A[pc]!] = x; c = d & 1; n = z = x; s = c << 7; v = n ^ s;
        pc++; left -= 1; continue;
      case 35: // ASR
        d = data[A[pc]!]!; x = (d >> 1) | (d & 128); data[A[pc]!] = x; c = d & 1; n = z = x; s = c << 7; v = n ^ s;
        pc++; left -= 1; continue;
      case 36: // SWAP
        d = data[A[pc]!]!; data[A[pc]!] = (d >> 4) | (d << 4);
        pc++; left -= 1; continue;
      case 37: // MUL
        x = data[A[pc]!]! * data[B[pc]!]!; data[0] = x; data[1] = x >> 8; c = (x >> 15) & 1; z = x & 0xffff;
        pc++; left -= 2; continue;
      case 38: // MULS
        x = ((data[A[pc]!]! << 24) >> 24) * ((data[B[pc]!]! << 24) >> 24); data[0] = x; data[1] = x >> 8; c = (x >> 15) & 1; z = x & 0xffff;
        pc++; left -= 2; continue;
      case 39: // MULSU
        x = ((data[A[pc]!]! << 24) >> 24) * data[B[pc]!]!; data[0] = x; data[1] = x >> 8; c = (x >> 15) & 1; z = x & 0xffff;
        pc++; left -= 2; continue;
      case 40: // FMUL
        x = data[A[pc]!]! * data[B[pc]!]!; c = (x >> 15) & 1; x <<= 1; data[0] = x; data[1] = x >> 8; z = x & 0xffff;
        pc++; left -= 2; continue;
      case 41: // FMULS
        x = ((data[A[pc]!]! << 24) >> 24) * ((data[B[pc]!]! << 24) >> 24); c = (x >> 15) & 1; x <<= 1; data[0] = x; data[1] = x >> 8; z = x & 0xffff;
        pc++; left -= 2; continue;
      case 42: // FMULSU
        x = ((data[A[pc]!]! << 24) >> 24) * data[B[pc]!]!; c = (x >> 15) & 1; x <<= 1; data[0] = x; data[1] = x >> 8; z = x & 0xffff;
        pc++; left -= 2; continue;
      case 43: // BST
        t = (data[A[pc]!]! >> B[pc]!) & 1;
        pc++; left -= 1; continue;
      case 44: // BLD
        data[A[pc]!] = (data[A[pc]!]! & ~(1 << B[pc]!)) | (t << B[pc]!);
        pc++; left -= 1; continue;
      case 45: // SEC
        c = 1;
        pc++; left -= 1; continue;
      case 46: // SEZ
        z = 0;
        pc++; left -= 1; continue;
      case 47: // SEN
        n = 128;
        pc++; left -= 1; continue;
      case 48: // SEV
        v = 128;
        pc++; left -= 1; continue;
      case 49: // SES
        s = 128;
        pc++; left -= 1; continue;
      case 50: // SEH
        h = 16;
        pc++; left -= 1; continue;
      case 51: // SET
        t = 1;
        pc++; left -= 1; continue;
      case 53: // CLC
        c = 0;
        pc++; left -= 1; continue;
      case 54: // CLZ
        z = 1;
        pc++; left -= 1; continue;
      case 55: // CLN
        n = 0;
        pc++; left -= 1; continue;
      case 56: // CLV
        v = 0;
        pc++; left -= 1; continue;
      case 57: // CLS
        s = 0;
        pc++; left -= 1; continue;
      case 58: // CLH
        h = 0;
        pc++; left -= 1; continue;
      case 59: // CLT
        t = 0;
        pc++; left -= 1; continue;
      case 60: // CLI
        i = 0;
        pc++; left -= 1; continue;
      case 61: // BRCS
        if (c !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 69: // BRCC
        if (c === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 62: // BREQ
        if (z === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 70: // BRNE
        if (z !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 63: // BRMI
        if ((n & 128) !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 71: // BRPL
        if ((n & 128) === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 64: // BRVS
        if ((v & 128) !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 72: // BRVC
        if ((v & 128) === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 65: // BRLT
        if ((s & 128) !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 73: // BRGE
        if ((s & 128) === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 66: // BRHS
        if ((h & 16) !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 74: // BRHC
        if ((h & 16) === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 67: // BRTS
        if (t !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 75: // BRTC
        if (t === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 68: // BRIE
        if (i !== 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 76: // BRID
        if (i === 0) { pc = K[pc]!; left -= 2; } else { pc++; left -= 1; }
        continue;
      case 77: // CPSE
        if (data[A[pc]!]! === data[B[pc]!]!) { left -= 1 + K[pc]!; pc += 1 + K[pc]!; } else { pc++; left -= 1; }
        continue;
      case 78: // SBRC
        if ((data[A[pc]!]! & B[pc]!) === 0) { left -= 1 + K[pc]!; pc += 1 + K[pc]!; } else { pc++; left -= 1; }
        continue;
      case 79: // SBRS
        if ((data[A[pc]!]! & B[pc]!) !== 0) { left -= 1 + K[pc]!; pc += 1 + K[pc]!; } else { pc++; left -= 1; }
        continue;
      case 80: // SBIC
        if ((data[K[pc]!]! & A[pc]!) === 0) { left -= 1 + B[pc]!; pc += 1 + B[pc]!; } else { pc++; left -= 1; }
        continue;
      case 81: // SBIS
        if ((data[K[pc]!]! & A[pc]!) !== 0) { left -= 1 + B[pc]!; pc += 1 + B[pc]!; } else { pc++; left -= 1; }
        continue;
      case 82: // LDS
        data[A[pc]!] = data[K[pc]!]!;
        pc += 2; left -= 2; continue;
      case 83: // STS
        data[K[pc]!] = data[A[pc]!]!;
        pc += 2; left -= 2; continue;
      case 84: // IN
        data[A[pc]!] = data[K[pc]!]!;
        pc++; left -= 1; continue;
      case 85: // OUT
        data[K[pc]!] = data[A[pc]!]!;
        pc++; left -= 1; continue;
      case 86: // SBI
        data[K[pc]!]! |= A[pc]!;
        pc++; left -= 2; continue;
      case 87: // CBI
        data[K[pc]!]! &= ~A[pc]!;
        pc++; left -= 2; continue;
      case 88: // IN_SPL
        data[A[pc]!] = sp;
        pc++; left -= 1; continue;
      case 89: // IN_SPH
        data[A[pc]!] = sp >> 8;
        pc++; left -= 1; continue;
      case 90: // IN_SREG
        data[A[pc]!] = c | (z === 0 ? 2 : 0) | ((n >> 5) & 4) | ((v >> 4) & 8) | ((s >> 3) & 16) | ((h << 1) & 32) | (t << 6) | (i << 7);
        pc++; left -= 1; continue;
      case 91: // OUT_SPL
        sp = (sp & 0xff00) | data[A[pc]!]!;
        pc++; left -= 1; continue;
      case 92: // OUT_SPH
        sp = (sp & 0xff) | (data[A[pc]!]! << 8);
        pc++; left -= 1; continue;
      case 93: // OUT_SREG
        d = data[A[pc]!]!;
        if (d > 127 && i === 0) break loop; // Interrupts may follow, which the careful path sees to.
        c = d & 1; z = ~d & 2; n = d << 5; v = d << 4; s = d << 3; h = d >> 1; t = (d >> 6) & 1; i = d >> 7;
        pc++; left -= 1; continue;
      case 94: // LDD
        next = K[pc]!; x = ((data[next]! | (data[next + 1]! << 8)) + B[pc]!) & 0xffff;
        if (x < ramStart || x > ramEnd) break loop;
        data[A[pc]!] = data[x]!;
        pc++; left -= 2; continue;
      case 95: // LD_INC
        next = K[pc]!; x = data[next]! | (data[next + 1]! << 8);
        if (x < ramStart || x > ramEnd) break loop;
        d = data[x]!; x++; data[next] = x; data[next + 1] = x >> 8; data[A[pc]!] = d;
        pc++; left -= 2; continue;
      case 96: // LD_DEC
        next = K[pc]!; x = ((data[next]! | (data[next + 1]! << 8)) - 1) & 0xffff;
        if (x < ramStart || x > ramEnd) break loop;
        d = data[x]!; data[next] = x; data[next + 1] = x >> 8; data[A[pc]!] = d;
        pc++; left -= 2; continue;
      case 97: // STD
        next = K[pc]!; x = ((data[next]! | (data[next + 1]! << 8)) + B[pc]!) & 0xffff;
        if (x < ramStart || x > ramEnd) break loop;
        data[x] = data[A[pc]!]!;
        pc++; left -= 2; continue;
      case 98: // ST_INC
        next = K[pc]!; x = data[next]! | (data[next + 1]! << 8);
        if (x < ramStart || x > ramEnd) break loop;
        data[x] = data[A[pc]!]!; x++; data[next] = x; data[next + 1] = x >> 8;
        pc++; left -= 2; continue;
      case 99: // ST_DEC
        next = K[pc]!; x = ((data[next]! | (data[next + 1]! << 8)) - 1) & 0xffff;
        if (x < ramStart || x > ramEnd) break loop;
        d = data[A[pc]!]!; data[next] = x; data[next + 1] = x >> 8; data[x] = d;
        pc++; left -= 2; continue;
      case 100: // PUSH
        if (sp < lowest || sp > ramEnd) break loop;
        data[sp] = data[A[pc]!]!; sp--;
        pc++; left -= 2; continue;
      case 101: // POP
        if (sp + 1 < ramStart || sp + 1 > ramEnd) break loop;
        sp++; data[A[pc]!] = data[sp]!;
        pc++; left -= 2; continue;
      case 102: // LPM
        data[A[pc]!] = flash[(data[30]! | (data[31]! << 8)) & (words * 2 - 1)]!;
        pc++; left -= 3; continue;
      case 103: // LPM_INC
        x = data[30]! | (data[31]! << 8);
        d = flash[x & (words * 2 - 1)]!; x++; data[30] = x; data[31] = x >> 8; data[A[pc]!] = d;
        pc++; left -= 3; continue;
      default:
        break loop;
    }
  }
  state[AT.pc] = pc >= words ? homeOf(loops, words, pc) : pc;
  state[AT.sp] = sp;
  state[AT.c] = c;
  state[AT.z] = z;
  state[AT.n] = n;
  state[AT.v] = v;
  state[AT.s] = s;
  state[AT.h] = h;
  state[AT.t] = t;
  state[AT.i] = i;
  state[AT.left] = left;
  return left > 0 ? 1 : 0;
}
