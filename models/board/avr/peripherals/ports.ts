/**
 * The three ports with what hangs on their pins: levels in and out, toggling by PINx, compare outputs, external and
 * pin-change interrupts.
 *
 * PINx follows the pin at once; the synchronizer of a real chip makes it half a cycle to one and a half later (8161D
 * section 13.2.4). An input that nobody drives reads its pull-up, or else stays low.
 *
 * Source: 8161D chapters 12 (external interrupts) and 13 (ports).
 */
import { NOTHING } from '../bus.ts';
import { type Around, FLOATING, HIGH, LOW, STORE_CYCLES } from './around.ts';
import type { Numbers } from './numbers.ts';
import { R, V } from './registers.ts';

/** PINx, DDRx and PORTx stand in a row; the ports B, C and D one after the other. */
const FIRST = R.PINB;
const LAST = R.PORTD;
const PULL_UPS_OFF = 0x10;
/** Pins of the external interrupts, by port. */
const EXTERNALS = [0, 0, 0x0c];

export interface PinEdges {
  /** A pin has changed its level, whoever drove it. */
  edge(port: number, bit: number, isRising: boolean, cycle: number): void;
  /** Pins of a port whose edges somebody waits for here, interrupts aside. */
  heard(port: number): number;
}

export interface IoPorts {
  reset(): void;
  write(address: number, value: number): boolean;
  writeBit(address: number, bit: number, isSet: boolean): boolean;
  acknowledge(vector: number): boolean;
  /** What the outside does to a pin: LOW, HIGH or FLOATING. */
  drive(port: number, bit: number, level: number, cycle: number): void;
  compareOutput(port: number, bit: number, isConnected: boolean, isHigh: boolean, cycle: number): void;
  /** What the chip does to a pin. */
  output(port: number, bit: number): number;
  isOutput(port: number, bit: number): boolean;
  /** Works the levels out anew, where something that all ports depend on has changed. */
  refresh(): void;
  /** Says anew which bits are quiet (see bus.ts), where timers may have begun to listen, or all was restored. */
  requiet(): void;
}

interface PortState extends Numbers {
  direction: number;
  /** Bits that the outside drives, and their levels; they outlast a reset. */
  driven: number;
  input: number;
  /** Bits that a timer has taken over, and their levels. */
  taken: number;
  takenLevel: number;
}

/** `watched` has a mask for each port: the outside hears of changes of these pins only. */
export function createPorts(around: Around, watched: readonly number[], edges: PinEdges): IoPorts {
  const ports = [0, 1, 2].map(() =>
    around.numbers<PortState>({ direction: 0, driven: 0, input: 0, taken: 0, takenLevel: 0 }),
  );
  const { outside } = around;

  const portOf = (index: number): number => around.data[FIRST + 3 * index + 2]!;
  const driveOf = (index: number): number => {
    const { direction, taken, takenLevel } = ports[index]!;
    return direction & ((taken & takenLevel) | (~taken & portOf(index)));
  };
  const levelsOf = (index: number): number => {
    const { direction, driven, input } = ports[index]!;
    const pullUps = (around.data[R.MCUCR]! & PULL_UPS_OFF) === 0 ? portOf(index) : 0;
    return driveOf(index) | (~direction & ((driven & input) | (~driven & pullUps)));
  };
  const requiet = (): void => {
    for (let index = 0; index < 3; index += 1) {
      const { direction, taken } = ports[index]!;
      const heard = watched[index]! | around.data[R.PCMSK0 + index]! | edges.heard(index) | EXTERNALS[index]!;
      around.quiet[FIRST + 3 * index + 2] = NOTHING | (direction & ~taken & ~heard);
    }
  };
  /** Carries a change through to PINx, to the interrupts and to the outside. */
  const settle = (index: number, directionBefore: number, driveBefore: number, cycle: number): void => {
    const one = ports[index]!;
    const address = FIRST + 3 * index;
    const changedOut = ((directionBefore ^ one.direction) | (driveBefore ^ driveOf(index))) & watched[index]!;
    for (let bit = 0; changedOut >> bit !== 0; bit += 1)
      if ((changedOut >> bit) & 1) outside.pin(index, bit, output(index, bit), cycle);
    const before = around.data[address]!;
    const after = levelsOf(index) & 0xff;
    if (before === after) return;
    around.data[address] = after;
    const changed = before ^ after;
    for (let bit = 0; changed >> bit !== 0; bit += 1) {
      if (((changed >> bit) & 1) === 0) continue;
      const isRising = ((after >> bit) & 1) === 1;
      pinChange(index, bit);
      external(index, bit, isRising, cycle);
      edges.edge(index, bit, isRising, cycle);
    }
  };
  const output = (index: number, bit: number): number => {
    const one = ports[index]!;
    if (((one.direction >> bit) & 1) === 0) return FLOATING;
    return ((driveOf(index) >> bit) & 1) === 1 ? HIGH : LOW;
  };
  const change = (index: number, cycle: number, act: (one: PortState) => void): void => {
    const one = ports[index]!;
    const { direction } = one;
    const drive = driveOf(index);
    act(one);
    settle(index, direction, drive, cycle);
  };

  const pinChange = (index: number, bit: number): void => {
    if (((around.data[R.PCMSK0 + index]! >> bit) & 1) === 0) return;
    around.data[R.PCIFR]! |= 1 << index;
    pendPinChanges();
  };
  const pendPinChanges = (): void => {
    const pending = around.data[R.PCIFR]! & around.data[R.PCICR]!;
    for (let index = 0; index < 3; index += 1) around.level(V.PCINT0 + index, ((pending >> index) & 1) === 1);
  };
  /** Sense control: 0 low level, 1 any edge, 2 falling, 3 rising (8161D table 12-2). */
  const senseOf = (number: number): number => (around.data[R.EICRA]! >> (2 * number)) & 3;
  const external = (index: number, bit: number, isRising: boolean, cycle: number): void => {
    if (index !== 2 || (bit !== 2 && bit !== 3)) return;
    const number = bit - 2;
    if (around.isClockStopped && senseOf(number) !== 0) return;
    const sense = senseOf(number);
    if (sense === 1 || (sense === 2 && !isRising) || (sense === 3 && isRising)) {
      around.data[R.EIFR]! |= 1 << number;
      if (number === 0) around.trigger(2, cycle);
    }
    pendExternals();
  };
  const pendExternals = (): void => {
    for (let number = 0; number < 2; number += 1) {
      const isEnabled = ((around.data[R.EIMSK]! >> number) & 1) === 1;
      const isFlagged = ((around.data[R.EIFR]! >> number) & 1) === 1;
      const isLow = senseOf(number) === 0 && ((around.data[R.PIND]! >> (2 + number)) & 1) === 0;
      around.level(V.INT0 + number, isEnabled && (isFlagged || isLow));
    }
  };

  const isPort = (address: number): boolean => address >= FIRST && address <= LAST;
  return {
    reset: () => {
      for (let index = 0; index < 3; index += 1)
        change(index, around.port.now(), (one) => {
          one.direction = 0;
          one.taken = 0;
          one.takenLevel = 0;
        });
      // The registers were cleared; the levels of the pins were not.
      for (let index = 0; index < 3; index += 1) around.data[FIRST + 3 * index] = levelsOf(index) & 0xff;
    },
    write: (address, value) => {
      const latched = around.port.now() + STORE_CYCLES;
      if (isPort(address)) {
        const index = Math.floor((address - FIRST) / 3);
        const kind = (address - FIRST) % 3;
        // Programs store the same again and again, pass by pass.
        if (kind > 0 && value === around.data[address]) return true;
        change(index, latched, (one) => {
          if (kind === 0) around.data[address + 2]! ^= value;
          else around.data[address] = value;
          if (kind === 1) one.direction = value;
        });
        if (kind === 1) requiet();
        return true;
      }
      switch (address) {
        case R.EIFR:
          around.data[R.EIFR]! &= ~value;
          pendExternals();
          return true;
        case R.EIMSK:
        case R.EICRA:
          around.data[address] = value & (address === R.EIMSK ? 3 : 15);
          pendExternals();
          return true;
        case R.PCIFR:
          around.data[R.PCIFR]! &= ~value;
          pendPinChanges();
          return true;
        case R.PCICR:
          around.data[address] = value & 7;
          pendPinChanges();
          return true;
        case R.PCMSK0:
        case R.PCMSK1:
        case R.PCMSK2:
          around.data[address] = value;
          requiet();
          return true;
        default:
          return false;
      }
    },
    writeBit: (address, bit, isSet) => {
      if (address === R.EIFR || address === R.PCIFR) {
        if (isSet) around.data[address]! &= ~(1 << bit);
        pendExternals();
        pendPinChanges();
        return true;
      }
      // SBI on PINx toggles one bit of PORTx; CBI does nothing (8161D section 13.2.2).
      if (!isPort(address) || (address - FIRST) % 3 !== 0) return false;
      if (!isSet) return true;
      const index = Math.floor((address - FIRST) / 3);
      change(index, around.port.now() + STORE_CYCLES, () => {
        around.data[address + 2]! ^= 1 << bit;
      });
      return true;
    },
    acknowledge: (vector) => {
      if (vector === V.INT0 || vector === V.INT1) {
        around.data[R.EIFR]! &= ~(1 << (vector - V.INT0));
        pendExternals();
        return true;
      }
      if (vector < V.PCINT0 || vector > V.PCINT2) return false;
      around.data[R.PCIFR]! &= ~(1 << (vector - V.PCINT0));
      return true;
    },
    drive: (index, bit, level, cycle) =>
      change(index, cycle, (one) => {
        const mask = 1 << bit;
        one.driven = level === FLOATING ? one.driven & ~mask : one.driven | mask;
        one.input = level === HIGH ? one.input | mask : one.input & ~mask;
      }),
    compareOutput: (index, bit, isConnected, isHigh, cycle) => {
      const one = ports[index]!;
      const mask = 1 << bit;
      const taken = isConnected ? one.taken | mask : one.taken & ~mask;
      const takenLevel = isHigh ? one.takenLevel | mask : one.takenLevel & ~mask;
      const isSameHand = taken === one.taken;
      if (isSameHand && takenLevel === one.takenLevel) return;
      change(index, cycle, () => {
        one.taken = taken;
        one.takenLevel = takenLevel;
      });
      if (!isSameHand) requiet();
    },
    output,
    requiet,
    refresh: () => {
      for (let index = 0; index < 3; index += 1)
        change(index, around.port.now() + STORE_CYCLES, () => {
          // Only what the levels depend on has changed.
        });
    },
    isOutput: (index, bit) => ((ports[index]!.direction >> bit) & 1) === 1,
  };
}
