/** A whole chip on a test bench: core and peripherals, a program given as instructions, and a log of what its pins did. */
import { CHIPS } from '../../../../../models/board/avr/chips.ts';
import { type Core, createCore, type EngineKind } from '../../../../../models/board/avr/core.ts';
import type { Image } from '../../../../../models/board/avr/image/image.ts';
import type { BusFindingCode, Outside } from '../../../../../models/board/avr/peripherals/around.ts';
import { createPeripherals, type Peripherals } from '../../../../../models/board/avr/peripherals/peripherals.ts';

export interface Edge {
  readonly cycle: number;
  readonly pin: string;
  readonly level: number;
}

export interface ChipRig {
  readonly core: Core;
  readonly bus: Peripherals;
  readonly edges: Edge[];
  readonly holds: {
    readonly cycle: number;
    readonly channel: number;
    readonly reference: number;
    readonly settling: number;
  }[];
  readonly sent: { readonly byte: number; readonly cycle: number }[];
  readonly findings: { readonly code: BusFindingCode; readonly address: number; readonly cycle: number }[];
  readonly resets: number[];
  /** Instants at which a pin went to a level. */
  times(pin: string, level: number): number[];
}

export interface RigSettings {
  /** The count that every conversion gives. */
  readonly count?: () => number;
  readonly hertz?: number;
  readonly isClockDivided?: boolean;
  readonly isWatchdogAlwaysOn?: boolean;
  readonly vectors?: Readonly<Record<number, readonly number[]>>;
  readonly engine?: EngineKind;
  /** Pins whose edges are logged, by port B, C, D; all unless said. */
  readonly watched?: readonly number[];
}

/** Runs `words` from the reset vector on. `vectors` gives interrupt routines by number: at most two words each. */
export function chipRig(words: readonly number[], settings: RigSettings = {}): ChipRig {
  const chip = CHIPS.atmega328p;
  const hertz = settings.hertz ?? 16e6;
  const edges: Edge[] = [];
  const holds: { cycle: number; channel: number; reference: number; settling: number }[] = [];
  const sent: { byte: number; cycle: number }[] = [];
  const findings: { code: BusFindingCode; address: number; cycle: number }[] = [];
  const resets: number[] = [];
  const outside: Outside = {
    isReady: () => true,
    hold: (channel, reference, settling) => holds.push({ cycle: due.cycle, channel, reference, settling }),
    result: () => settings.count?.() ?? 0,
    pin: (port, bit, level, cycle) => edges.push({ cycle, pin: `P${'BCD'[port]}${bit}`, level }),
    timer: () => undefined,
    converts: () => undefined,
    sent: (byte, cycle) => sent.push({ byte, cycle }),
    watchdogCycles: () => hertz / bus.divider() / 128e3,
    watchdogReset: (cycle) => {
      resets.push(cycle);
      bus.resetBy('watchdog');
    },
    report: (code, address, _says, cycle) => findings.push({ code, address, cycle }),
  };
  const due = { cycle: 0 };
  const plain = createPeripherals(
    {
      watched: settings.watched ?? [0xff, 0xff, 0xff],
      eeprom: new Uint8Array(chip.eepromBytes).fill(0xff),
      isClockDivided: settings.isClockDivided === true,
      isWatchdogAlwaysOn: settings.isWatchdogAlwaysOn === true,
      wakeCycles: 16_384,
      hertz: () => hertz / bus.divider(),
    },
    outside,
  );
  const bus: Peripherals = {
    ...plain,
    event: (cycle) => {
      due.cycle = cycle;
      plain.event(cycle);
    },
  };
  const core = createCore({
    chip,
    image: imageOf(words, settings.vectors ?? {}, chip.flashBytes, chip.eepromBytes),
    bus,
    ...(settings.engine === undefined ? {} : { engine: settings.engine }),
  });
  return {
    core,
    bus,
    edges,
    holds,
    sent,
    findings,
    resets,
    times: (pin, level) => edges.filter((edge) => edge.pin === pin && edge.level === level).map(({ cycle }) => cycle),
  };
}

/** Word address where the program stands: after the vectors. */
const START = 0x40;

function imageOf(
  words: readonly number[],
  vectors: Readonly<Record<number, readonly number[]>>,
  flashBytes: number,
  eepromBytes: number,
): Image {
  const flash = new Uint8Array(flashBytes);
  const view = new DataView(flash.buffer);
  const put = (at: number, list: readonly number[]): void =>
    list.forEach((word, index) => {
      view.setUint16(2 * (at + index), word, true);
    });
  put(0, jmp(START));
  for (const [number, list] of Object.entries(vectors)) put(2 * Number(number), list);
  put(START, words);
  return {
    flash,
    given: new Uint8Array(flashBytes).fill(1),
    eeprom: new Uint8Array(eepromBytes).fill(0xff),
    symbols: [],
    lines: [],
  };
}

// Encodings: AVR Instruction Set Manual, Atmel-0856L.
export const jmp = (to: number): number[] => [0x940c, to];
export const rjmp = (by: number): number => 0xc000 | (by & 0xfff);
export const ldi = (register: number, value: number): number =>
  0xe000 | ((value & 0xf0) << 4) | ((register - 16) << 4) | (value & 15);
export const sts = (address: number, register: number): number[] => [0x9200 | (register << 4), address];
export const lds = (register: number, address: number): number[] => [0x9000 | (register << 4), address];
export const out = (address: number, register: number): number => {
  const io = address - 0x20;
  return 0xb800 | ((io & 0x30) << 5) | (register << 4) | (io & 15);
};
export const cbi = (address: number, bit: number): number => 0x9800 | ((address - 0x20) << 3) | bit;
export const sbi = (address: number, bit: number): number => 0x9a00 | ((address - 0x20) << 3) | bit;
export const sei = 0x9478;
export const sleep = 0x9588;
export const wdr = 0x95a8;
export const reti = 0x9518;
export const nop = 0;
/** Stays where it is. */
export const forever = rjmp(-1);
/** A value stored in a register: three cycles, the store starting in the second. */
export const put = (address: number, value: number): number[] => [ldi(16, value), ...sts(address, 16)];
/** Stores in order: `[address, value]`. */
export const puts = (...pairs: readonly (readonly [address: number, value: number])[]): number[] =>
  pairs.flatMap(([address, value]) => put(address, value));
