/**
 * The EEPROM: reads at once, writes that take milliseconds, and the timed sequence that guards them.
 *
 * A real chip halts the CPU for four cycles after a read and two after the start of a write; here it does not.
 *
 * Source: 8161D section 7.4 and table 7-2 (26,368 cycles of the calibrated oscillator of 8 MHz, 3.3 ms; erase or write only 1.8 ms).
 */
import { type Around, type Peripheral, SLOT } from './around.ts';
import type { Numbers } from './numbers.ts';
import { R, V } from './registers.ts';

const EERE = 1;
const EEPE = 2;
const EEMPE = 4;
const EERIE = 8;
/** Cycles after EEMPE in which EEPE must follow. */
const ENABLE_CYCLES = 4;
const OSCILLATOR_HERTZ = 8e6;
const WHOLE_CYCLES = 26_368;

export interface Eeprom extends Peripheral {
  /** Outlasts resets. */
  readonly bytes: Uint8Array;
  write(address: number, value: number): boolean;
  event(cycle: number): void;
}

interface EepromState extends Numbers {
  enabledUntil: number;
}

export function createEeprom(around: Around, contents: Uint8Array, hertz: () => number): Eeprom {
  const state = around.numbers<EepromState>({ enabledUntil: -1 });
  const bytes = contents.slice();
  const address = (): number => ((around.data[R.EEARH]! << 8) | around.data[R.EEARL]!) & (bytes.length - 1);
  const pend = (): void => around.level(V.EE_READY, (around.data[R.EECR]! & (EERIE | EEPE)) === EERIE);
  const program = (mode: number): void => {
    const value = around.data[R.EEDR]!;
    // Mode 0 erases and writes, 1 erases only, 2 can only clear bits (8161D table 7-1).
    if (mode === 1) bytes[address()] = 0xff;
    else if (mode === 2) bytes[address()]! &= value;
    else bytes[address()] = value;
    const cycles = (WHOLE_CYCLES * (mode === 0 ? 1 : 1.8 / 3.4) * hertz()) / OSCILLATOR_HERTZ;
    around.schedule(SLOT.eeprom, around.port.now() + Math.round(cycles));
  };
  return {
    state,
    bytes,
    reset: () => {
      state.enabledUntil = -1;
    },
    write: (register, value) => {
      const now = around.port.now();
      const isBusy = (around.data[R.EECR]! & EEPE) !== 0;
      if (register === R.EEARL || register === R.EEARH || register === R.EEDR) {
        if (!isBusy || register === R.EEDR) around.data[register] = register === R.EEARH ? value & 3 : value;
        return true;
      }
      if (register !== R.EECR) return false;
      const kept = isBusy ? (around.data[R.EECR]! & 0x30) | EEPE : value & 0x30;
      around.data[R.EECR] = kept | (value & EERIE);
      if ((value & EEPE) !== 0 && !isBusy && now <= state.enabledUntil) {
        state.enabledUntil = -1;
        around.data[R.EECR]! |= EEPE;
        program((value >> 4) & 3);
      } else if ((value & EEMPE) !== 0 && (value & EEPE) === 0) {
        state.enabledUntil = now + ENABLE_CYCLES;
        around.data[R.EECR]! |= EEMPE;
      }
      if ((value & EERE) !== 0 && !isBusy) around.data[R.EEDR] = bytes[address()]!;
      pend();
      return true;
    },
    event: () => {
      around.data[R.EECR]! &= ~(EEPE | EEMPE);
      pend();
    },
  };
}
