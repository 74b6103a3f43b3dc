/* A control pass every 10 ms by delay loops: reads the pedal, writes the compare register, then counts the time away. */
#include <avr/io.h>
#include <util/delay.h>

static uint16_t read_pedal(void) {
  ADCSRA |= _BV(ADSC);
  while (ADCSRA & _BV(ADSC))
    ;
  return ADC;
}

static uint16_t pulse_of(uint16_t count) {
  if (count <= 190) return 1500;
  if (count >= 828) return 2000;
  return 1500 + (uint32_t)(count - 190) * 500 / (828 - 190);
}

int main(void) {
  ADMUX = _BV(REFS0);
  ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1);
  TCCR1A = _BV(COM1A1) | _BV(WGM11);
  TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
  ICR1 = 19999;
  OCR1A = 1499;
  DDRB = _BV(PB1);
  for (;;) {
    OCR1A = pulse_of(read_pedal()) - 1;
    _delay_ms(9.8);
  }
}
