/**
 * What a peripheral sees of the chip around it (`Around`), what the chip sees of the world outside (`Outside`), and what
 * the chip asks of a peripheral (`Peripheral`).
 */
import type { CorePort } from '../bus.ts';
import type { Numbers } from './numbers.ts';

/** Where the chip must wait until the world outside has caught up with it. */
export type Stop = 'hold' | 'result' | 'clock' | 'reset';

/** What the program did that a builder would want to know. The place is found by whoever is told. */
export type BusFindingCode =
  | 'reserved-register'
  | 'not-modelled'
  | 'time-base-changed'
  | 'low-byte-first'
  | 'latch-overwritten'
  | 'top-not-taken'
  | 'adc-clock'
  | 'text-lost'
  | 'text-garbled';

/** Electrical state of a pin as the outside meets it; the numbers are those of a pulse line. */
export const LOW = 0;
export const HIGH = 1;
export const FLOATING = 2;

export interface Outside {
  /** False makes the chip wait at this instant; the event comes again when the core is run on. */
  isReady(stop: Stop): boolean;
  /** The converter holds its input: multiplexer channel, reference bits of ADMUX, cycles for which it was connected. */
  hold(channel: number, reference: number, settlingCycles: number): void;
  /** The count of the conversion that ends now, 0 to 1023. */
  result(): number;
  /** A watched pin is driven to another level, or no longer. */
  pin(port: number, bit: number, level: number, cycle: number): void;
  /** A timer's registers changed: what it was written, what it works with, or how it counts. */
  timer(index: number, what: TimerChange, cycle: number): void;
  converts(cycle: number): void;
  sent(byte: number, cycle: number): void;
  /** CPU cycles in one cycle of the watchdog's oscillator. */
  watchdogCycles(): number;
  /** The chip's own reset by the watchdog. */
  watchdogReset(cycle: number): void;
  report(code: BusFindingCode, address: number, says: string, cycle: number): void;
}

export type TimerChange = 'writtenA' | 'writtenB' | 'latched' | 'clock' | 'waveform';

/**
 * A store takes effect one cycle after the start of its instruction, when the chip latches it: what it does to the outside
 * has that cycle. So whatever is visible at an instant was done by instructions that began before it.
 */
export const STORE_CYCLES = 1;

/** Where each peripheral keeps its next event. */
export const SLOT = {
  timer0: 0,
  timer1: 1,
  timer2: 2,
  hold: 3,
  result: 4,
  sent: 5,
  received: 6,
  watchdog: 7,
  eeprom: 8,
  clock: 9,
} as const;
export const SLOT_COUNT = 10;

export interface Around {
  /** Set when the bus is attached to a core. */
  port: CorePort;
  data: Uint8Array;
  quiet: Int32Array;
  readonly outside: Outside;
  /** Takes places in the row of all numbers; see numbers.ts. */
  readonly numbers: <T extends Numbers>(first: T) => T;
  /** True in the sleep modes that stop the I/O clock: pin edges then go unseen by what needs it. */
  isClockStopped: boolean;
  /** The next event of a slot, in cycles; Infinity for none. */
  schedule(slot: number, cycle: number): void;
  /** Holds an interrupt pending for as long as its flag and its enable bit are set. */
  level(vector: number, isOn: boolean): void;
  /** A timer's flag or a pin has risen that a conversion may be started by: a value of ADTS. */
  trigger(source: number, cycle: number): void;
  /** A timer drives its pin, or lets go of it. */
  compareOutput(port: number, bit: number, isConnected: boolean, isHigh: boolean, cycle: number): void;
}

export interface Peripheral {
  readonly state: Numbers;
  reset(): void;
}
