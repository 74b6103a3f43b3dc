/* 20 KiB of switches and calls: a state machine of many routines, none of them hot for long. */
#include "print.h"
static volatile uint8_t fed;
static uint16_t a, b, c, d;
static uint8_t mode;
#define OPS(n) \
  case 0: a += b ^ (n); break; case 1: b = (b << 3) | (b >> 13); break; case 2: c += a * 3 + (n); break; \
  case 3: d ^= c >> 2; if (d & 1) a++; break; case 4: a -= d; b += (n) * 5; break; case 5: c = c * 7 + (n); break; \
  case 6: if (a > b) c--; else d += (n); break; case 7: d = (uint16_t)(d + 0x1234 + (n)); b ^= d; break; \
  case 8: mode ^= (uint8_t)(n); a = ~a; break; default: b += mode; c ^= b; break;
#define ROUTINE(n) static __attribute__((noinline)) void r##n(uint8_t k) { switch (k % 11) { OPS(n) } if (c & 4) a ^= (n) * 257u; \
  for (uint8_t i = 0; i < (uint8_t)((k & 3) + 1); i++) { d += a; a = (a >> 1) ^ ((a & 1) ? 0xA001 : 0); } fed = (uint8_t)a; }
#define TEN(n) ROUTINE(n##0) ROUTINE(n##1) ROUTINE(n##2) ROUTINE(n##3) ROUTINE(n##4) ROUTINE(n##5) ROUTINE(n##6) ROUTINE(n##7) ROUTINE(n##8) ROUTINE(n##9)
TEN(1) TEN(2) TEN(3) TEN(4)
#define CALLS(n) case n##0: r##n##0(k); break; case n##1: r##n##1(k); break; case n##2: r##n##2(k); break; case n##3: r##n##3(k); break; case n##4: r##n##4(k); break; \
  case n##5: r##n##5(k); break; case n##6: r##n##6(k); break; case n##7: r##n##7(k); break; case n##8: r##n##8(k); break; case n##9: r##n##9(k); break;
static __attribute__((noinline)) void dispatch(uint8_t which, uint8_t k) { switch (which) { CALLS(1) CALLS(2) CALLS(3) CALLS(4) default: r10(k); } }
#ifndef ROUNDS
#define ROUNDS 3000
#endif
int main(void) {
  uint16_t seed = 1;
  for (uint32_t round = 0; round < ROUNDS; round++) {
    seed = seed * 25173u + 13849u;
    dispatch((uint8_t)(10 + (uint8_t)(seed >> 8) % 40), (uint8_t)seed);
    if ((round & 255) == 0) emit16((uint16_t)(a ^ b ^ c ^ d));
  }
  emit16(a); emit16(b); emit16(c); emit16(d);
  END();
}
