/* Copies the receiver's line on PD2 to PB1, and the selector's contact on PD4 to the ADC channel: it can only see what reaches it in time. */
#include <avr/io.h>

int main(void) {
  DDRB = _BV(PB1);
  PORTD = _BV(PD4);
  for (;;) {
    if (PIND & _BV(PD2))
      PORTB = _BV(PB1);
    else
      PORTB = 0;
    if (!(PIND & _BV(PD4))) PORTB = 0;
  }
}
