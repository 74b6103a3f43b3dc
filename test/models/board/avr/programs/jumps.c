/* Switch tables, tables of functions, non-local jumps, variable arguments. */
#include "print.h"
#include <setjmp.h>
#include <stdarg.h>
static uint16_t pick(uint8_t k, uint16_t v) {
  switch (k) {
    case 0: return v + 1; case 1: return v * 3; case 2: return v ^ 0x5A5A; case 3: return v >> 2; case 4: return v << 3; case 5: return ~v;
    case 6: return v - 77; case 7: return v / 5; case 8: return v % 7; case 9: return v | 0x101; case 10: return v & 0xF0F; case 11: return 9; default: return 0;
  }
}
static uint16_t f0(uint16_t v) { return v + 3; }
static uint16_t f1(uint16_t v) { return v * 2; }
static uint16_t f2(uint16_t v) { return v ^ 99; }
static uint16_t (*const volatile table[])(uint16_t) = { f0, f1, f2 };
static jmp_buf back;
static void deep(uint8_t n) { if (n == 0) longjmp(back, 7); deep(n - 1); EMIT(n); }
static uint32_t total(uint8_t n, ...) { va_list a; va_start(a, n); uint32_t t = 0; while (n--) t = t * 31 + va_arg(a, uint32_t); va_end(a); return t; }
int main(void) {
  uint16_t v = 1;
  for (uint8_t i = 0; i < 200; i++) { v = pick((uint8_t)(draw() % 13), v); v = table[i % 3](v); emit16(v); }
  volatile uint8_t tries = 0;
  int got = setjmp(back);
  EMIT(got); EMIT(tries);
  if (tries < 3) { tries = tries + 1; deep(tries + 2); }
  emit32(total(4, (uint32_t)1, (uint32_t)2, (uint32_t)0x10000, (uint32_t)v));
  END();
}
