/**
 * One instruction with every case looked at: hooked registers, the core's own registers in the data space, the stack at
 * a depth that it never had, interrupts coming on, and whatever the program should not do. Both engines stop before such
 * an instruction and leave it to this.
 *
 * Source: AVR Instruction Set Manual, Atmel-0856L, and the datasheets' chapters on the CPU core (stack, data space).
 */
import { assert } from '../../../sim/kernel/assert.ts';
import type { Bus } from './bus.ts';
import { SPH, SPL, SREG } from './chips.ts';
import type { FindingKind } from './finding.ts';
import { AT, type Machine, packedSreg, unpackSreg } from './machine.ts';
import { OP } from './op.ts';

/** What the careful path asks of the core around it. */
export interface Surroundings {
  readonly bus: Bus;
  /** By I/O address: 1 where loads are hooked, 2 where stores are. */
  readonly hooks: Uint8Array;
  report(kind: FindingKind, address: number): void;
  /** Lowest address that the stack may reach: above it end variables and heap. */
  stackFloor(): number;
  /** I went from 0 to 1 with the instruction that has just ended. */
  interruptsCameOn(): void;
  fallAsleep(): void;
}

/** Loads and stores of I/O registers for translated code, which has put `pc` and `left` in their places. */
export interface Access {
  load(address: number): number;
  store(address: number, value: number): void;
  /** `bits`: the bit's number, and 8 where it is set. */
  storeBit(address: number, bits: number): void;
}

export function accessOf(machine: Machine, around: Surroundings): Access {
  return {
    load: (address) => load(machine, around, address),
    store: (address, value) => store(machine, around, address, value),
    storeBit: (address, bits) => around.bus.writeBit(address, bits & 7, bits > 7),
  };
}

/** Carries out the instruction at `pc`, and takes its cycles from `left`. */
export function carryOut(machine: Machine, around: Surroundings): void {
  const { op, k } = machine.program;
  const pc = machine.state[AT.pc]!;
  // The head of a waiting loop is moved aside: its own operation stands at `k`.
  const at = op[pc] === OP.IDLE ? k[pc]! : pc;
  if (op[at]! >= OP.LDS) {
    if (op[at]! < OP.SEI) carryOutAccess(machine, around, at);
    else if (op[at]! >= OP.LDS_IO) carryOutIo(machine, around, at);
    else carryOutControl(machine, around, at);
  } else carryOutControl(machine, around, at);
}

function carryOutControl(machine: Machine, around: Surroundings, at: number): void {
  const { state, program } = machine;
  const op = program.op[at]!;
  const pc = state[AT.pc]!;
  if (op === OP.CALL) {
    pushPc(machine, around, pc + program.a[at]!);
    jump(machine, program.k[at]!, program.b[at]!);
  } else if (op === OP.ICALL) {
    pushPc(machine, around, pc + 1);
    jump(machine, wordOf(machine, 30), 3);
  } else if (op === OP.RET || op === OP.RETI) {
    const high = pop(machine, around);
    jump(machine, (high << 8) | pop(machine, around), 4);
    if (op === OP.RETI) turnOn(machine, around);
  } else {
    if (op === OP.WDR) around.bus.watchdogReset();
    else if (op === OP.OUTSIDE) around.report('outside-image', 0);
    else if (op === OP.ILLEGAL) around.report('illegal-instruction', 0);
    else if (op === OP.SPM) around.report('self-programming', 0);
    else if (op === OP.BREAK) around.report('break', 0);
    else assert(op === OP.SEI || op === OP.SLEEP, 'an instruction that needs no care', { op, pc });
    finish(machine, 1, 1);
    if (op === OP.SEI) turnOn(machine, around);
    else if (op === OP.SLEEP) around.fallAsleep();
  }
}

/** Loads and stores through pointers and the stack, and OUT to the status register. */
function carryOutAccess(machine: Machine, around: Surroundings, at: number): void {
  const { data, program } = machine;
  const op = program.op[at]!;
  const a = program.a[at]!;
  if (op === OP.PUSH) {
    push(machine, around, data[a]!);
    finish(machine, 1, 2);
  } else if (op === OP.POP) {
    data[a] = pop(machine, around);
    finish(machine, 1, 2);
  } else if (op === OP.OUT_SREG) storeSreg(machine, around, data[a]!, 1, 1);
  else {
    const k = program.k[at]!;
    const pointer = wordOf(machine, k);
    const isBefore = op === OP.LD_DEC || op === OP.ST_DEC;
    const moved = (pointer + (isBefore ? -1 : 1)) & 0xffff;
    const isPlain = op === OP.LDD || op === OP.STD;
    const address = isPlain ? (pointer + program.b[at]!) & 0xffff : isBefore ? moved : pointer;
    const isStore = op === OP.STD || op === OP.ST_INC || op === OP.ST_DEC;
    assert(isStore || op === OP.LDD || op === OP.LD_INC || op === OP.LD_DEC, 'an access that needs no care', { op });
    const value = isStore ? data[a]! : load(machine, around, address);
    if (!isPlain) {
      data[k] = moved;
      data[k + 1] = moved >> 8;
    }
    if (isStore && address === SREG) storeSreg(machine, around, value, 1, 2);
    else {
      if (isStore) store(machine, around, address, value);
      else data[a] = value;
      finish(machine, 1, 2);
    }
  }
}

/** Instructions that name an I/O register, or an address outside the memory. */
function carryOutIo(machine: Machine, around: Surroundings, at: number): void {
  const { data, program } = machine;
  const op = program.op[at]!;
  const a = program.a[at]!;
  const b = program.b[at]!;
  const k = program.k[at]!;
  const words = op === OP.LDS_IO || op === OP.STS_IO ? 2 : 1;
  if (op === OP.LDS_IO || op === OP.IN_IO) {
    data[a] = load(machine, around, k);
    finish(machine, words, words);
  } else if (op === OP.STS_IO && k === SREG) storeSreg(machine, around, data[a]!, 2, 2);
  else if (op === OP.STS_IO || op === OP.OUT_IO) {
    store(machine, around, k, data[a]!);
    finish(machine, words, words);
  } else if (op === OP.SBI_IO || op === OP.CBI_IO) {
    around.bus.writeBit(k, b, op === OP.SBI_IO);
    finish(machine, 1, 2);
  } else {
    const isSet = (load(machine, around, k) & a) !== 0;
    const steps = isSet === (op === OP.SBIS_IO) ? 1 + b : 1;
    finish(machine, steps, steps);
  }
}

function load({ data, state, chip }: Machine, { bus, hooks, report }: Surroundings, address: number): number {
  if (address > chip.sramEnd) {
    report('load-outside-memory', address);
    return 0;
  }
  if (address === SPL) return state[AT.sp]! & 0xff;
  if (address === SPH) return state[AT.sp]! >> 8;
  if (address === SREG) return packedSreg(state);
  if (address < chip.sramStart && (hooks[address]! & 1) !== 0) return bus.read(address) & 0xff;
  return data[address]!;
}

/** Stores a byte anywhere but in the status register. */
function store(
  { data, state, chip }: Machine,
  { bus, hooks, report }: Surroundings,
  address: number,
  value: number,
): void {
  if (address > chip.sramEnd) report('store-outside-memory', address);
  else if (address === SPL) state[AT.sp] = (state[AT.sp]! & 0xff00) | value;
  else if (address === SPH) state[AT.sp] = (state[AT.sp]! & 0xff) | (value << 8);
  else if (address < chip.sramStart && (hooks[address]! & 2) !== 0) bus.write(address, value);
  else data[address] = value;
}

function storeSreg(machine: Machine, around: Surroundings, value: number, words: number, cycles: number): void {
  const wasOn = machine.state[AT.i] === 1;
  unpackSreg(machine.state, value);
  finish(machine, words, cycles);
  if (!wasOn && value > 127) around.interruptsCameOn();
}

function turnOn(machine: Machine, around: Surroundings): void {
  machine.state[AT.i] = 1;
  // RETI counts as well where I was already on: one instruction of the program comes between two interrupts.
  around.interruptsCameOn();
}

/** Pushes a byte, looking at where the stack gets to. */
function push(machine: Machine, around: Surroundings, value: number): void {
  const { state, chip, data } = machine;
  const address = state[AT.sp]!;
  if (address < chip.sramStart || address > chip.sramEnd) {
    around.report('stack-outside-memory', address);
    if (address === SREG) unpackSreg(state, value);
    else if (address <= chip.sramEnd) store(machine, around, address, value);
  } else {
    if (address < state[AT.lowest]!) {
      state[AT.lowest] = address;
      if (address < around.stackFloor()) around.report('stack-into-data', address);
    }
    data[address] = value;
  }
  state[AT.sp] = (state[AT.sp]! - 1) & 0xffff;
}

function pop(machine: Machine, around: Surroundings): number {
  const { state, chip, data } = machine;
  const address = (state[AT.sp]! + 1) & 0xffff;
  state[AT.sp] = address;
  if (address >= chip.sramStart && address <= chip.sramEnd) return data[address]!;
  around.report('stack-outside-memory', address);
  return address > chip.sramEnd ? 0 : load(machine, around, address);
}

/** Pushes a return address, the low byte first. */
export function pushPc(machine: Machine, around: Surroundings, pc: number): void {
  const target = pc & (machine.program.words - 1);
  push(machine, around, target & 0xff);
  push(machine, around, target >> 8);
}

function finish({ state, program }: Machine, words: number, cycles: number): void {
  state[AT.pc] = (state[AT.pc]! + words) & (program.words - 1);
  state[AT.left]! -= cycles;
}

function jump({ state, program }: Machine, target: number, cycles: number): void {
  state[AT.pc] = target & (program.words - 1);
  state[AT.left]! -= cycles;
}

function wordOf({ data }: Machine, register: number): number {
  return data[register]! | (data[register + 1]! << 8);
}
