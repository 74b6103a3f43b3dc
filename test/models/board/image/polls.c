/* Never waits: looks on every pass whether a conversion has ended, toggles a pin, marks the pass on another, and shows the receiver's line on a third. */
#include <avr/io.h>

static uint16_t pulse_of(uint16_t count) {
  if (count <= 190) return 1500;
  if (count >= 828) return 2000;
  return 1500 + (uint32_t)(count - 190) * 500 / (828 - 190);
}

int main(void) {
  ADMUX = _BV(REFS0);
  TCCR1A = _BV(COM1A1) | _BV(WGM11);
  TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
  ICR1 = 19999;
  OCR1A = 1499;
  DDRB = _BV(PB1) | _BV(PB2) | _BV(PB5);
  DDRD = _BV(PD4);
  ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1);
  for (;;) {
    PORTD |= _BV(PD4);
    if (ADCSRA & _BV(ADIF)) {
      OCR1A = pulse_of(ADC) - 1;
      ADCSRA |= _BV(ADIF) | _BV(ADSC);
    }
    PINB = _BV(PB5);
    if (PIND & _BV(PD2))
      PORTB |= _BV(PB2);
    else
      PORTB &= ~_BV(PB2);
    PORTD &= ~_BV(PD4);
  }
}
