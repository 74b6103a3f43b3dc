/* Counts its starts in EEPROM byte 0, and without end in byte 1; byte 2 has a value from the image, byte 3 is never written. */
#include <avr/eeprom.h>
#include <avr/io.h>

EEMEM uint8_t image_bytes[3] = {0x10, 0, 0xa5};

static void store(uint16_t address, uint8_t value) {
  while (EECR & _BV(EEPE))
    ;
  EEAR = address;
  EEDR = value;
  EECR = _BV(EEMPE);
  EECR |= _BV(EEPE);
}

static uint8_t load(uint16_t address) {
  while (EECR & _BV(EEPE))
    ;
  EEAR = address;
  EECR |= _BV(EERE);
  return EEDR;
}

int main(void) {
  uint8_t turns = 0;
  DDRB = _BV(PB1);
  TCCR1A = _BV(COM1A1) | _BV(WGM11);
  TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
  ICR1 = 19999;
  store(0, load(0) + 1);
  for (;;) {
    store(1, ++turns);
    OCR1A = 1000 + turns;
  }
}
