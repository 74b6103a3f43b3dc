/** Short programs in machine code, and cores that run them on the example bus. */
import { CHIPS, type ChipName } from '../../../../models/board/avr/chips.ts';
import { type Core, createCore, type EngineKind } from '../../../../models/board/avr/core.ts';
import type { Image } from '../../../../models/board/avr/image/image.ts';
import { type ExampleBus, exampleBus } from './example-bus.ts';
import { flashOf, immediate } from './one-instruction.ts';

export function imageOf(words: readonly number[], chipName: ChipName, symbols: Image['symbols'] = []): Image {
  const chip = CHIPS[chipName];
  const given = new Uint8Array(chip.flashBytes).fill(1, 0, words.length * 2);
  return {
    flash: flashOf(words, chip.flashBytes),
    given,
    eeprom: new Uint8Array(chip.eepromBytes),
    symbols,
    lines: [],
  };
}

export interface CoreSettings {
  readonly chip?: ChipName;
  readonly leaps?: boolean;
  readonly symbols?: Image['symbols'];
  readonly engine?: EngineKind;
}

export function coreOf(words: readonly number[], settings: CoreSettings = {}): { core: Core; bus: ExampleBus } {
  const chip = settings.chip ?? 'atmega328p';
  return coreOfImage(imageOf(words, chip, settings.symbols), settings);
}

export function coreOfImage(
  image: Image,
  { chip = 'atmega328p', leaps = true, engine }: CoreSettings = {},
): { core: Core; bus: ExampleBus } {
  const bus = exampleBus();
  bus.logs = true;
  return {
    core: createCore({ chip: CHIPS[chip], image, bus, leaps, ...(engine === undefined ? {} : { engine }) }),
    bus,
  };
}

/** All that can be told of a core between two instructions. */
export function stateOf({ core, bus }: { core: Core; bus: ExampleBus }): unknown {
  const { data } = core.snapshot();
  return {
    cycle: core.cycle(),
    ...core.registers(),
    lowest: core.lowestStack(),
    asleep: core.isAsleep(),
    data: Buffer.from(data).toString('hex'),
    findings: core.findings,
    log: bus.log.splice(0),
    printed: bus.printed.length,
  };
}

export const NOP = 0;
export const SEI = 0x9478;
export const CLI = 0x94f8;
export const RETI = 0x9518;
export const RET = 0x9508;
export const SLEEP = 0x9588;
export const rjmp = (words: number): number => 0xc000 | (words & 0xfff);
export const brne = (words: number): number => 0xf401 | ((words & 127) << 3);
export const ldi = (d: number, value: number): number => immediate(14, d, value);
export const push = (d: number): number => 0x920f | (d << 4);
export const pop = (d: number): number => 0x900f | (d << 4);
export const out = (address: number, d: number): number => 0xb800 | ((address & 0x30) << 5) | (d << 4) | (address & 15);
export const sts = (address: number, d: number): number[] => [0x9200 | (d << 4), address];
export const lds = (d: number, address: number): number[] => [0x9000 | (d << 4), address];
