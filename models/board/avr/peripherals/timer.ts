/**
 * One timer as the program sees it: its registers, prescaler, flags and compare outputs on the counter of counter.ts.
 *
 * The counter is brought up to the present only when somebody looks, or when something is due that matters: an interrupt
 * that is enabled and not pending, an edge on a pin, a compare register about to take over what was written, a
 * conversion to be triggered. All else (a flag that rises and is never read) costs nothing.
 *
 * A store takes effect one cycle after the start of its instruction (`STORE_CYCLES`).
 *
 * Source: 8161D chapters 14, 15 and 17; 16-bit access through the shared high byte: section 15.3.
 */
import { type Around, type Peripheral, STORE_CYCLES } from './around.ts';
import {
  CAPTURE,
  type CounterMode,
  type CounterState,
  countOn,
  isPwm,
  MATCH_A,
  MATCH_B,
  matched,
  OVERFLOW,
  ticksToWanted,
  topValue,
} from './counter.ts';
import type { Numbers } from './numbers.ts';
import { registerName } from './registers.ts';
import type { TimerPlan, Wave } from './timer-plans.ts';

export interface TimerLook {
  readonly wave: Wave;
  readonly top: number;
  readonly divider: number;
  readonly written: number;
  readonly latched: number;
  /** COM bits of the channel: 0 not on the pin, 1 toggling, 2 not inverted, 3 inverted. */
  readonly action: number;
}

export interface Timer extends Peripheral {
  readonly plan: TimerPlan;
  read(address: number): number;
  /** False for an address that is not of this timer. */
  write(address: number, value: number): boolean;
  writeBit(address: number, bit: number, isSet: boolean): boolean;
  event(cycle: number): void;
  acknowledge(vector: number): void;
  /** An edge of the pin that counts it, or that captures. */
  clockEdge(isRising: boolean, cycle: number): void;
  captureEdge(isRising: boolean, cycle: number): void;
  /** Puts the prescaler back to its start; `isHeld` keeps it there. */
  resetPrescaler(cycle: number, isHeld: boolean): void;
  /** Stops and starts the timer: with its prescaler (sleep), or alone while the prescaler runs on (power reduction). */
  setStopped(isStopped: boolean, withPrescaler: boolean, cycle: number): void;
  /** Its numbers and registers were restored: works out what follows from them. */
  restored(): void;
  look(channel: 'A' | 'B', cycle: number): TimerLook;
  /** Says anew when the next event is due, where a flag's being wanted has changed. */
  reschedule(): void;
}

interface TimerState extends CounterState, Numbers {
  /** Ticks counted from `base`, up to which the counter has been brought. */
  tick: number;
  base: number;
  /** Divider; 0 is stopped, -1 and -2 count pin edges. */
  divider: number;
  isStopped: number;
  stoppedAt: number;
  isHeld: number;
  /** The high byte that all 16-bit registers share. */
  latch: number;
  /** Registers whose high byte waits in the latch, and those of them that have lost it there: a bit each. */
  waiting: number;
  spoiled: number;
  /** Register whose low byte came alone, and when. */
  lowAlone: number;
  lowAloneAt: number;
}

const fresh = (): TimerState => ({
  count: 0,
  down: 0,
  compareA: 0,
  compareB: 0,
  writtenA: 0,
  writtenB: 0,
  capture: 0,
  flags: 0,
  levelA: 0,
  levelB: 0,
  blocked: 0,
  tick: 0,
  base: 0,
  divider: 0,
  isStopped: 0,
  stoppedAt: 0,
  isHeld: 0,
  latch: 0,
  waiting: 0,
  spoiled: 0,
  lowAlone: 0,
  lowAloneAt: 0,
});

/** Two stores within so many cycles are the two bytes of one value. */
const PAIR_CYCLES = 32;

export function createTimer(plan: TimerPlan, around: Around): Timer {
  const state = around.numbers(fresh());
  const isWide = plan.max === 0xffff;
  let mode: CounterMode = { row: plan.waves[0]!, max: plan.max, actionA: 0, actionB: 0 };
  const { outside } = around;
  const flagBits = isWide ? OVERFLOW | MATCH_A | MATCH_B | CAPTURE : OVERFLOW | MATCH_A | MATCH_B;

  const isCounting = (): boolean => state.divider > 0 && state.isStopped === 0 && state.isHeld === 0;
  const ticksAt = (cycle: number): number => Math.floor((cycle - state.base) / state.divider);
  const cycleOf = (tick: number): number => state.base + tick * state.divider;

  let startTick = 0;
  let edgeCycle = -1;
  const watch = (what: 'A' | 'B' | 'update', ticks: number): void => {
    const cycle = edgeCycle >= 0 ? edgeCycle : cycleOf(startTick + ticks);
    if (what === 'update') outside.timer(plan.index, 'latched', cycle);
    else drive(what, cycle);
  };
  const drive = (channel: 'A' | 'B', cycle: number): void => {
    const [port, bit] = channel === 'A' ? plan.pinA : plan.pinB;
    const action = channel === 'A' ? mode.actionA : mode.actionB;
    around.compareOutput(port, bit, action !== 0, (channel === 'A' ? state.levelA : state.levelB) === 1, cycle);
  };

  const count = (ticks: number, cycle: number): void => {
    const before = state.flags;
    countOn(mode, state, ticks, watch);
    const risen = state.flags & ~before;
    if (risen === 0) return;
    raise(risen, cycle);
  };
  const raise = (risen: number, cycle: number): void => {
    const { triggers } = plan;
    if (risen & OVERFLOW && triggers.overflow >= 0) around.trigger(triggers.overflow, cycle);
    if (risen & MATCH_A && triggers.compareA >= 0) around.trigger(triggers.compareA, cycle);
    if (risen & MATCH_B && triggers.compareB >= 0) around.trigger(triggers.compareB, cycle);
    if (risen & CAPTURE && triggers.capture >= 0) around.trigger(triggers.capture, cycle);
  };
  /** Brings the counter up to a cycle. */
  const advance = (cycle: number): void => {
    if (!isCounting()) return;
    const target = ticksAt(cycle);
    const ticks = target - state.tick;
    if (ticks <= 0) return;
    startTick = state.tick;
    state.tick = target;
    count(ticks, cycleOf(target));
  };
  const pendInterrupts = (): void => {
    const pending = state.flags & around.data[plan.timsk]!;
    const { vectors } = plan;
    around.level(vectors.overflow, (pending & OVERFLOW) !== 0);
    around.level(vectors.compareA, (pending & MATCH_A) !== 0);
    around.level(vectors.compareB, (pending & MATCH_B) !== 0);
    if (vectors.capture >= 0) around.level(vectors.capture, (pending & CAPTURE) !== 0);
  };
  const schedule = (): void => {
    if (!isCounting()) {
      around.schedule(plan.index, Number.POSITIVE_INFINITY);
      return;
    }
    const enabled = around.data[plan.timsk]! & ~state.flags;
    const source = autoTriggerSource(around.data);
    const triggers = (flag: number, number: number): boolean =>
      number >= 0 && number === source && (state.flags & flag) === 0;
    const ticks = ticksToWanted(mode, state, {
      overflow: (enabled & OVERFLOW) !== 0 || triggers(OVERFLOW, plan.triggers.overflow),
      matchA: (enabled & MATCH_A) !== 0 || triggers(MATCH_A, plan.triggers.compareA),
      matchB: (enabled & MATCH_B) !== 0 || triggers(MATCH_B, plan.triggers.compareB),
      capture: mode.row.top === 'icr' && ((enabled & CAPTURE) !== 0 || triggers(CAPTURE, plan.triggers.capture)),
      edgeA: mode.actionA !== 0,
      edgeB: mode.actionB !== 0,
    });
    around.schedule(plan.index, cycleOf(state.tick + ticks));
  };
  const settle = (): void => {
    pendInterrupts();
    schedule();
  };

  /** The tick that the counter has seen, once a store at the present instant has taken effect. */
  const restart = (now: number): void => {
    if (state.divider > 0) state.tick = ticksAt(now + STORE_CYCLES);
  };
  const setMode = (now: number): void => {
    const before = mode;
    mode = modeOf(plan, around.data);
    const { row } = mode;
    if (row.wave !== 'phase-correct' && row.wave !== 'phase-and-frequency-correct') state.down = 0;
    if (!isPwm(row.wave) && (state.compareA !== state.writtenA || state.compareB !== state.writtenB)) {
      state.compareA = state.writtenA;
      state.compareB = state.writtenB;
      outside.timer(plan.index, 'latched', now + STORE_CYCLES);
    }
    if (before.row !== row || before.actionA !== mode.actionA || before.actionB !== mode.actionB)
      outside.timer(plan.index, 'waveform', now + STORE_CYCLES);
    drive('A', now + STORE_CYCLES);
    drive('B', now + STORE_CYCLES);
  };
  const setClock = (bits: number, now: number): void => {
    const divider = plan.prescalers[bits]!;
    if (divider === state.divider) return;
    const before = state.divider;
    if (before > 0 && divider > 0 && around.data[plan.timsk]! !== 0)
      outside.report(
        'time-base-changed',
        plan.tccrb,
        `${registerName(plan.tccrb)} changes the divider of ${plan.name} from ${before} to ${divider} while its interrupt is on: whatever counts time by it now runs ${wordsOfRatio(divider / before)}`,
        now,
      );
    state.divider = divider;
    restart(now);
    outside.timer(plan.index, 'clock', now + STORE_CYCLES);
  };
  const setCompare = (channel: 'A' | 'B', value: number, now: number): void => {
    const address = channel === 'A' ? plan.ocra : plan.ocrb;
    around.data[address] = value;
    if (isWide) around.data[address + 1] = value >> 8;
    if (channel === 'A') state.writtenA = value;
    else state.writtenB = value;
    if (!isPwm(mode.row.wave)) {
      if (channel === 'A') state.compareA = value;
      else state.compareB = value;
    }
    outside.timer(plan.index, channel === 'A' ? 'writtenA' : 'writtenB', now + STORE_CYCLES);
    if (!isPwm(mode.row.wave)) outside.timer(plan.index, 'latched', now + STORE_CYCLES);
  };
  const force = (value: number, now: number): void => {
    if (isPwm(mode.row.wave)) return;
    if (value & 0x80) state.levelA = matched(mode.actionA, state.levelA, 0);
    if (value & 0x40) state.levelB = matched(mode.actionB, state.levelB, 0);
    drive('A', now + STORE_CYCLES);
    drive('B', now + STORE_CYCLES);
  };

  /** The high byte waits in the shared latch until the low byte is written (8161D section 15.3). */
  const writeHigh = (low: number, value: number, now: number): void => {
    const bit = bitOf(low);
    if (state.lowAlone === low && now - state.lowAloneAt <= PAIR_CYCLES) {
      const name = registerName(low)!.slice(0, -1);
      outside.report(
        'low-byte-first',
        low,
        `${name}L was written before ${name}H: the low byte took the high byte that the shared latch still held, and the new high byte waits for the next low one`,
        now,
      );
    }
    state.latch = value;
    state.spoiled = (state.spoiled | state.waiting) & ~bit;
    state.waiting |= bit;
  };
  const wholeValue = (low: number, value: number, now: number): number => {
    if (!isWide) return value;
    const bit = bitOf(low);
    if ((state.waiting & bit) === 0) {
      // Not yet a mistake: a program may know that the latch holds what it wants.
      state.lowAlone = low;
      state.lowAloneAt = now;
    } else {
      state.lowAlone = 0;
      if ((state.spoiled & bit) !== 0)
        outside.report(
          'latch-overwritten',
          low,
          `the high byte of ${registerName(low)!.slice(0, -1)} was lost: between the stores of its two bytes another access to a 16-bit register (in an interrupt) used the shared latch`,
          now,
        );
    }
    state.waiting &= ~bit;
    state.spoiled &= ~bit;
    return (state.latch << 8) | value;
  };
  const bitOf = (low: number): number => 1 << (low - plan.tcnt);
  const readWide = (value: number): number => {
    state.latch = value >> 8;
    state.spoiled |= state.waiting;
    return value & 0xff;
  };

  const timer: Timer = {
    plan,
    state,
    reset: () => {
      Object.assign(state, fresh());
      state.base = around.port.now();
      setMode(around.port.now());
    },
    read: (address) => {
      advance(around.port.now());
      if (address === plan.tifr) return state.flags;
      if (address === plan.tcnt) return isWide ? readWide(state.count) : state.count;
      if (isWide && address === plan.icr) return readWide(state.capture);
      return state.latch;
    },
    write: (address, value) => {
      const now = around.port.now();
      if (isWide && isHigh(plan, address)) {
        writeHigh(address - 1, value, now);
        return true;
      }
      if (!isOwn(plan, address)) return false;
      advance(now);
      if (address === plan.tifr) state.flags &= ~value;
      else if (address === plan.tcnt) {
        state.count = wholeValue(address, value, now);
        state.blocked = 1;
        restart(now);
      } else if (address === plan.ocra) setCompare('A', wholeValue(address, value, now), now);
      else if (address === plan.ocrb) setCompare('B', wholeValue(address, value, now), now);
      else if (address === plan.icr) {
        const whole = wholeValue(address, value, now);
        // Only a mode whose top it is lets the program write it (8161D p. 138).
        if (mode.row.top === 'icr') setCapture(whole, now);
        else
          outside.report(
            'top-not-taken',
            address,
            'ICR1 was written before a mode whose top it is: the chip takes it only in such a mode (set WGM1 first), so the top stays what it was',
            now,
          );
      } else if (address === plan.tccra) {
        around.data[address] = value & 0xf3;
        setMode(now);
      } else if (address === plan.tccrb) {
        if (!isWide) force(value, now);
        around.data[address] = value & (isWide ? 0xdf : 0x0f);
        setClock(value & 7, now);
        setMode(now);
      } else if (address === plan.tccrc) force(value, now);
      else around.data[address] = value & flagBits;
      settle();
      return true;
    },
    writeBit: (address, bit, isSet) => {
      if (address !== plan.tifr) return false;
      advance(around.port.now());
      // Writing a one clears a flag; SBI writes that one only.
      if (isSet) state.flags &= ~(1 << bit);
      settle();
      return true;
    },
    event: (cycle) => {
      advance(cycle);
      settle();
    },
    acknowledge: (vector) => {
      advance(around.port.now());
      const { vectors } = plan;
      const flag =
        vector === vectors.overflow
          ? OVERFLOW
          : vector === vectors.compareA
            ? MATCH_A
            : vector === vectors.compareB
              ? MATCH_B
              : CAPTURE;
      state.flags &= ~flag;
      settle();
    },
    clockEdge: (isRising, cycle) => {
      if (state.isStopped === 1 || state.divider !== (isRising ? -2 : -1)) return;
      edgeCycle = cycle;
      count(1, cycle);
      edgeCycle = -1;
      settle();
    },
    captureEdge: (isRising, cycle) => {
      if (!isWide || mode.row.top === 'icr' || isRising !== ((around.data[plan.tccrb]! & 0x40) !== 0)) return;
      advance(cycle);
      state.capture = state.count;
      around.data[plan.icr] = state.count & 0xff;
      around.data[plan.icr + 1] = state.count >> 8;
      const isNew = (state.flags & CAPTURE) === 0;
      state.flags |= CAPTURE;
      if (isNew) raise(CAPTURE, cycle);
      settle();
    },
    resetPrescaler: (cycle, isHeld) => {
      advance(cycle);
      state.base = cycle + 1;
      state.tick = 0;
      state.isHeld = isHeld ? 1 : 0;
      settle();
    },
    setStopped: (isStopped, withPrescaler, cycle) => {
      if ((state.isStopped === 1) === isStopped) return;
      if (isStopped) {
        advance(cycle);
        state.stoppedAt = cycle;
        state.isStopped = 1;
      } else {
        state.isStopped = 0;
        if (withPrescaler) state.base += cycle - state.stoppedAt;
        else if (state.divider > 0) state.tick = ticksAt(cycle);
      }
      settle();
    },
    look: (channel, cycle) => {
      advance(cycle);
      return {
        wave: mode.row.wave,
        top: topValue(mode, state),
        divider: Math.max(0, state.divider),
        written: channel === 'A' ? state.writtenA : state.writtenB,
        latched: channel === 'A' ? state.compareA : state.compareB,
        action: channel === 'A' ? mode.actionA : mode.actionB,
      };
    },
    reschedule: schedule,
    restored: () => {
      mode = modeOf(plan, around.data);
    },
  };
  const setCapture = (value: number, now: number): void => {
    state.capture = value;
    around.data[plan.icr] = value & 0xff;
    around.data[plan.icr + 1] = value >> 8;
    outside.timer(plan.index, 'waveform', now + STORE_CYCLES);
  };
  return timer;
}

function isHigh(plan: TimerPlan, address: number): boolean {
  return (
    address === plan.tcnt + 1 || address === plan.icr + 1 || address === plan.ocra + 1 || address === plan.ocrb + 1
  );
}

function isOwn(plan: TimerPlan, address: number): boolean {
  return (
    address === plan.tccra ||
    address === plan.tccrb ||
    address === plan.tccrc ||
    address === plan.tcnt ||
    address === plan.ocra ||
    address === plan.ocrb ||
    address === plan.icr ||
    address === plan.timsk ||
    address === plan.tifr
  );
}

/** The mode that the registers say. */
function modeOf(plan: TimerPlan, data: Uint8Array): CounterMode {
  const a = data[plan.tccra]!;
  const b = data[plan.tccrb]!;
  const bits = plan.max === 0xffff ? (a & 3) | ((b >> 1) & 12) : (a & 3) | ((b >> 1) & 4);
  const row = plan.waves[bits]!;
  return {
    row,
    max: plan.max,
    actionA: actionOf(plan, row, bits, a >> 6, true),
    actionB: actionOf(plan, row, bits, (a >> 4) & 3, false),
  };
}

/** What COM bits do in a mode; 0 where they leave the pin to the port (8161D tables 14-2 to 14-7, 15-1 to 15-3). */
function actionOf(
  plan: TimerPlan,
  row: { readonly wave: Wave; readonly top: unknown },
  bits: number,
  com: number,
  isA: boolean,
): number {
  if (com !== 1 || !isPwm(row.wave)) return com;
  if (!isA) return 0;
  if (plan.max === 0xff) return row.top === 'ocra' ? 1 : 0;
  return bits === 9 || bits === 11 || bits === 14 || bits === 15 ? 1 : 0;
}

/** ADTS of an automatically triggered converter, -1 if it is not. */
export function autoTriggerSource(data: Uint8Array): number {
  return (data[0x7a]! & 0xa0) === 0xa0 ? data[0x7b]! & 7 : -1;
}

function wordsOfRatio(ratio: number): string {
  return ratio > 1 ? `${ratio} times slower` : `${1 / ratio} times faster`;
}
