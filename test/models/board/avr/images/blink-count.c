/* A loop that waits for a conversion, sums it and sends bytes: exercises loads, stores, calls, a switch and a wait. */
#include <avr/io.h>
#include <avr/interrupt.h>
#include <stdint.h>

volatile uint16_t passes = 3;
uint8_t table[16];
const uint8_t ask[] = { 1, 2, 3 };

static uint16_t convert(void) {
  ADCSRA |= 1 << ADSC;
  while (ADCSRA & (1 << ADSC)) {}
  return ADC;
}

int main(void) {
  ADCSRA = (1 << ADEN) | 7;
  for (;;) {
    uint16_t count = convert();
    table[passes & 15] = count >> 2;
    OCR0A = 46 + (uint32_t)(count - 186) * 15 / 650;
    passes++;
  }
}
