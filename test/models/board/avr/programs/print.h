/* The same program on the chip and on the host: bytes go to the data register of the serial port, or to stdout. */
#include <stdint.h>
#include <string.h>
#include <stdlib.h>
#ifdef __AVR__
#include <avr/io.h>
#include <avr/pgmspace.h>
#define EMIT(b) (UDR0 = (uint8_t)(b))
#define END() do { EEDR = 1; for (;;) {} } while (0)
#else
#include <stdio.h>
#define PROGMEM
#define pgm_read_byte(p) (*(const uint8_t *)(p))
#define pgm_read_word(p) (*(const uint16_t *)(p))
#define EMIT(b) putchar((uint8_t)(b))
#define END() do { fflush(stdout); exit(0); } while (0)
#endif
static void emit16(uint16_t v) { EMIT(v); EMIT(v >> 8); }
static void emit32(uint32_t v) { emit16((uint16_t)v); emit16((uint16_t)(v >> 16)); }
static void emit64(uint64_t v) { emit32((uint32_t)v); emit32((uint32_t)(v >> 32)); }
static uint32_t state = 0x2545F491u;
static uint32_t draw(void) { state ^= state << 13; state ^= state >> 17; state ^= state << 5; return state; }
