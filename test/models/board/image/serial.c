/* Writes the compare register in each pass, then prints a line at 1200 baud and waits for every byte; says back what it is told. */
#include <avr/io.h>

static void print(const char *text) {
  for (; *text; text++) {
    while (!(UCSR0A & _BV(UDRE0)))
      ;
    UDR0 = *text;
  }
}

int main(void) {
  UBRR0 = 416; /* 8 MHz / (16 x 417) = 1199 baud */
  UCSR0B = _BV(TXEN0) | _BV(RXEN0);
  DDRB = _BV(PB1);
  TCCR1A = _BV(COM1A1) | _BV(WGM11);
  TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
  ICR1 = 19999;
  for (;;) {
    OCR1A = 1499;
    if (UCSR0A & _BV(RXC0)) {
      char told[] = {UDR0, 0};
      print(told);
    } else
      print("hi");
  }
}
