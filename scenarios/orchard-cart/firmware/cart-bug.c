/*
 * The orchard cart's program with a mistake that only shows while it runs: the two bytes of the compare register are
 * stored low byte first. The chip takes the register with the low byte, and the high byte from a latch that still
 * holds the one before. At rest nothing is to be seen, since the high byte never changes; but where a pulse passes from
 * 1536 us (0x5ff) to 1537 us (0x600), one frame is made of the new low byte and the old high byte: 256 us too short or too long.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdint.h>

enum {
  FRAME_US = 20000,
  NEUTRAL_US = 1500,
  FULL_US = 2000,
  REST_COUNT = 190,
  FULL_COUNT = 828
};

static volatile uint8_t frame_has_begun;

ISR(TIMER1_OVF_vect) { frame_has_begun = 1; }

static uint16_t read_pedal(void) {
  ADCSRA |= _BV(ADSC);
  while (ADCSRA & _BV(ADSC))
    ;
  return ADC;
}

static uint16_t pulse_of(uint16_t count) {
  if (count <= REST_COUNT) return NEUTRAL_US;
  if (count >= FULL_COUNT) return FULL_US;
  return NEUTRAL_US + (uint32_t)(count - REST_COUNT) * (FULL_US - NEUTRAL_US) / (FULL_COUNT - REST_COUNT);
}

__attribute__((noinline)) static void set_pulse(uint16_t microseconds) {
  uint16_t compare = microseconds - 1;
  OCR1AL = compare & 0xff;
  OCR1AH = compare >> 8;
}

int main(void) {
  ADMUX = _BV(REFS0);
  ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1);
  TCCR1A = _BV(COM1A1) | _BV(WGM11);
  TCCR1B = _BV(WGM13) | _BV(WGM12);
  ICR1 = FRAME_US - 1;
  set_pulse(NEUTRAL_US);
  set_pulse(NEUTRAL_US); /* "the first one does not seem to work" */
  TCCR1B |= _BV(CS11);
  TIMSK1 = _BV(TOIE1);
  DDRB |= _BV(PB1);
  set_sleep_mode(SLEEP_MODE_IDLE);
  sei();
  for (;;) {
    while (!frame_has_begun) sleep_mode();
    frame_has_begun = 0;
    set_pulse(pulse_of(read_pedal()));
  }
}
