/**
 * The chips that compiled images run on: sizes of the memories, the layout of the vectors, and which I/O registers are
 * more than memory.
 *
 * Sources: ATmega48P/88P/168P/328P datasheet, Atmel 8025 (memories ch. 7, interrupt vectors ch. 11, register summary
 * ch. 30); ATtiny25/45/85 datasheet, Atmel 2586 (the same chapters). The addresses are those of the data space.
 */
export const CHIP_NAMES = ['atmega328p', 'atmega168p', 'atmega88p', 'attiny85'] as const;
export type ChipName = (typeof CHIP_NAMES)[number];

export interface Chip {
  readonly name: ChipName;
  readonly flashBytes: number;
  readonly eepromBytes: number;
  /** First address of the internal SRAM; the I/O registers end below it. */
  readonly sramStart: number;
  /** Last address of the SRAM, and the stack pointer's value after a reset. */
  readonly sramEnd: number;
  /** Words that a vector takes: 2 where it holds a JMP, 1 where it holds an RJMP. */
  readonly vectorWords: 1 | 2;
  /** Interrupt sources by vector number, 0 being the reset. The lower number goes first. */
  readonly vectors: readonly string[];
  /** MUL and its kin, JMP and CALL: the larger chips only. */
  readonly hasMultiply: boolean;
  readonly hasLongJump: boolean;
  /** Register with the sleep enable bit, that bit's mask, the mode's lowest bit and the mode's mask after shifting. */
  readonly sleep: {
    readonly address: number;
    readonly enableMask: number;
    readonly modeShift: number;
    readonly modeMask: number;
  };
  /** Registers whose loads the bus answers, because they depend on the time or have a side effect. */
  readonly hookedReads: readonly number[];
  /** Registers whose stores the bus takes. All others are plain memory. */
  readonly hookedWrites: readonly number[];
  /** Output registers of the ports (PORTx): PINx is two below. */
  readonly outputs: readonly number[];
}

/** Stack pointer and status register: part of the core, at the same place on all these chips. */
export const SPL = 0x5d;
export const SPH = 0x5e;
export const SREG = 0x5f;

// biome-ignore format: a table read by number
const MEGA_VECTORS = [
  'RESET', 'INT0', 'INT1', 'PCINT0', 'PCINT1', 'PCINT2', 'WDT', 'TIMER2_COMPA', 'TIMER2_COMPB', 'TIMER2_OVF', 'TIMER1_CAPT',
  'TIMER1_COMPA', 'TIMER1_COMPB', 'TIMER1_OVF', 'TIMER0_COMPA', 'TIMER0_COMPB', 'TIMER0_OVF', 'SPI_STC', 'USART_RX',
  'USART_UDRE', 'USART_TX', 'ADC', 'EE_READY', 'ANALOG_COMP', 'TWI', 'SPM_READY',
];

// biome-ignore format: a table read by number
const TINY_VECTORS = [
  'RESET', 'INT0', 'PCINT0', 'TIMER1_COMPA', 'TIMER1_OVF', 'TIMER0_OVF', 'EE_READY', 'ANALOG_COMP',
  'ADC', 'TIMER1_COMPB', 'TIMER0_COMPA', 'TIMER0_COMPB', 'WDT', 'USI_START', 'USI_OVF',
];

/** TIFR0..2, TCNT0, ADCL, ADCH, TCNT1 and ICR1 with their shared latch, TCNT2, UDR0. Levels such as PINx, ADSC and UDRE are plain: the bus sets them. */
const MEGA_READS = [0x35, 0x36, 0x37, 0x46, 0x78, 0x79, 0x84, 0x85, 0x86, 0x87, 0xb2, 0xc6];
/** GPIOR0..2 and SMCR only store. */
const MEGA_PLAIN_WRITES = [0x3e, 0x4a, 0x4b, 0x53];
/** TIFR, TCNT0, TCNT1, ADCL, ADCH. */
const TINY_READS = [0x24, 0x25, 0x4f, 0x52, 0x58];
/** GPIOR0..2. */
const TINY_PLAIN_WRITES = [0x31, 0x32, 0x33];

const MEGA = {
  sramStart: 0x100,
  vectors: MEGA_VECTORS,
  hasMultiply: true,
  hasLongJump: true,
  sleep: { address: 0x53, enableMask: 1, modeShift: 1, modeMask: 7 },
  hookedReads: MEGA_READS,
  hookedWrites: registersBut(0xff, MEGA_PLAIN_WRITES),
  outputs: [0x25, 0x28, 0x2b],
};

export const CHIPS: { readonly [name in ChipName]: Chip } = {
  atmega328p: { ...MEGA, name: 'atmega328p', flashBytes: 32768, eepromBytes: 1024, sramEnd: 0x8ff, vectorWords: 2 },
  atmega168p: { ...MEGA, name: 'atmega168p', flashBytes: 16384, eepromBytes: 512, sramEnd: 0x4ff, vectorWords: 2 },
  atmega88p: {
    ...MEGA,
    name: 'atmega88p',
    flashBytes: 8192,
    eepromBytes: 512,
    sramEnd: 0x4ff,
    vectorWords: 1,
    hasLongJump: false,
  },
  attiny85: {
    name: 'attiny85',
    flashBytes: 8192,
    eepromBytes: 512,
    sramStart: 0x60,
    sramEnd: 0x25f,
    vectorWords: 1,
    vectors: TINY_VECTORS,
    hasMultiply: false,
    hasLongJump: false,
    sleep: { address: 0x55, enableMask: 0x20, modeShift: 3, modeMask: 3 },
    hookedReads: TINY_READS,
    hookedWrites: registersBut(0x5f, TINY_PLAIN_WRITES),
    outputs: [0x38],
  },
};

function registersBut(last: number, plain: readonly number[]): number[] {
  const addresses: number[] = [];
  for (let address = 0x20; address <= last; address++) {
    if (address !== SPL && address !== SPH && address !== SREG && !plain.includes(address)) addresses.push(address);
  }
  return addresses;
}
