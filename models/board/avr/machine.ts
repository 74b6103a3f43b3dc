/**
 * The state of the core, laid out in one buffer that the interpreter and translated code share.
 *
 * Data space at 0 (registers 0..31, I/O, SRAM), quiet bits at `QUIET_BASE` (see bus.ts), core state at `STATE_BASE`, a
 * copy of the flash at `FLASH_BASE`, and two tables of translated code at `ENTRY_BASE` and `NEEDED_BASE`.
 */
import { type Chip, SPH, SPL, SREG } from './chips.ts';
import type { Program } from './decode.ts';

/** A word for each I/O address, above the SRAM of every chip. */
export const QUIET_BASE = 0xfc00;
export const STATE_BASE = 0x10000;
export const FLASH_BASE = 0x18000;
export const ENTRY_BASE = 0x20000;
/** By word address: cycles that must be left to begin with the translated block there. */
export const NEEDED_BASE = 0x30000;
export const MEMORY_BYTES = 0x40000;

/**
 * Where the state words are. Flags are kept unmasked, as arithmetic leaves them: carry, T and I are 0 or 1; Z is set
 * where the word is 0; N, V and S are bit 7 of theirs; H is bit 4. `left` counts cycles to the next event; `lowest` is
 * the lowest address the stack has reached; `pending` has a bit for each interrupt vector.
 */
export const AT = {
  pc: 0,
  sp: 1,
  c: 2,
  z: 3,
  n: 4,
  v: 5,
  s: 6,
  h: 7,
  t: 8,
  i: 9,
  left: 10,
  lowest: 11,
  asleep: 12,
  pending: 13,
  resetAsked: 14,
} as const;
export const STATE_WORDS = 16;

export interface Machine {
  readonly chip: Chip;
  readonly program: Program;
  readonly data: Uint8Array;
  readonly quiet: Int32Array;
  readonly state: Int32Array;
}

/** A machine over `buffer`, at the state after a power-on reset. */
export function createMachine(chip: Chip, program: Program, buffer: ArrayBuffer): Machine {
  new Uint8Array(buffer, FLASH_BASE, program.flash.length).set(program.flash);
  const machine: Machine = {
    chip,
    program,
    data: new Uint8Array(buffer, 0, QUIET_BASE),
    quiet: new Int32Array(buffer, QUIET_BASE, 0x100),
    state: new Int32Array(buffer, STATE_BASE, STATE_WORDS),
  };
  resetState(machine);
  return machine;
}

/** What a reset does to the core: registers and SRAM keep their contents, I/O is cleared, the stack starts at the end. */
export function resetState({ chip, data, state }: Machine): void {
  data.fill(0, 0x20, chip.sramStart);
  const left = state[AT.left]!;
  state.fill(0);
  state[AT.z] = 1;
  state[AT.sp] = chip.sramEnd;
  state[AT.lowest] = chip.sramEnd + 1;
  state[AT.left] = left;
}

/** The status register as the program reads it. */
export function packedSreg(state: Int32Array): number {
  return (
    state[AT.c]! |
    (state[AT.z] === 0 ? 2 : 0) |
    ((state[AT.n]! >> 5) & 4) |
    ((state[AT.v]! >> 4) & 8) |
    ((state[AT.s]! >> 3) & 16) |
    ((state[AT.h]! << 1) & 32) |
    (state[AT.t]! << 6) |
    (state[AT.i]! << 7)
  );
}

/** Sets every flag from a status register value. */
export function unpackSreg(state: Int32Array, value: number): void {
  state[AT.c] = value & 1;
  state[AT.z] = ~value & 2;
  state[AT.n] = value << 5;
  state[AT.v] = value << 4;
  state[AT.s] = value << 3;
  state[AT.h] = value >> 1;
  state[AT.t] = (value >> 6) & 1;
  state[AT.i] = (value >> 7) & 1;
}

/** A byte of the data space as the program would read it, without side effects. */
export function peek({ data, state }: Machine, address: number): number {
  if (address === SPL) return state[AT.sp]! & 0xff;
  if (address === SPH) return state[AT.sp]! >> 8;
  if (address === SREG) return packedSreg(state);
  return data[address] ?? 0;
}
