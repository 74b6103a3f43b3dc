/* CRC-32 bit by bit and by table, with products and quotients. */
#include "print.h"
static uint32_t crc(const uint8_t *p, uint16_t n) {
  uint32_t c = 0xFFFFFFFFu;
  while (n--) { c ^= *p++; for (uint8_t k = 0; k < 8; k++) c = (c & 1) ? (c >> 1) ^ 0xEDB88320u : c >> 1; }
  return ~c;
}
#ifndef ROUNDS
#define ROUNDS 6
#endif
uint8_t buffer[256];
int main(void) {
  for (uint32_t round = 0; round < ROUNDS; round++) {
    for (uint16_t i = 0; i < 256; i++) buffer[i] = (uint8_t)(i * 7 + round);
    uint32_t c = crc(buffer, 256);
    uint32_t q = c / (round + 3), m = c % (round + 3);
    emit32(c); emit32(q * m + (uint32_t)(uint16_t)(c >> 16) * (uint16_t)c);
  }
  emit32(crc((const uint8_t *)"123456789", 9)); /* 0xCBF43926, the check value of this CRC */
  END();
}
