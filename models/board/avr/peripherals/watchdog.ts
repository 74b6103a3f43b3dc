/**
 * The watchdog: runs from its own oscillator, and interrupts, resets, or does first the one and then the other.
 *
 *     time-out = 2048 x 2^WDP cycles of the 128 kHz oscillator
 *
 * Source: 8161D section 10.8 and tables 10-1 (modes), 10-2 (time-outs); timed sequence: section 10.8.2.
 */
import { type Around, type Peripheral, SLOT } from './around.ts';
import type { Numbers } from './numbers.ts';
import { R, V } from './registers.ts';

const WDIF = 0x80;
const WDIE = 0x40;
const WDCE = 0x10;
const WDE = 0x08;
const WDRF = 0x08;
/** Cycles in which a change that was announced may be made. */
const CHANGE_CYCLES = 4;

export interface Watchdog extends Peripheral {
  write(value: number): void;
  /** SBI on the flag clears it alone. */
  acknowledge(): void;
  event(cycle: number): void;
  restart(): void;
  /** The CPU clock has changed against the watchdog's own. */
  rescale(cycle: number): void;
}

interface WatchdogState extends Numbers {
  changeUntil: number;
  startedAt: number;
  due: number;
  cyclesPerTick: number;
}

export function createWatchdog(around: Around, isAlwaysOn: boolean): Watchdog {
  const state = around.numbers<WatchdogState>({
    changeUntil: -1,
    startedAt: 0,
    due: Number.POSITIVE_INFINITY,
    cyclesPerTick: 1,
  });
  const { outside } = around;
  const control = (): number => around.data[R.WDTCSR]!;
  const periodTicks = (): number => 2048 * 2 ** Math.min(9, (control() & 7) | ((control() >> 2) & 8));
  const isOn = (): boolean => (control() & (WDIE | WDE)) !== 0;
  const restart = (now: number): void => {
    state.startedAt = now;
    state.cyclesPerTick = outside.watchdogCycles();
    state.due = isOn() ? now + Math.round(periodTicks() * state.cyclesPerTick) : Number.POSITIVE_INFINITY;
    around.schedule(SLOT.watchdog, state.due);
  };
  const pend = (): void => around.level(V.WDT, (control() & (WDIF | WDIE)) === (WDIF | WDIE));
  const mustStayOn = (): boolean => isAlwaysOn || (around.data[R.MCUSR]! & WDRF) !== 0;
  return {
    state,
    reset: () => {
      state.changeUntil = -1;
      // After a watchdog reset it goes on, at the shortest time-out (8161D section 10.8.2).
      around.data[R.WDTCSR] = mustStayOn() ? WDE : 0;
      restart(around.port.now());
    },
    write: (value) => {
      const now = around.port.now();
      const before = control();
      const flag = before & WDIF & ~value;
      if ((value & (WDCE | WDE)) === (WDCE | WDE) && now > state.changeUntil) {
        state.changeUntil = now + CHANGE_CYCLES;
        around.data[R.WDTCSR] = flag | (before & 0x27) | (value & WDIE) | WDCE | WDE;
      } else if (now <= state.changeUntil) {
        state.changeUntil = -1;
        around.data[R.WDTCSR] = flag | (value & 0x67) | (mustStayOn() ? WDE : value & WDE);
      } else {
        // Without the announcement only the interrupt can be switched, and WDE set.
        around.data[R.WDTCSR] = flag | (before & 0x27) | (value & WDIE) | ((before | value) & WDE);
      }
      // A new time-out counts from the last restart on.
      const due = isOn() ? state.startedAt + Math.round(periodTicks() * state.cyclesPerTick) : Number.POSITIVE_INFINITY;
      if (!isOn() || state.due === Number.POSITIVE_INFINITY) restart(now);
      else {
        state.due = Math.max(due, now + 1);
        around.schedule(SLOT.watchdog, state.due);
      }
      pend();
    },
    acknowledge: () => {
      // Taking the interrupt clears its enable bit where a reset is to follow.
      around.data[R.WDTCSR] = control() & ~(WDIF | ((control() & WDE) !== 0 ? WDIE : 0));
    },
    event: (cycle) => {
      if ((control() & WDIE) !== 0) {
        around.data[R.WDTCSR]! |= WDIF;
        restart(cycle);
        pend();
      } else {
        state.due = Number.POSITIVE_INFINITY;
        outside.watchdogReset(cycle);
      }
    },
    restart: () => restart(around.port.now()),
    rescale: (cycle) => {
      const next = outside.watchdogCycles();
      const ratio = next / state.cyclesPerTick;
      if (state.due < Number.POSITIVE_INFINITY) {
        state.due = cycle + Math.max(1, Math.round((state.due - cycle) * ratio));
        state.startedAt = cycle - (cycle - state.startedAt) * ratio;
        around.schedule(SLOT.watchdog, state.due);
      }
      state.cyclesPerTick = next;
    },
  };
}
