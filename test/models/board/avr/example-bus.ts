/**
 * A small bus, as an example of the contract and for the tests: a byte port that prints, an end mark, a converter with
 * its busy bit and interrupt, and an overflow timer that is only its interrupt and a count.
 *
 * Register addresses and vector numbers: ATmega48P/88P/168P/328P datasheet, Atmel 8025, register summary.
 */
import type { Bus, CorePort } from '../../../../models/board/avr/bus.ts';

export const UDR0 = 0xc6;
export const UCSR0A = 0xc0;
export const ADCSRA = 0x7a;
export const ADCL = 0x78;
export const ADCH = 0x79;
export const TIMSK0 = 0x6e;
export const TIFR0 = 0x35;
export const TCNT0 = 0x46;
/** EEDR stands in for a mark that the program is through. */
export const END_MARK = 0x40;

const ADC_VECTOR = 21;
const OVERFLOW_VECTOR = 16;
const OVERFLOW_CYCLES = 256 * 64;

export interface ExampleBus extends Bus {
  readonly printed: number[];
  /** A line for every event and hooked access, to compare engines by. */
  readonly log: string[];
  ended(): boolean;
  logs: boolean;
}

export function exampleBus(): ExampleBus {
  let port!: CorePort;
  let endedAt = -1;
  let sample = 0;
  let conversionEnds = Number.POSITIVE_INFINITY;
  let nextOverflow = Number.POSITIVE_INFINITY;
  let wakes = 0;
  const printed: number[] = [];
  const log: string[] = [];
  const note = (what: string): void => {
    log.push(`${port.now()} ${what}`);
  };
  const schedule = (): void => port.wakeAt(Math.min(conversionEnds, nextOverflow));
  const level = (vector: number, isOn: boolean): void => (isOn ? port.pend(vector) : port.unpend(vector));
  const converter = (value: number): void => {
    const isStart = (value & 0xc0) === 0xc0 && conversionEnds === Number.POSITIVE_INFINITY;
    // The flag is cleared by writing a one to it.
    const flag = port.data[ADCSRA]! & 0x10 & ~value;
    if (isStart) conversionEnds = port.now() + 13 * (1 << Math.max(1, value & 7));
    port.data[ADCSRA] = (value & 0x8f) | (conversionEnds === Number.POSITIVE_INFINITY ? 0 : 0x40) | flag;
    level(ADC_VECTOR, flag !== 0 && (value & 8) !== 0);
    schedule();
  };
  const bus: ExampleBus = {
    printed,
    log,
    logs: false,
    ended: () => endedAt >= 0,
    attach(given) {
      port = given;
    },
    resetRegisters() {
      conversionEnds = Number.POSITIVE_INFINITY;
      nextOverflow = Number.POSITIVE_INFINITY;
      port.data[UCSR0A] = 0x20;
    },
    read(address) {
      if (bus.logs) note(`read ${address}`);
      // The count of a timer at 1/64 of the clock, from the time since the start.
      if (address === TCNT0) return Math.floor(port.now() / 64) & 0xff;
      return port.data[address]!;
    },
    write(address, value) {
      if (bus.logs) note(`write ${address} ${value}`);
      if (address === UDR0) printed.push(value);
      else if (address === END_MARK) endedAt = port.now();
      else if (address === ADCSRA) converter(value);
      else if (address === TIFR0) {
        port.data[TIFR0]! &= ~value;
        level(OVERFLOW_VECTOR, (port.data[TIFR0]! & port.data[TIMSK0]! & 1) !== 0);
      } else {
        port.data[address] = value;
        if (address !== TIMSK0) return;
        nextOverflow =
          (value & 1) === 0
            ? Number.POSITIVE_INFINITY
            : (Math.floor(port.now() / OVERFLOW_CYCLES) + 1) * OVERFLOW_CYCLES;
        level(OVERFLOW_VECTOR, (port.data[TIFR0]! & value & 1) !== 0);
        schedule();
      }
    },
    writeBit(address, bit, isSet) {
      if (bus.logs) note(`bit ${address} ${bit} ${isSet}`);
      if (address === TIFR0) {
        if (isSet) bus.write(TIFR0, 1 << bit);
      } else bus.write(address, isSet ? port.data[address]! | (1 << bit) : port.data[address]! & ~(1 << bit));
    },
    event(cycle) {
      if (bus.logs) note(`event ${cycle}`);
      if (conversionEnds <= cycle) {
        sample = (sample * 5 + 77) & 1023;
        port.data[ADCL] = sample;
        port.data[ADCH] = sample >> 8;
        conversionEnds = Number.POSITIVE_INFINITY;
        port.data[ADCSRA] = (port.data[ADCSRA]! & ~0x40) | 0x10;
        level(ADC_VECTOR, (port.data[ADCSRA]! & 8) !== 0);
      }
      if (nextOverflow <= cycle) {
        nextOverflow += OVERFLOW_CYCLES;
        port.data[TIFR0]! |= 1;
        level(OVERFLOW_VECTOR, (port.data[TIMSK0]! & 1) !== 0);
      }
      schedule();
    },
    acknowledge(vector) {
      if (bus.logs) note(`vector ${vector}`);
      if (vector === ADC_VECTOR) port.data[ADCSRA]! &= ~0x10;
      else if (vector === OVERFLOW_VECTOR) port.data[TIFR0]! &= ~1;
    },
    sleep: (mode) => {
      if (bus.logs) note(`sleep ${mode}`);
      return mode === 0 ? 0 : 100;
    },
    woken: () => {
      wakes++;
    },
    watchdogReset: () => {
      if (bus.logs) note('wdr');
    },
    snapshot: () => ({ endedAt, sample, conversionEnds, nextOverflow, wakes, printed: printed.length }),
    restore(state) {
      const from = state as {
        endedAt: number;
        sample: number;
        conversionEnds: number;
        nextOverflow: number;
        wakes: number;
        printed: number;
      };
      ({ endedAt, sample, conversionEnds, nextOverflow, wakes } = from);
      printed.length = from.printed;
    },
  };
  return bus;
}
