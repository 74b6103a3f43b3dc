/* The mapping law of models/board/law.ts as a program: 8-bit fast PWM on OC0A, a pass every 10 ms, plain int arithmetic in 32 bits. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdint.h>

static volatile uint8_t due;
ISR(TIMER1_COMPA_vect) { due = 1; }

int main(void) {
  ADMUX = _BV(REFS0);
  ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1);
  TCCR0A = _BV(COM0A1) | _BV(WGM01) | _BV(WGM00);
  TCCR0B = _BV(CS02);
  DDRD = _BV(PD6);
  OCR1A = 9999; /* 10 ms in steps of 1 us */
  TCCR1B = _BV(WGM12) | _BV(CS11);
  TIMSK1 = _BV(OCIE1A);
  set_sleep_mode(SLEEP_MODE_IDLE);
  sei();
  for (;;) {
    while (!due) sleep_mode();
    due = 0;
    ADCSRA |= _BV(ADSC);
    while (ADCSRA & _BV(ADSC))
      ;
    int32_t count = ADC;
    OCR0A = (uint8_t)((count - 186) * (62 - 46) / (828 - 186) + 46);
  }
}
