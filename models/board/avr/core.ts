/**
 * The core as a whole: runs an image up to a cycle, with events of the bus and interrupts between instructions.
 *
 * Source: ATmega48P/88P/168P/328P datasheet, Atmel 8025, chapters on the CPU core (interrupt response of 4 cycles, lowest
 * vector first, one instruction after SEI and RETI) and on sleep (4 cycles more). Contract with the peripherals: bus.ts.
 */
import { assert } from '../../../sim/kernel/assert.ts';
import type { Bus, CorePort } from './bus.ts';
import { type Access, accessOf, carryOut, pushPc, type Surroundings } from './careful.ts';
import type { Chip } from './chips.ts';
import { decode, hookTable } from './decode.ts';
import { addFinding, type Finding } from './finding.ts';
import type { Image } from './image/image.ts';
import { interpret } from './interpreter.ts';
import { noLoops, patchLoops, SPARE_WORDS } from './loops.ts';
import { AT, createMachine, type Machine, MEMORY_BYTES, packedSreg, resetState } from './machine.ts';

/** Longest window without an event, so that `left` stays a small integer. */
const WINDOW_CYCLES = 2 ** 30;

export interface Core {
  readonly chip: Chip;
  /** The data space as the bus sees it; SPL, SPH and SREG are in `registers()`. */
  readonly data: Uint8Array;
  readonly findings: readonly Readonly<Finding>[];
  /** Cycles since the start. */
  cycle(): number;
  /** Byte address of the next instruction, stack pointer and status register. */
  registers(): { readonly pc: number; readonly sp: number; readonly sreg: number };
  /** Lowest address that the stack has reached since the reset. */
  lowestStack(): number;
  isAsleep(): boolean;
  /** Runs until the first instruction boundary at or after `cycle`. A sleeping core stops there exactly. */
  run(cycle: number): void;
  snapshot(): CoreSnapshot;
  /** Writes the core's part of a snapshot, its findings aside, over an older one. */
  keep(into: Pick<CoreSnapshot, 'data' | 'state' | 'clock'>): void;
  restore(snapshot: CoreSnapshot): void;
}

export interface CoreSnapshot {
  readonly data: Uint8Array;
  readonly state: Int32Array;
  readonly clock: Clock;
  readonly findings: readonly Readonly<Finding>[];
  readonly bus: unknown;
}

/** Carries out plain instructions: returns 0 when `left` is used up, 1 where the next one needs the careful path. */
export type Engine = () => 0 | 1;

/** A faster way than the interpreter to carry out plain instructions, with the interpreter at hand for the rest. */
export interface EngineKind {
  /** Longest window, in cycles. */
  readonly windowCycles: number;
  createBuffer(): ArrayBuffer;
  start(machine: Machine, image: Image, interpretRest: Engine, access: Access): Engine;
}

export interface CoreOptions {
  readonly chip: Chip;
  readonly image: Image;
  readonly bus: Bus;
  /** Leap over loops that only pass the time. On unless said otherwise; the outcome is the same. */
  readonly leaps?: boolean;
  readonly engine?: EngineKind;
}

/**
 * Times in cycles, as places in an array of float64. The present is `horizon` minus the machine's `left`; `cameOn` is when
 * I last came on, since no interrupt is taken at that very instant; `halted` is 1 where an event has ended the run.
 */
const CLOCK = { horizon: 0, nextEvent: 1, cameOn: 2, wakeCycles: 3, halted: 4 } as const;
type Clock = Float64Array;

/** A core with `image` in its flash, at the instant of its first reset. */
export function createCore({ chip, image, bus, leaps = true, engine: kind }: CoreOptions): Core {
  const program = decode(chip, image.flash, image.given, SPARE_WORDS);
  const loops = leaps ? patchLoops(program) : noLoops();
  const machine = createMachine(chip, program, kind?.createBuffer() ?? new ArrayBuffer(MEMORY_BYTES));
  const interpreter: Engine = () => interpret(machine, loops);
  const clock: Clock = new Float64Array(5);
  const findings: Finding[] = [];
  const { data, state } = machine;
  const memory = data.subarray(0, chip.sramEnd + 1);
  const port = portOf(machine, clock);
  const around = surroundingsOf(machine, clock, bus, findings, image);
  const engine = kind?.start(machine, image, interpreter, accessOf(machine, around)) ?? interpreter;
  bus.attach(port);
  takeReset(machine, clock, bus);
  return {
    chip,
    data,
    findings,
    cycle: port.now,
    registers: () => ({ pc: state[AT.pc]! * 2, sp: state[AT.sp]!, sreg: packedSreg(state) }),
    lowestStack: () => state[AT.lowest]!,
    isAsleep: () => state[AT.asleep] === 1,
    run: (cycle) =>
      runUntil(cycle, machine, clock, around, { engine, windowCycles: kind?.windowCycles ?? WINDOW_CYCLES }),
    snapshot: () => ({
      data: memory.slice(),
      state: state.slice(),
      clock: clock.slice(),
      findings: findings.map((finding) => ({ ...finding })),
      bus: bus.snapshot(),
    }),
    keep(into) {
      into.data.set(memory);
      into.state.set(state);
      into.clock.set(clock);
    },
    restore(snapshot) {
      data.set(snapshot.data);
      state.set(snapshot.state);
      clock.set(snapshot.clock);
      findings.splice(0, findings.length, ...snapshot.findings.map((finding) => ({ ...finding })));
      bus.restore(snapshot.bus);
    },
  };
}

function runUntil(
  until: number,
  machine: Machine,
  clock: Clock,
  around: Surroundings,
  { engine, windowCycles }: { engine: Engine; windowCycles: number },
): void {
  const { state } = machine;
  const { bus } = around;
  for (;;) {
    if (state[AT.resetAsked] === 1) takeReset(machine, clock, bus);
    const at = clock[CLOCK.horizon]! - state[AT.left]!;
    if (clock[CLOCK.nextEvent]! <= at) {
      const due = clock[CLOCK.nextEvent]!;
      clock[CLOCK.nextEvent] = Number.POSITIVE_INFINITY;
      bus.event(due);
      if (clock[CLOCK.halted] === 1) {
        clock[CLOCK.halted] = 0;
        return;
      }
      if (!(clock[CLOCK.nextEvent]! > due))
        assert(false, 'the bus asked to be woken at an instant that is past', { due });
      continue;
    }
    if (at >= until) return;
    const isInterrupted = state[AT.pending]! !== 0 && state[AT.i] === 1;
    if (state[AT.asleep] === 1) {
      if (isInterrupted) wake(machine, clock, bus);
      else openWindow(state, clock, at, Math.min(clock[CLOCK.nextEvent]!, until) - at, true);
      continue;
    }
    if (isInterrupted && clock[CLOCK.cameOn]! !== at) {
      enterInterrupt(machine, around);
      continue;
    }
    const room = Math.min(clock[CLOCK.nextEvent]!, until) - at;
    openWindow(state, clock, at, isInterrupted ? 1 : Math.min(room, windowCycles), false);
    while (state[AT.left]! > 0 && engine() === 1) carryOut(machine, around);
  }
}

/** Sets `left` for the next `cycles`; a core that sleeps through them is at their end at once. */
function openWindow(state: Int32Array, clock: Clock, at: number, cycles: number, isOver: boolean): void {
  clock[CLOCK.horizon] = at + cycles;
  state[AT.left] = isOver ? 0 : cycles;
}

/** Ends the window at the present, so that interrupts and resets are looked at before the next instruction. */
function closeWindow(state: Int32Array, clock: Clock): void {
  clock[CLOCK.horizon]! -= state[AT.left]!;
  state[AT.left] = 0;
}

function takeReset(machine: Machine, clock: Clock, bus: Bus): void {
  resetState(machine);
  clock[CLOCK.cameOn] = -1;
  clock[CLOCK.nextEvent] = Number.POSITIVE_INFINITY;
  bus.resetRegisters();
}

function wake({ state }: Machine, clock: Clock, bus: Bus): void {
  // No clock runs before the oscillator is steady (8161D section 9.5).
  state[AT.left]! -= clock[CLOCK.wakeCycles]!;
  bus.woken();
  state[AT.asleep] = 0;
  state[AT.left]! -= 4;
}

function enterInterrupt(machine: Machine, around: Surroundings): void {
  const { state, chip } = machine;
  const vector = 31 - Math.clz32(state[AT.pending]! & -state[AT.pending]!);
  state[AT.pending]! &= ~(1 << vector);
  around.bus.acknowledge(vector);
  pushPc(machine, around, state[AT.pc]!);
  state[AT.i] = 0;
  state[AT.pc] = vector * chip.vectorWords;
  state[AT.left]! -= 4;
}

function portOf({ data, quiet, state }: Machine, clock: Clock): CorePort {
  return {
    data,
    quiet,
    now: () => clock[CLOCK.horizon]! - state[AT.left]!,
    wakeAt(cycle) {
      clock[CLOCK.nextEvent] = cycle;
      if (cycle >= clock[CLOCK.horizon]!) return;
      state[AT.left]! -= clock[CLOCK.horizon]! - cycle;
      clock[CLOCK.horizon] = cycle;
    },
    pend(vector) {
      state[AT.pending]! |= 1 << vector;
      if (state[AT.i] === 1) closeWindow(state, clock);
    },
    unpend(vector) {
      state[AT.pending]! &= ~(1 << vector);
    },
    reset() {
      state[AT.resetAsked] = 1;
      closeWindow(state, clock);
    },
    halt() {
      clock[CLOCK.halted] = 1;
    },
  };
}

function surroundingsOf(machine: Machine, clock: Clock, bus: Bus, findings: Finding[], image: Image): Surroundings {
  const { chip, data, state } = machine;
  const now = (): number => clock[CLOCK.horizon]! - state[AT.left]!;
  const variablesEnd = endOfVariables(image, chip);
  // The allocator of the C library keeps the end of the heap here.
  const heapEnd = image.symbols.find((symbol) => symbol.name === '__brkval' && symbol.memory === 'data')?.address;
  return {
    bus,
    hooks: hookTable(chip),
    report: (kind, address) => addFinding(findings, kind, now(), state[AT.pc]! * 2, address),
    stackFloor: () =>
      heapEnd === undefined ? variablesEnd : Math.max(variablesEnd, data[heapEnd]! | (data[heapEnd + 1]! << 8)),
    interruptsCameOn() {
      clock[CLOCK.cameOn] = now();
      if (state[AT.pending]! !== 0) closeWindow(state, clock);
    },
    fallAsleep() {
      const { address, enableMask, modeShift, modeMask } = chip.sleep;
      if ((data[address]! & enableMask) === 0) return;
      state[AT.asleep] = 1;
      clock[CLOCK.wakeCycles] = bus.sleep((data[address]! >> modeShift) & modeMask);
      closeWindow(state, clock);
    },
  };
}

/** The first address after all variables that the image names; without names, the start of the SRAM. */
function endOfVariables(image: Image, chip: Chip): number {
  let end = chip.sramStart;
  for (const symbol of image.symbols) {
    const isHere = symbol.memory === 'data' && symbol.address >= chip.sramStart && symbol.address <= chip.sramEnd;
    if (isHere && (symbol.kind === 'object' || symbol.name === '_end' || symbol.name === '__bss_end'))
      end = Math.max(end, symbol.address + symbol.bytes);
  }
  return end;
}
