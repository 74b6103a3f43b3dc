/* A control loop that waits for the converter, filters and writes a compare value; a timer interrupt counts. */
#include "print.h"
#include <avr/interrupt.h>
#include <util/delay.h>
volatile uint16_t ticks;
ISR(TIMER0_OVF_vect) { ticks++; }
static uint16_t convert(void) {
  ADCSRA |= 1 << ADSC;
  while (ADCSRA & (1 << ADSC)) {}
  return ADC;
}
#ifndef PASSES
#define PASSES 200
#endif
int main(void) {
  ADCSRA = (1 << ADEN) | 7;
#ifdef TICKS
  TIMSK0 = 1;
  sei();
#endif
  uint16_t held = 0;
  for (uint32_t pass = 0; pass < PASSES; pass++) {
    held += (int16_t)(convert() - held) / 4;
    uint8_t compare = (uint8_t)(46 + (int32_t)((int16_t)held - 186) * 15 / 650);
    GPIOR0 = compare;
#ifdef DELAY_US
    _delay_us(DELAY_US);
#endif
    if ((pass & 15) == 0) EMIT(compare);
  }
  EMIT(ticks);
  END();
}
