/**
 * The peripherals of the ATmega88/168/328P around the core, as the bus that it runs on: who has which register, whose
 * event is next, and what clock, sleep and reset do to all of them.
 *
 * The chip may run ahead of the world outside. Where it needs the world (to hold the converter's input, to get its
 * count, to change the rate of its clock, to be reset by the watchdog) and the world is not there yet, the event halts
 * the core; it then stands between two instructions, and the same event comes again when it is run on.
 *
 * Source: 8161D, chapters as named in each file; clock prescaler: section 8.11; sleep: chapter 9; reset causes: section 10.9.1.
 */
import type { Bus, CorePort } from '../bus.ts';
import { type Around, type Outside, SLOT, SLOT_COUNT, type Stop } from './around.ts';
import { type Converter, createConverter } from './converter.ts';
import { createEeprom, type Eeprom } from './eeprom.ts';
import { createNumberRow, type Numbers } from './numbers.ts';
import { createPorts, type IoPorts } from './ports.ts';
import { R, registerName, V } from './registers.ts';
import { autoTriggerSource, createTimer, type Timer } from './timer.ts';
import { TIMER_PLANS } from './timer-plans.ts';
import { createUsart, type Usart } from './usart.ts';
import { createWatchdog, type Watchdog } from './watchdog.ts';

/** Bits of MCUSR. */
export const RESET_CAUSE = { 'power-on': 1, external: 2, 'brown-out': 4, watchdog: 8 } as const;

export interface ChipSettings {
  /** Masks of the pins, by port B, C, D, whose changes the outside hears of. */
  readonly watched: readonly number[];
  readonly eeprom: Uint8Array;
  /** Fuse CKDIV8: the clock starts divided by 8. */
  readonly isClockDivided: boolean;
  /** Fuse WDTON: the watchdog resets, always. */
  readonly isWatchdogAlwaysOn: boolean;
  /** Cycles of the oscillator's start-up on waking from the modes that stop it. */
  readonly wakeCycles: number;
  /** The CPU clock at the moment. */
  readonly hertz: () => number;
}

export interface Peripherals extends Bus {
  readonly timers: readonly Timer[];
  readonly ports: IoPorts;
  readonly converter: Converter;
  readonly usart: Usart;
  readonly watchdog: Watchdog;
  readonly eeprom: Eeprom;
  /** Divider from the oscillator to the CPU clock. */
  divider(): number;
  /** What the chip waits for, if it does, and since which cycle: the core may stand a little later, after an instruction. */
  waitsFor(): Stop | undefined;
  waitsSince(): number;
  /** Resets the chip; the causes of earlier resets stay until the program clears them, but for a power-on. */
  resetBy(cause: keyof typeof RESET_CAUSE): void;
  snapshot(): BusSnapshot;
  /** Writes a snapshot over an older one. */
  keep(into: BusSnapshot): void;
  restore(state: unknown): void;
}

export interface BusSnapshot {
  readonly dues: Float64Array;
  readonly numbers: Float64Array;
  readonly eeprom: Uint8Array;
}

interface ChipState extends Numbers {
  causes: number;
  nextCause: number;
  clockBits: number;
  clockUntil: number;
  /** When the I/O clock was stopped by sleep, -1 while it runs. */
  stoppedAt: number;
  /** Events of the serial port that the stopped clock holds up. */
  sentDue: number;
  receivedDue: number;
}

const CLKPCE = 0x80;
const CHANGE_CYCLES = 4;
const STOPS: readonly (Stop | undefined)[] = (() => {
  const stops: (Stop | undefined)[] = new Array(SLOT_COUNT).fill(undefined);
  stops[SLOT.hold] = 'hold';
  stops[SLOT.result] = 'result';
  stops[SLOT.clock] = 'clock';
  return stops;
})();
/** Registers of peripherals that are memory here. */
const NOT_MODELLED: ReadonlyMap<number, string> = new Map([
  [R.SPCR, 'SPI'],
  [R.SPSR, 'SPI'],
  [R.SPDR, 'SPI'],
  [R.TWBR, 'two-wire interface'],
  [R.TWCR, 'two-wire interface'],
  [R.TWDR, 'two-wire interface'],
  [R.TWAR, 'two-wire interface'],
  [R.SPMCSR, 'self-programming'],
]);

export function createPeripherals(settings: ChipSettings, outside: Outside): Peripherals {
  const dues = new Float64Array(SLOT_COUNT).fill(Number.POSITIVE_INFINITY);
  const row = createNumberRow();
  const state = row.take<ChipState>({
    causes: 0,
    nextCause: 1,
    clockBits: 0,
    clockUntil: -1,
    stoppedAt: -1,
    sentDue: 0,
    receivedDue: 0,
  });
  let isInEvent = false;
  /** What the core was told last: the earliest of `dues`, and whose it is. */
  let soonest = Number.POSITIVE_INFINITY;
  let soonestSlot = 0;
  let waiting: Stop | undefined;
  let waitingSince = 0;

  const wakeAt = (cycle: number): void => {
    soonest = cycle;
    around.port.wakeAt(cycle);
  };
  const wakeAtNext = (): void => {
    soonestSlot = nextSlot(dues);
    wakeAt(dues[soonestSlot]!);
  };
  const around: Around = {
    port: undefined as unknown as CorePort,
    data: new Uint8Array(0),
    quiet: new Int32Array(0x100),
    outside,
    numbers: row.take,
    isClockStopped: false,
    schedule(slot, cycle) {
      const before = dues[slot]!;
      if (before === cycle) return;
      dues[slot] = cycle;
      if (isInEvent) return;
      if (cycle < soonest) {
        soonestSlot = slot;
        wakeAt(cycle);
      } else if (before === soonest || cycle === soonest) wakeAtNext();
    },
    level: (vector, isOn) => (isOn ? around.port.pend(vector) : around.port.unpend(vector)),
    trigger: (source, cycle) => converter.trigger(source, cycle),
    compareOutput: (port, bit, isConnected, isHigh, cycle) =>
      ports.compareOutput(port, bit, isConnected, isHigh, cycle),
  };
  const ports = createPorts(around, settings.watched, {
    edge: (port, bit, isRising, cycle) => {
      if (port === 0 && bit === 0) timers[1]!.captureEdge(isRising, cycle);
      else if (port === 2 && bit === 4) timers[0]!.clockEdge(isRising, cycle);
      else if (port === 2 && bit === 5) timers[1]!.clockEdge(isRising, cycle);
    },
    heard: (port) => {
      if (port === 0) return 1;
      return port === 2 ? (timers[0]!.state.divider! < 0 ? 0x10 : 0) | (timers[1]!.state.divider! < 0 ? 0x20 : 0) : 0;
    },
  });
  const timers = TIMER_PLANS.map((plan) => createTimer(plan, around));
  const converter = createConverter(around, settings.hertz);
  const usart = createUsart(around);
  const watchdog = createWatchdog(around, settings.isWatchdogAlwaysOn);
  const eeprom = createEeprom(around, settings.eeprom, settings.hertz);
  const numbers = row.used();

  const stopOf = (slot: number): Stop | undefined =>
    slot === SLOT.watchdog && (around.data[R.WDTCSR]! & 0x40) === 0 ? 'reset' : STOPS[slot];
  const due = (slot: number, cycle: number): void => {
    if (slot <= SLOT.timer2) timers[slot]!.event(cycle);
    else if (slot === SLOT.hold) converter.hold(cycle);
    else if (slot === SLOT.result) converter.result(cycle);
    else if (slot === SLOT.sent) usart.sent(cycle);
    else if (slot === SLOT.received) usart.received(cycle);
    else if (slot === SLOT.watchdog) watchdog.event(cycle);
    else if (slot === SLOT.eeprom) eeprom.event(cycle);
    else watchdog.rescale(cycle);
  };
  const setStopped = (index: number, withPrescaler: boolean): void => {
    const timer = timers[index]!;
    const isOff = ((around.data[R.PRR]! >> timer.plan.powerBit) & 1) === 1;
    timer.setStopped(isOff || state.stoppedAt >= 0, withPrescaler, around.port.now());
  };
  const writeClock = (value: number): void => {
    const now = around.port.now();
    if (value === CLKPCE) {
      state.clockUntil = now + CHANGE_CYCLES;
      around.data[R.CLKPR]! |= CLKPCE;
    } else if ((value & CLKPCE) === 0 && now <= state.clockUntil) {
      state.clockUntil = -1;
      around.data[R.CLKPR] = value & 15;
      if ((value & 15) === state.clockBits) return;
      state.clockBits = Math.min(8, value & 15);
      around.schedule(SLOT.clock, now);
    }
  };
  const writeOther = (address: number, value: number): void => {
    const now = around.port.now();
    switch (address) {
      case R.CLKPR:
        writeClock(value);
        return;
      case R.WDTCSR:
        watchdog.write(value);
        return;
      case R.MCUSR:
        // Causes are cleared by writing zeros; ones change nothing.
        state.causes &= value;
        around.data[address] = state.causes;
        return;
      case R.MCUCR:
        around.data[address] = value;
        ports.refresh();
        return;
      case R.GTCCR:
        around.data[address] = (value & 0x80) !== 0 ? value & 0x83 : 0;
        for (const timer of timers) {
          const bit = timer.plan.index === 2 ? 2 : 1;
          const isHeld = (value & 0x80) !== 0 && (value & bit) !== 0;
          if ((value & bit) !== 0 || timer.state.isHeld === 1) timer.resetPrescaler(now, isHeld);
        }
        return;
      case R.PRR:
        around.data[address] = value & 0xef;
        for (let index = 0; index < 3; index += 1) setStopped(index, false);
        return;
      default:
        store(address, value, now);
    }
  };
  const store = (address: number, value: number, now: number): void => {
    const name = registerName(address);
    if (name === undefined) {
      outside.report('reserved-register', address, 'no register is there: the address is reserved', now);
      return;
    }
    const unit = NOT_MODELLED.get(address);
    if (unit !== undefined)
      outside.report(
        'not-modelled',
        address,
        `${name} belongs to the ${unit}, which is memory here and does nothing`,
        now,
      );
    if (address === R.ASSR && (value & 0x20) !== 0)
      outside.report(
        'not-modelled',
        address,
        'Timer2 from a crystal of its own is not modelled; it runs from the CPU clock',
        now,
      );
    around.data[address] = value;
  };

  const bus: Peripherals = {
    timers,
    ports,
    converter,
    usart,
    watchdog,
    eeprom,
    divider: () => 2 ** state.clockBits,
    waitsFor: () => waiting,
    waitsSince: () => waitingSince,
    resetBy: (cause) => {
      state.nextCause = RESET_CAUSE[cause];
      around.port.reset();
    },
    attach: (port) => {
      around.port = port;
      around.data = port.data;
      around.quiet = port.quiet;
    },
    resetRegisters: () => {
      const { nextCause } = state;
      dues.fill(Number.POSITIVE_INFINITY);
      state.causes = nextCause === RESET_CAUSE['power-on'] ? nextCause : state.causes | nextCause;
      state.nextCause = RESET_CAUSE.external;
      state.clockBits = settings.isClockDivided ? 3 : 0;
      state.clockUntil = -1;
      state.stoppedAt = -1;
      around.isClockStopped = false;
      waiting = undefined;
      around.data[R.MCUSR] = state.causes;
      around.data[R.CLKPR] = state.clockBits;
      for (const one of [ports, ...timers, converter, usart, eeprom, watchdog]) one.reset();
      ports.requiet();
      wakeAtNext();
    },
    read: (address) => {
      if (address === R.UDR0) return usart.read();
      if (address === R.ADCL || address === R.ADCH) return converter.read(address);
      return timers[timerOf(address)]!.read(address);
    },
    write: (address, value) => {
      const timer = timerOf(address);
      if (timer >= 0 && timers[timer]!.write(address, value)) {
        // A timer may count a pin from now on.
        if (address === timers[timer]!.plan.tccrb) ports.requiet();
        return;
      }
      if (ports.write(address, value)) return;
      if (address >= R.ADCL && address <= R.ADMUX) {
        const before = autoTriggerSource(around.data);
        converter.write(address, value);
        // Flags wanted for what the converter is triggered by are looked out for.
        if (autoTriggerSource(around.data) !== before) for (const each of timers) each.reschedule();
        return;
      }
      if (usart.write(address, value) || eeprom.write(address, value)) return;
      writeOther(address, value);
    },
    writeBit: (address, bit, isSet) => {
      const timer = timerOf(address);
      if (timer >= 0 && timers[timer]!.writeBit(address, bit, isSet)) return;
      if (ports.writeBit(address, bit, isSet)) return;
      if (converter.writeBit(address, bit, isSet) || usart.writeBit(address, bit, isSet)) return;
      const mask = 1 << bit;
      bus.write(address, isSet ? around.data[address]! | mask : around.data[address]! & ~mask);
    },
    event: (cycle) => {
      isInEvent = true;
      waiting = undefined;
      let next = soonestSlot;
      for (; dues[next]! <= cycle; next = nextSlot(dues)) {
        const stop = stopOf(next);
        if (stop !== undefined && !outside.isReady(stop)) {
          waiting = stop;
          waitingSince = dues[next]!;
          isInEvent = false;
          soonestSlot = next;
          wakeAt(cycle);
          around.port.halt();
          return;
        }
        dues[next] = Number.POSITIVE_INFINITY;
        due(next, cycle);
      }
      isInEvent = false;
      soonestSlot = next;
      wakeAt(dues[next]!);
    },
    acknowledge: (vector) => {
      if (ports.acknowledge(vector) || converter.acknowledge(vector) || usart.acknowledge(vector)) return;
      if (vector === V.WDT) watchdog.acknowledge();
      else if (vector >= V.TIMER2_COMPA && vector <= V.TIMER0_OVF)
        timers[vector <= V.TIMER2_OVF ? 2 : vector <= V.TIMER1_OVF ? 1 : 0]!.acknowledge(vector);
      // The EEPROM is ready until it is written to: a level.
      else if (vector === V.EE_READY) around.level(vector, true);
    },
    sleep: (mode) => {
      const now = around.port.now();
      if (mode === 0) return 0;
      state.stoppedAt = now;
      around.isClockStopped = true;
      state.sentDue = dues[SLOT.sent]!;
      state.receivedDue = dues[SLOT.received]!;
      around.schedule(SLOT.sent, Number.POSITIVE_INFINITY);
      around.schedule(SLOT.received, Number.POSITIVE_INFINITY);
      for (let index = 0; index < 3; index += 1) setStopped(index, true);
      if (mode === 1) {
        converter.startQuietly(now);
        return 0;
      }
      return mode >= 6 ? 6 : settings.wakeCycles;
    },
    woken: () => {
      if (state.stoppedAt < 0) return;
      const passed = around.port.now() - state.stoppedAt;
      state.stoppedAt = -1;
      around.isClockStopped = false;
      around.schedule(SLOT.sent, state.sentDue + passed);
      around.schedule(SLOT.received, state.receivedDue + passed);
      for (let index = 0; index < 3; index += 1) setStopped(index, true);
    },
    watchdogReset: () => watchdog.restart(),
    snapshot: () => ({ dues: dues.slice(), numbers: numbers.slice(), eeprom: eeprom.bytes.slice() }),
    keep: (into) => {
      into.dues.set(dues);
      into.numbers.set(numbers);
      into.eeprom.set(eeprom.bytes);
    },
    restore: (saved) => {
      const from = saved as BusSnapshot;
      dues.set(from.dues);
      numbers.set(from.numbers);
      eeprom.bytes.set(from.eeprom);
      around.isClockStopped = state.stoppedAt >= 0;
      isInEvent = false;
      soonestSlot = nextSlot(dues);
      soonest = dues[soonestSlot]!;
      waiting = undefined;
      for (const timer of timers) timer.restored();
      ports.requiet();
    },
  };
  return bus;
}

function nextSlot(dues: Float64Array): number {
  let next = 0;
  let least = dues[0]!;
  for (let slot = 1; slot < SLOT_COUNT; slot += 1) {
    const due = dues[slot]!;
    if (due >= least) continue;
    least = due;
    next = slot;
  }
  return next;
}

/** Which timer has a register, or -1. */
const TIMER_OF: Int8Array = (() => {
  const table = new Int8Array(0x100).fill(-1);
  for (const plan of TIMER_PLANS) {
    for (const address of [
      plan.tccra,
      plan.tccrb,
      plan.tccrc,
      plan.tcnt,
      plan.ocra,
      plan.ocrb,
      plan.icr,
      plan.timsk,
      plan.tifr,
    ]) {
      if (address >= 0) table[address] = plan.index;
    }
    if (plan.max === 0xffff) for (const low of [plan.tcnt, plan.ocra, plan.ocrb, plan.icr]) table[low + 1] = plan.index;
  }
  return table;
})();

function timerOf(address: number): number {
  return TIMER_OF[address]!;
}
