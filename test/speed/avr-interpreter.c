/*
 * A plain interpreter of decoded instructions, as the measure that the others are compared with in avr.bench.ts. It knows
 * no peripherals: hooked registers are memory, and interrupts never come.
 *
 * Usage: avr-interpreter PROGRAM CYCLES, where PROGRAM holds the decoded arrays as avr.bench.ts writes them. Prints the
 * seconds of processor time, then a sum over the data space, so that nothing can be left out.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { ROOM = 20000, ramStart = 0x100, ramEnd = 0x8ff };
static uint8_t op[ROOM], a[ROOM], b[ROOM], flash[32768], data[65536];
static int32_t k[ROOM];
static int32_t words;

static int64_t run(int64_t cycles) {
  int32_t pc = 0, sp = ramEnd, lowest = ramStart, c = 0, z = 1, n = 0, v = 0, s = 0, h = 0, t = 0, i = 0, d = 0, r = 0, x = 0, next = 0, left = 0;
  int64_t done = 0;
  while (done < cycles) {
    left = 1 << 20;
    done += left;
    while (left > 0) {
      switch (op[pc]) {
        case 0: /* NOP */
          pc++; left -= 1; continue;
        case 1: /* WRAP */
          pc -= words; continue;
        case 2: /* JUMP */
          left -= b[pc]; pc = k[pc]; continue;
        case 3: /* IJMP */
          pc = (data[30] | (data[31] << 8)) & (words - 1); left -= 2; continue;
        case 4: /* CALL */
          if (sp <= lowest || sp > ramEnd) goto careful;
          next = (pc + a[pc]) & (words - 1);
          data[sp] = next; data[sp - 1] = next >> 8; sp -= 2;
          left -= b[pc]; pc = k[pc]; continue;
        case 5: /* ICALL */
          if (sp <= lowest || sp > ramEnd) goto careful;
          next = (pc + 1) & (words - 1);
          data[sp] = next; data[sp - 1] = next >> 8; sp -= 2;
          pc = (data[30] | (data[31] << 8)) & (words - 1); left -= 3; continue;
        case 6: /* RET */
          if (sp + 1 < ramStart || sp + 2 > ramEnd) goto careful;
          pc = ((data[sp + 1] << 8) | data[sp + 2]) & (words - 1); sp += 2;
          left -= 4; continue;
        case 10: /* ADD */
          d = data[a[pc]]; r = data[b[pc]]; x = d + r; data[a[pc]] = x;
          c = x >> 8; h = d ^ r ^ x; v = (d ^ x) & (r ^ x); z = x & 255; n = x; s = n ^ v;
          pc++; left -= 1; continue;
        case 11: /* ADC */
          d = data[a[pc]]; r = data[b[pc]]; x = d + r + c; data[a[pc]] = x;
          c = x >> 8; h = d ^ r ^ x; v = (d ^ x) & (r ^ x); z = x & 255; n = x; s = n ^ v;
          pc++; left -= 1; continue;
        case 12: /* SUB */
          d = data[a[pc]]; r = data[b[pc]]; x = d - r; data[a[pc]] = x;
          c = x < 0; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
          pc++; left -= 1; continue;
        case 21: /* SUBI */
          d = data[a[pc]]; r = b[pc]; x = d - r; data[a[pc]] = x;
          c = x < 0; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
          pc++; left -= 1; continue;
        case 13: /* SBC */
          d = data[a[pc]]; r = data[b[pc]]; x = d - r - c; data[a[pc]] = x;
          c = x < 0; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z |= x & 255;
          pc++; left -= 1; continue;
        case 22: /* SBCI */
          d = data[a[pc]]; r = b[pc]; x = d - r - c; data[a[pc]] = x;
          c = x < 0; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z |= x & 255;
          pc++; left -= 1; continue;
        case 17: /* CP */
          d = data[a[pc]]; r = data[b[pc]]; x = d - r;
          c = x < 0; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
          pc++; left -= 1; continue;
        case 25: /* CPI */
          d = data[a[pc]]; r = b[pc]; x = d - r;
          c = x < 0; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z = x & 255;
          pc++; left -= 1; continue;
        case 18: /* CPC */
          d = data[a[pc]]; r = data[b[pc]]; x = d - r - c;
          c = x < 0; h = d ^ r ^ x; v = (d ^ r) & (d ^ x); n = x; s = n ^ v; z |= x & 255;
          pc++; left -= 1; continue;
        case 14: /* AND */
          d = data[a[pc]]; r = data[b[pc]]; x = d & r; data[a[pc]] = x; v = 0; n = s = z = x;
          pc++; left -= 1; continue;
        case 23: /* ANDI */
          d = data[a[pc]]; r = b[pc]; x = d & r; data[a[pc]] = x; v = 0; n = s = z = x;
          pc++; left -= 1; continue;
        case 15: /* OR */
          d = data[a[pc]]; r = data[b[pc]]; x = d | r; data[a[pc]] = x; v = 0; n = s = z = x;
          pc++; left -= 1; continue;
        case 24: /* ORI */
          d = data[a[pc]]; r = b[pc]; x = d | r; data[a[pc]] = x; v = 0; n = s = z = x;
          pc++; left -= 1; continue;
        case 16: /* EOR */
          d = data[a[pc]]; r = data[b[pc]]; x = d ^ r; data[a[pc]] = x; v = 0; n = s = z = x;
          pc++; left -= 1; continue;
        case 19: /* MOV */
          data[a[pc]] = data[b[pc]];
          pc++; left -= 1; continue;
        case 20: /* MOVW */
          data[a[pc]] = data[b[pc]]; data[a[pc] + 1] = data[b[pc] + 1];
          pc++; left -= 1; continue;
        case 26: /* LDI */
          data[a[pc]] = b[pc];
          pc++; left -= 1; continue;
        case 27: /* ADIW */
          next = a[pc]; d = data[next] | (data[next + 1] << 8); x = d + b[pc]; data[next] = x; data[next + 1] = x >> 8;
          c = x >> 16; z = x & 0xffff; n = x >> 8; v = (x & ~d) >> 8; s = n ^ v;
          pc++; left -= 2; continue;
        case 28: /* SBIW */
          next = a[pc]; d = data[next] | (data[next + 1] << 8); x = d - b[pc]; data[next] = x; data[next + 1] = x >> 8;
          c = x < 0; z = x & 0xffff; n = x >> 8; v = (d & ~x) >> 8; s = n ^ v;
          pc++; left -= 2; continue;
        case 29: /* COM */
          d = data[a[pc]]; x = 255 - d; data[a[pc]] = x; c = 1; v = 0; n = s = z = x;
          pc++; left -= 1; continue;
        case 30: /* NEG */
          d = data[a[pc]]; x = -d & 255; data[a[pc]] = x; c = x == 0 ? 0 : 1; v = d & x; h = (d | x) << 1; n = z = x; s = n ^ v;
          pc++; left -= 1; continue;
        case 31: /* INC */
          d = data[a[pc]]; x = (d + 1) & 255; data[a[pc]] = x; v = x & ~d; n = z = x; s = n ^ v;
          pc++; left -= 1; continue;
        case 32: /* DEC */
          d = data[a[pc]]; x = (d - 1) & 255; data[a[pc]] = x; v = d & ~x; n = z = x; s = n ^ v;
          pc++; left -= 1; continue;
        case 33: /* LSR */
          d = data[a[pc]]; x = d >> 1; data[a[pc]] = x; c = d & 1; n = 0; v = s = c << 7; z = x;
          pc++; left -= 1; continue;
        case 34: /* ROR */
          d = data[a[pc]]; x = (d >> 1) | (c << 7); data[a[pc]] = x; c = d & 1; n = z = x; s = c << 7; v = n ^ s;
          pc++; left -= 1; continue;
        case 35: /* ASR */
          d = data[a[pc]]; x = (d >> 1) | (d & 128); data[a[pc]] = x; c = d & 1; n = z = x; s = c << 7; v = n ^ s;
          pc++; left -= 1; continue;
        case 36: /* SWAP */
          d = data[a[pc]]; data[a[pc]] = (d >> 4) | (d << 4);
          pc++; left -= 1; continue;
        case 37: /* MUL */
          x = data[a[pc]] * data[b[pc]]; data[0] = x; data[1] = x >> 8; c = (x >> 15) & 1; z = x & 0xffff;
          pc++; left -= 2; continue;
        case 38: /* MULS */
          x = ((data[a[pc]] << 24) >> 24) * ((data[b[pc]] << 24) >> 24); data[0] = x; data[1] = x >> 8; c = (x >> 15) & 1; z = x & 0xffff;
          pc++; left -= 2; continue;
        case 39: /* MULSU */
          x = ((data[a[pc]] << 24) >> 24) * data[b[pc]]; data[0] = x; data[1] = x >> 8; c = (x >> 15) & 1; z = x & 0xffff;
          pc++; left -= 2; continue;
        case 40: /* FMUL */
          x = data[a[pc]] * data[b[pc]]; c = (x >> 15) & 1; x <<= 1; data[0] = x; data[1] = x >> 8; z = x & 0xffff;
          pc++; left -= 2; continue;
        case 41: /* FMULS */
          x = ((data[a[pc]] << 24) >> 24) * ((data[b[pc]] << 24) >> 24); c = (x >> 15) & 1; x <<= 1; data[0] = x; data[1] = x >> 8; z = x & 0xffff;
          pc++; left -= 2; continue;
        case 42: /* FMULSU */
          x = ((data[a[pc]] << 24) >> 24) * data[b[pc]]; c = (x >> 15) & 1; x <<= 1; data[0] = x; data[1] = x >> 8; z = x & 0xffff;
          pc++; left -= 2; continue;
        case 43: /* BST */
          t = (data[a[pc]] >> b[pc]) & 1;
          pc++; left -= 1; continue;
        case 44: /* BLD */
          data[a[pc]] = (data[a[pc]] & ~(1 << b[pc])) | (t << b[pc]);
          pc++; left -= 1; continue;
        case 45: /* SEC */
          c = 1;
          pc++; left -= 1; continue;
        case 46: /* SEZ */
          z = 0;
          pc++; left -= 1; continue;
        case 47: /* SEN */
          n = 128;
          pc++; left -= 1; continue;
        case 48: /* SEV */
          v = 128;
          pc++; left -= 1; continue;
        case 49: /* SES */
          s = 128;
          pc++; left -= 1; continue;
        case 50: /* SEH */
          h = 16;
          pc++; left -= 1; continue;
        case 51: /* SET */
          t = 1;
          pc++; left -= 1; continue;
        case 53: /* CLC */
          c = 0;
          pc++; left -= 1; continue;
        case 54: /* CLZ */
          z = 1;
          pc++; left -= 1; continue;
        case 55: /* CLN */
          n = 0;
          pc++; left -= 1; continue;
        case 56: /* CLV */
          v = 0;
          pc++; left -= 1; continue;
        case 57: /* CLS */
          s = 0;
          pc++; left -= 1; continue;
        case 58: /* CLH */
          h = 0;
          pc++; left -= 1; continue;
        case 59: /* CLT */
          t = 0;
          pc++; left -= 1; continue;
        case 60: /* CLI */
          i = 0;
          pc++; left -= 1; continue;
        case 61: /* BRCS */
          if (c != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 69: /* BRCC */
          if (c == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 62: /* BREQ */
          if (z == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 70: /* BRNE */
          if (z != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 63: /* BRMI */
          if ((n & 128) != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 71: /* BRPL */
          if ((n & 128) == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 64: /* BRVS */
          if ((v & 128) != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 72: /* BRVC */
          if ((v & 128) == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 65: /* BRLT */
          if ((s & 128) != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 73: /* BRGE */
          if ((s & 128) == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 66: /* BRHS */
          if ((h & 16) != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 74: /* BRHC */
          if ((h & 16) == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 67: /* BRTS */
          if (t != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 75: /* BRTC */
          if (t == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 68: /* BRIE */
          if (i != 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 76: /* BRID */
          if (i == 0) { pc = k[pc]; left -= 2; } else { pc++; left -= 1; }
          continue;
        case 77: /* CPSE */
          if (data[a[pc]] == data[b[pc]]) { left -= 1 + k[pc]; pc += 1 + k[pc]; } else { pc++; left -= 1; }
          continue;
        case 78: /* SBRC */
          if ((data[a[pc]] & b[pc]) == 0) { left -= 1 + k[pc]; pc += 1 + k[pc]; } else { pc++; left -= 1; }
          continue;
        case 79: /* SBRS */
          if ((data[a[pc]] & b[pc]) != 0) { left -= 1 + k[pc]; pc += 1 + k[pc]; } else { pc++; left -= 1; }
          continue;
        case 80: /* SBIC */
          if ((data[k[pc]] & a[pc]) == 0) { left -= 1 + b[pc]; pc += 1 + b[pc]; } else { pc++; left -= 1; }
          continue;
        case 81: /* SBIS */
          if ((data[k[pc]] & a[pc]) != 0) { left -= 1 + b[pc]; pc += 1 + b[pc]; } else { pc++; left -= 1; }
          continue;
        case 82: /* LDS */
          data[a[pc]] = data[k[pc]];
          pc += 2; left -= 2; continue;
        case 83: /* STS */
          data[k[pc]] = data[a[pc]];
          pc += 2; left -= 2; continue;
        case 84: /* IN */
          data[a[pc]] = data[k[pc]];
          pc++; left -= 1; continue;
        case 85: /* OUT */
          data[k[pc]] = data[a[pc]];
          pc++; left -= 1; continue;
        case 86: /* SBI */
          data[k[pc]] |= a[pc];
          pc++; left -= 2; continue;
        case 87: /* CBI */
          data[k[pc]] &= ~a[pc];
          pc++; left -= 2; continue;
        case 88: /* IN_SPL */
          data[a[pc]] = sp;
          pc++; left -= 1; continue;
        case 89: /* IN_SPH */
          data[a[pc]] = sp >> 8;
          pc++; left -= 1; continue;
        case 90: /* IN_SREG */
          data[a[pc]] = c | (z == 0 ? 2 : 0) | ((n >> 5) & 4) | ((v >> 4) & 8) | ((s >> 3) & 16) | ((h << 1) & 32) | (t << 6) | (i << 7);
          pc++; left -= 1; continue;
        case 91: /* OUT_SPL */
          sp = (sp & 0xff00) | data[a[pc]];
          pc++; left -= 1; continue;
        case 92: /* OUT_SPH */
          sp = (sp & 0xff) | (data[a[pc]] << 8);
          pc++; left -= 1; continue;
        case 93: /* OUT_SREG */
          d = data[a[pc]];
          if (d > 127 && i == 0) goto careful;
          c = d & 1; z = ~d & 2; n = d << 5; v = d << 4; s = d << 3; h = d >> 1; t = (d >> 6) & 1; i = d >> 7;
          pc++; left -= 1; continue;
        case 94: /* LDD */
          next = k[pc]; x = ((data[next] | (data[next + 1] << 8)) + b[pc]) & 0xffff;
          if (x < ramStart || x > ramEnd) goto careful;
          data[a[pc]] = data[x];
          pc++; left -= 2; continue;
        case 95: /* LD_INC */
          next = k[pc]; x = data[next] | (data[next + 1] << 8);
          if (x < ramStart || x > ramEnd) goto careful;
          d = data[x]; x++; data[next] = x; data[next + 1] = x >> 8; data[a[pc]] = d;
          pc++; left -= 2; continue;
        case 96: /* LD_DEC */
          next = k[pc]; x = ((data[next] | (data[next + 1] << 8)) - 1) & 0xffff;
          if (x < ramStart || x > ramEnd) goto careful;
          d = data[x]; data[next] = x; data[next + 1] = x >> 8; data[a[pc]] = d;
          pc++; left -= 2; continue;
        case 97: /* STD */
          next = k[pc]; x = ((data[next] | (data[next + 1] << 8)) + b[pc]) & 0xffff;
          if (x < ramStart || x > ramEnd) goto careful;
          data[x] = data[a[pc]];
          pc++; left -= 2; continue;
        case 98: /* ST_INC */
          next = k[pc]; x = data[next] | (data[next + 1] << 8);
          if (x < ramStart || x > ramEnd) goto careful;
          data[x] = data[a[pc]]; x++; data[next] = x; data[next + 1] = x >> 8;
          pc++; left -= 2; continue;
        case 99: /* ST_DEC */
          next = k[pc]; x = ((data[next] | (data[next + 1] << 8)) - 1) & 0xffff;
          if (x < ramStart || x > ramEnd) goto careful;
          d = data[a[pc]]; data[next] = x; data[next + 1] = x >> 8; data[x] = d;
          pc++; left -= 2; continue;
        case 100: /* PUSH */
          if (sp < lowest || sp > ramEnd) goto careful;
          data[sp] = data[a[pc]]; sp--;
          pc++; left -= 2; continue;
        case 101: /* POP */
          if (sp + 1 < ramStart || sp + 1 > ramEnd) goto careful;
          sp++; data[a[pc]] = data[sp];
          pc++; left -= 2; continue;
        case 102: /* LPM */
          data[a[pc]] = flash[(data[30] | (data[31] << 8)) & (words * 2 - 1)];
          pc++; left -= 3; continue;
        case 103: /* LPM_INC */
          x = data[30] | (data[31] << 8);
          d = flash[x & (words * 2 - 1)]; x++; data[30] = x; data[31] = x >> 8; data[a[pc]] = d;
          pc++; left -= 3; continue;

        default:
        careful:
          /* Hooked loads and stores as memory; whatever else needs care does nothing. */
          if (op[pc] == 117) { data[a[pc]] = data[k[pc]]; pc += 2; left -= 2; }
          else if (op[pc] == 118) { data[k[pc]] = data[a[pc]]; pc += 2; left -= 2; }
          else if (op[pc] == 119) { data[a[pc]] = data[k[pc]]; pc++; left -= 1; }
          else if (op[pc] == 120) { data[k[pc]] = data[a[pc]]; pc++; left -= 1; }
          else if (op[pc] == 111 || op[pc] == 110) { fprintf(stderr, "lost at %d\n", pc); exit(1); }
          else { pc++; left -= 1; }
          continue;
      }
    }
    done -= left;
  }
  return done + sp + c + z + n + v + s + h + t + i + lowest;
}

int main(int count, char **arguments) {
  FILE *file = count == 3 ? fopen(arguments[1], "rb") : NULL;
  int32_t room[2];
  if (!file || fread(room, 4, 2, file) != 2 || room[1] > ROOM) return 2;
  words = room[0];
  if (fread(op, 1, room[1], file) != (size_t)room[1] || fread(a, 1, room[1], file) != (size_t)room[1] || fread(b, 1, room[1], file) != (size_t)room[1]) return 2;
  if (fread(k, 4, room[1], file) != (size_t)room[1] || fread(flash, 1, words * 2, file) != (size_t)words * 2) return 2;
  clock_t start = clock();
  int64_t sum = run(atoll(arguments[2]));
  double seconds = (double)(clock() - start) / CLOCKS_PER_SEC;
  for (int at = 0; at <= ramEnd; at++) sum += data[at];
  printf("%.6f %lld\n", seconds, (long long)sum);
  return 0;
}
