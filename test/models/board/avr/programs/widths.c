/* All widths, signs, shifts by variables, bit fields, 64-bit quotients, and single-precision sums. */
#include "print.h"
struct parts { uint16_t a : 3, b : 7, c : 6; } ;
static const uint16_t rows[] PROGMEM = { 1, 500, 65535, 0x1234 };
int main(void) {
  for (uint8_t i = 0; i < 60; i++) {
    uint32_t x = draw(), y = draw();
    uint8_t s = (uint8_t)(y & 31);
    emit32(x >> s); emit32(x << s); emit32((uint32_t)((int32_t)x >> s));
    EMIT((int8_t)x >> (s & 7)); emit16((uint16_t)((int16_t)x >> (s & 15)));
    emit32(x / (y | 1)); emit32(x % ((y >> 20) | 1)); emit32((uint32_t)((int32_t)x / ((int16_t)y | 1)));
    emit16((uint16_t)((int32_t)(int16_t)x * (int8_t)y)); EMIT((uint8_t)x / ((uint8_t)y | 1)); EMIT((int8_t)x % ((int8_t)y | 1));
    uint64_t w = ((uint64_t)x << 32) | y;
    emit64(w / (y | 3)); emit64(w % 1000003u); emit64(w * x); emit64((uint64_t)((int64_t)w >> s));
    struct parts p; memset(&p, 0, sizeof p); p.a = x; p.b = y; p.c = x >> 9; emit16((uint16_t)(p.a + p.b * p.c));
    emit16(pgm_read_word(&rows[i & 3]));
    float f = (float)(int16_t)x / 8.0f, g = (float)(int16_t)y * 0.5f;
    float r = f + g; uint32_t bits; memcpy(&bits, &r, 4); emit32(bits);
    r = f - g; memcpy(&bits, &r, 4); emit32(bits);
    r = f * 0.25f; memcpy(&bits, &r, 4); emit32(bits);
    emit32((uint32_t)(int32_t)r); EMIT(f < g); EMIT(f >= g);
  }
  END();
}
