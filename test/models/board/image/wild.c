/* One mistake after the other: a reserved register, a time base changed under its interrupt, a stack that runs into the variables, a call to nowhere. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

static volatile uint8_t buffer[1500];
static volatile uint8_t ticks;
ISR(TIMER0_OVF_vect) { ticks++; }

__attribute__((noinline)) static uint16_t deeper(uint16_t left) {
  volatile uint8_t local[60];
  for (uint8_t index = 0; index < sizeof local; index++) local[index] = left;
  return left == 0 ? local[0] : (deeper(left - 1) >> 1) ^ local[1];
}

int main(void) {
  buffer[0] = 1;
  *(volatile uint8_t *)0x65 = 1;
  TIMSK0 = _BV(TOIE0);
  TCCR0B = _BV(CS01) | _BV(CS00);
  sei();
  while (ticks < 3)
    ;
  TCCR0B = _BV(CS02);
  cli();
  PORTB = deeper(12);
  ((void (*)(void))0x3000)();
  for (;;)
    ;
}
