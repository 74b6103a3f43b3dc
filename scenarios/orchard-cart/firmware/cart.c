/*
 * The orchard cart's program: pedal in, servo pulse out. For the ATmega328P at 8 MHz.
 *
 * Timer1 makes frames of 20 ms in steps of 1 us (fast PWM, top in ICR1, pulse on OC1A / PB1); its overflow is also the
 * time base: one control pass a frame. The pedal is on ADC0 against the supply.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <stdint.h>

enum {
  FRAME_US = 20000,
  NEUTRAL_US = 1500,
  FULL_US = 2000,
  REST_COUNT = 190, /* a little above what the pedal gives at rest */
  FULL_COUNT = 828,
  LEAST_COUNT = 60, /* below and above: a broken or shorted wire */
  MOST_COUNT = 960
};

static volatile uint8_t frame_has_begun;

ISR(TIMER1_OVF_vect) { frame_has_begun = 1; }

static void start_pulse(uint16_t microseconds) {
  /* The mode comes first: ICR1 is only taken in a mode whose top it is. One step is 8 clocks, 1 us. */
  TCCR1A = _BV(COM1A1) | _BV(WGM11);
  TCCR1B = _BV(WGM13) | _BV(WGM12);
  ICR1 = FRAME_US - 1;
  OCR1A = microseconds - 1; /* fast PWM counts the tick of the match as well */
  TCCR1B |= _BV(CS11);
  TIMSK1 = _BV(TOIE1);
  DDRB |= _BV(PB1);
}

static uint16_t read_pedal(void) {
  ADCSRA |= _BV(ADSC);
  while (ADCSRA & _BV(ADSC))
    ;
  return ADC;
}

static uint16_t pulse_of(uint16_t count) {
  if (count < LEAST_COUNT || count > MOST_COUNT) return NEUTRAL_US;
  if (count <= REST_COUNT) return NEUTRAL_US;
  if (count >= FULL_COUNT) return FULL_US;
  return NEUTRAL_US + (uint32_t)(count - REST_COUNT) * (FULL_US - NEUTRAL_US) / (FULL_COUNT - REST_COUNT);
}

int main(void) {
  wdt_enable(WDTO_120MS);
  ADMUX = _BV(REFS0);
  ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1);
  start_pulse(NEUTRAL_US);
  set_sleep_mode(SLEEP_MODE_IDLE);
  sei();
  for (;;) {
    while (!frame_has_begun) sleep_mode();
    frame_has_begun = 0;
    wdt_reset();
    OCR1A = pulse_of(read_pedal()) - 1;
  }
}
