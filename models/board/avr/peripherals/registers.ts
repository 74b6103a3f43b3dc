/**
 * Data addresses and names of the I/O registers of the ATmega88/168/328P family.
 *
 * Source: ATmega48PA/88PA/168PA/328P datasheet 8161D, chapter 30 (register summary); the same in DS40002061A, chapter 31.
 */
// biome-ignore format: a table
export const R = {
  PINB: 0x23, DDRB: 0x24, PORTB: 0x25, PINC: 0x26, DDRC: 0x27, PORTC: 0x28, PIND: 0x29, DDRD: 0x2a, PORTD: 0x2b,
  TIFR0: 0x35, TIFR1: 0x36, TIFR2: 0x37, PCIFR: 0x3b, EIFR: 0x3c, EIMSK: 0x3d, GPIOR0: 0x3e,
  EECR: 0x3f, EEDR: 0x40, EEARL: 0x41, EEARH: 0x42, GTCCR: 0x43,
  TCCR0A: 0x44, TCCR0B: 0x45, TCNT0: 0x46, OCR0A: 0x47, OCR0B: 0x48, GPIOR1: 0x4a, GPIOR2: 0x4b,
  SPCR: 0x4c, SPSR: 0x4d, SPDR: 0x4e, ACSR: 0x50, SMCR: 0x53, MCUSR: 0x54, MCUCR: 0x55, SPMCSR: 0x57,
  SPL: 0x5d, SPH: 0x5e, SREG: 0x5f,
  WDTCSR: 0x60, CLKPR: 0x61, PRR: 0x64, OSCCAL: 0x66, PCICR: 0x68, EICRA: 0x69, PCMSK0: 0x6b, PCMSK1: 0x6c, PCMSK2: 0x6d,
  TIMSK0: 0x6e, TIMSK1: 0x6f, TIMSK2: 0x70,
  ADCL: 0x78, ADCH: 0x79, ADCSRA: 0x7a, ADCSRB: 0x7b, ADMUX: 0x7c, DIDR0: 0x7e, DIDR1: 0x7f,
  TCCR1A: 0x80, TCCR1B: 0x81, TCCR1C: 0x82, TCNT1L: 0x84, TCNT1H: 0x85, ICR1L: 0x86, ICR1H: 0x87,
  OCR1AL: 0x88, OCR1AH: 0x89, OCR1BL: 0x8a, OCR1BH: 0x8b,
  TCCR2A: 0xb0, TCCR2B: 0xb1, TCNT2: 0xb2, OCR2A: 0xb3, OCR2B: 0xb4, ASSR: 0xb6,
  TWBR: 0xb8, TWSR: 0xb9, TWAR: 0xba, TWDR: 0xbb, TWCR: 0xbc, TWAMR: 0xbd,
  UCSR0A: 0xc0, UCSR0B: 0xc1, UCSR0C: 0xc2, UBRR0L: 0xc4, UBRR0H: 0xc5, UDR0: 0xc6,
} as const;

const names = new Map<number, string>(Object.entries(R).map(([name, address]) => [address, name]));

/** Name of the register at a data address; undefined where the chips have none. */
export function registerName(address: number): string | undefined {
  return names.get(address);
}

/** Interrupt vectors by number (8161D table 11-6, ATmega328P). */
// biome-ignore format: a table
export const V = {
  INT0: 1, INT1: 2, PCINT0: 3, PCINT1: 4, PCINT2: 5, WDT: 6, TIMER2_COMPA: 7, TIMER2_COMPB: 8, TIMER2_OVF: 9,
  TIMER1_CAPT: 10, TIMER1_COMPA: 11, TIMER1_COMPB: 12, TIMER1_OVF: 13, TIMER0_COMPA: 14, TIMER0_COMPB: 15, TIMER0_OVF: 16,
  SPI_STC: 17, USART_RX: 18, USART_UDRE: 19, USART_TX: 20, ADC: 21, EE_READY: 22, ANALOG_COMP: 23, TWI: 24, SPM_READY: 25,
} as const;
