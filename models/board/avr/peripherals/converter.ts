/**
 * The analogue-to-digital converter's registers and timing. What it measures is the outside's: it is told when the
 * input is held, and asked for the count when the conversion ends.
 *
 *     a single conversion starts on the next edge of the ADC clock; 13 clocks, the first after switching on 25
 *     started by a flag 13.5 clocks, its ADC clock beginning anew at the flag; free-running one after the other, 13 each
 *
 * Source: 8161D chapter 23 (times: table 23-1; triggers: table 23-6; the lock of the data register: section 23.9.3).
 */
import { ADVISED_ADC_HERTZ, AUTO_TRIGGERED_HALF_CLOCKS, conversionHalfClocks } from '../../../conversion.ts';
import { type Around, type Peripheral, SLOT } from './around.ts';
import type { Numbers } from './numbers.ts';
import { R, V } from './registers.ts';
import { autoTriggerSource } from './timer.ts';

const ADEN = 0x80;
const ADSC = 0x40;
const ADIF = 0x10;
const ADIE = 0x08;
/** Cycles by which a trigger is late: the synchronization logic (8161D section 23.4). */
const SYNC_CYCLES = 3;

export interface Converter extends Peripheral {
  read(address: number): number;
  write(address: number, value: number): boolean;
  writeBit(address: number, bit: number, isSet: boolean): boolean;
  hold(cycle: number): void;
  result(cycle: number): void;
  acknowledge(vector: number): boolean;
  trigger(source: number, cycle: number): void;
  /** Falling asleep in the quiet mode starts a conversion of its own (8161D section 23.7). */
  startQuietly(cycle: number): void;
}

interface ConverterState extends Numbers {
  isFirst: number;
  /** Where the ADC clock began. */
  base: number;
  startedAt: number;
  halfClock: number;
  channel: number;
  reference: number;
  resultDue: number;
  count: number;
  /** 1 between the reads of ADCL and ADCH: the data register then keeps its value. */
  isLocked: number;
}

const fresh = (): ConverterState => ({
  isFirst: 1,
  base: 0,
  startedAt: -1,
  halfClock: 1,
  channel: 0,
  reference: 0,
  resultDue: 0,
  count: 0,
  isLocked: 0,
});

/** `hertz` is the CPU clock at the moment, for the advice on the ADC clock. */
export function createConverter(around: Around, hertz: () => number): Converter {
  const state = around.numbers(fresh());
  const { data } = around;
  const { outside } = around;

  const isConverting = (): boolean => state.startedAt >= 0;
  const pend = (): void => around.level(V.ADC, (around.data[R.ADCSRA]! & (ADIF | ADIE)) === (ADIF | ADIE));
  const dividerOf = (): number => {
    const bits = around.data[R.ADCSRA]! & 7;
    return bits === 0 ? 2 : 1 << bits;
  };
  const begin = (cycle: number, halfClocks: { readonly hold: number; readonly result: number }): void => {
    const mux = around.data[R.ADMUX]!;
    state.startedAt = cycle;
    // Both are buffered: they are taken when a conversion begins (8161D section 23.5).
    state.channel = mux & 15;
    state.reference = mux >> 6;
    state.halfClock = dividerOf() / 2;
    state.resultDue = cycle + halfClocks.result * state.halfClock;
    around.data[R.ADCSRA]! |= ADSC;
    around.schedule(SLOT.hold, cycle + halfClocks.hold * state.halfClock);
    around.schedule(SLOT.result, state.resultDue);
    outside.converts(cycle);
    const adcHertz = hertz() / dividerOf();
    if (adcHertz > ADVISED_ADC_HERTZ)
      outside.report(
        'adc-clock',
        R.ADCSRA,
        `the ADC clock is ${Math.round(adcHertz / 1000)} kHz; above ${ADVISED_ADC_HERTZ / 1000} kHz the converter has less than its full resolution`,
        cycle,
      );
  };
  const beginSingle = (cycle: number): void => {
    const divider = dividerOf();
    // The store takes effect a cycle after the start of its instruction; the conversion starts on the clock edge after that.
    const edge = state.base + Math.ceil((cycle + 1 - state.base) / divider) * divider;
    begin(edge, conversionHalfClocks(state.isFirst === 1));
  };
  const stop = (): void => {
    state.startedAt = -1;
    state.isFirst = 1;
    around.data[R.ADCSRA]! &= ~ADSC;
    around.schedule(SLOT.hold, Number.POSITIVE_INFINITY);
    around.schedule(SLOT.result, Number.POSITIVE_INFINITY);
  };
  const writeControl = (value: number, clearsFlag: boolean): void => {
    const now = around.port.now();
    const before = around.data[R.ADCSRA]!;
    const flag = clearsFlag ? 0 : before & ADIF;
    around.data[R.ADCSRA] = (value & ~(ADIF | ADSC)) | (before & ADSC) | flag;
    if ((value & ADEN) === 0) stop();
    else {
      if ((before & ADEN) === 0) {
        state.isFirst = 1;
        state.base = now + 1;
      }
      if ((value & ADSC) !== 0 && !isConverting()) beginSingle(now);
    }
    pend();
  };
  const isFreeRunning = (): boolean => autoTriggerSource(around.data) === 0;

  return {
    state,
    reset: () => {
      Object.assign(state, fresh());
      state.base = around.port.now();
    },
    read: (address) => {
      // Read when it is read: ADLAR works at once (8161D section 23.9.1).
      const word = (around.data[R.ADMUX]! & 0x20) === 0 ? state.count : state.count << 6;
      state.isLocked = address === R.ADCL ? 1 : 0;
      return address === R.ADCL ? word & 0xff : word >> 8;
    },
    write: (address, value) => {
      if (address === R.ADCSRA) writeControl(value, (value & ADIF) !== 0);
      else if (address === R.ADMUX) around.data[address] = value & 0xef;
      else if (address === R.ADCSRB) around.data[address] = value & 0x47;
      else return address === R.ADCL || address === R.ADCH;
      return true;
    },
    writeBit: (address, bit, isSet) => {
      if (address !== R.ADCSRA) return false;
      const mask = 1 << bit;
      writeControl(isSet ? data[R.ADCSRA]! | mask : data[R.ADCSRA]! & ~mask, isSet && mask === ADIF);
      return true;
    },
    hold: () => outside.hold(state.channel, state.reference, 3 * state.halfClock),
    result: (cycle) => {
      const count = outside.result();
      if (state.isLocked === 0) state.count = count;
      state.isFirst = 0;
      state.startedAt = -1;
      around.data[R.ADCSRA]! |= ADIF;
      if (isFreeRunning()) begin(cycle, conversionHalfClocks(false));
      else around.data[R.ADCSRA]! &= ~ADSC;
      pend();
    },
    acknowledge: (vector) => {
      if (vector !== V.ADC) return false;
      around.data[R.ADCSRA]! &= ~ADIF;
      return true;
    },
    trigger: (source, cycle) => {
      if (isConverting() || source === 0 || autoTriggerSource(around.data) !== source) return;
      // The prescaler begins anew, so that the delay is always the same.
      state.base = cycle + SYNC_CYCLES;
      begin(state.base, state.isFirst === 1 ? conversionHalfClocks(true) : AUTO_TRIGGERED_HALF_CLOCKS);
    },
    startQuietly: (cycle) => {
      if ((around.data[R.ADCSRA]! & ADEN) !== 0 && !isConverting()) beginSingle(cycle);
    },
  };
}
