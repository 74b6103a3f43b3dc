/** Runs single instructions on a bare machine: the words given, the registers set, and what came of them. */
import { CHIPS, type ChipName } from '../../../../models/board/avr/chips.ts';
import { decode } from '../../../../models/board/avr/decode.ts';
import { interpret } from '../../../../models/board/avr/interpreter.ts';
import { noLoops } from '../../../../models/board/avr/loops.ts';
import {
  AT,
  createMachine,
  type Machine,
  MEMORY_BYTES,
  packedSreg,
  unpackSreg,
} from '../../../../models/board/avr/machine.ts';

export interface Bench {
  readonly machine: Machine;
  /** Carries out the instruction at word address 0 (or `at`) with this status register; returns the cycles it took. */
  step(sreg: number, at?: number): number;
  sreg(): number;
}

export function benchOf(words: readonly number[], chipName: ChipName = 'atmega328p'): Bench {
  const chip = CHIPS[chipName];
  const flash = flashOf(words, chip.flashBytes);
  const program = decode(chip, flash, new Uint8Array(flash.length).fill(1));
  const machine = createMachine(chip, program, new ArrayBuffer(MEMORY_BYTES));
  const loops = noLoops();
  const { state } = machine;
  state[AT.lowest] = chip.sramStart;
  return {
    machine,
    step(sreg, at = 0) {
      state[AT.pc] = at;
      state[AT.left] = 1;
      unpackSreg(state, sreg);
      if (interpret(machine, loops) === 1) throw new Error('the instruction needs the careful path');
      return 1 - state[AT.left]!;
    },
    sreg: () => packedSreg(state),
  };
}

export function flashOf(words: readonly number[], bytes: number): Uint8Array {
  const flash = new Uint8Array(bytes);
  words.forEach((word, index) => {
    flash[index * 2] = word;
    flash[index * 2 + 1] = word >> 8;
  });
  return flash;
}

/** Opcode of a two-register instruction from its six leading bits. */
export function two(opcode: number, d: number, r: number): number {
  return (opcode << 10) | ((r & 16) << 5) | (d << 4) | (r & 15);
}

/** Opcode of an instruction with a byte constant and a register from 16 up, from its four leading bits. */
export function immediate(opcode: number, d: number, constant: number): number {
  return (opcode << 12) | ((constant & 0xf0) << 4) | ((d - 16) << 4) | (constant & 15);
}

/** Opcode of a one-register instruction from its four last bits. */
export function one(low: number, d: number): number {
  return 0x9400 | (d << 4) | low;
}
