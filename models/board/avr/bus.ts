/**
 * The contract between the core and the peripherals around it. Whoever writes a timer, a converter or a port needs this
 * file only.
 *
 * Time. Cycles of the CPU clock since the core was made, as an integer in a float64. `port.now()` is the start of the
 * present instruction in `read`, `write` and `writeBit`, and an instant between instructions elsewhere.
 *
 * Events. The bus keeps its own agenda and tells the core one number: the cycle of its next event,
 * `port.wakeAt(cycle)`, at any time, replacing what it said before (Infinity for none). At the first instruction
 * boundary at or after that cycle the core forgets the number and calls `event(cycle)` with it; the bus does what is due *as of
 * that cycle* (`port.now()` may be a few cycles later: an instruction is never cut) and says the next number, which must
 * be greater. An event that comes due while an instruction runs is thus seen by the instruction after it. An event that must
 * wait for the world outside says its own cycle again and calls `halt()`: the run ends there, and comes to it when it is run on.
 *
 * Registers. All I/O registers are bytes of `port.data` at their data address. Those that only events change (a busy
 * bit, a ready flag, the level of a pin) are plain memory which the bus sets in `event`: programs wait for them at full
 * speed. `chip.hookedReads` lists those whose value depends on the instant or whose load has an effect (a running
 * counter, a data register that empties): their loads call `read`, whose result the program gets; memory is not looked
 * at. `chip.hookedWrites` lists those that do something when stored to: their stores call `write` *instead of* storing,
 * so the bus stores what the register then holds. SBI and CBI on such a register call `writeBit`: on these chips they touch the one
 * bit only, so that the other flags of a register cleared by writing ones stay as they are. LDS, LD, IN and the rest are
 * alike to the bus. A 16-bit register's shared high-byte latch is the bus's own: it sees the two accesses in their order.
 *
 * Quiet bits. Programs toggle pins that nobody listens to, pass by pass. The bus keeps, in `port.quiet` at the address of
 * a port's output register (`chip.outputs`), the bits whose change is nothing but a change of that bit there and in the
 * input register two below, and `NOTHING` if a store may change nothing unheard. A store to either register that changes no
 * other bits may then be carried out by an engine itself.
 *
 * A hook or an event may: read and set any byte of `port.data`; call `wakeAt`, `pend`, `unpend`, `reset`. It must not
 * run the core. What it sets is seen by the next instruction.
 *
 * Interrupts. The bus holds `pend(vector)` true for exactly as long as the source's flag and its enable bit are both
 * set (`unpend` when either goes). With I set the core takes the *lowest* pending number between two instructions, 4
 * cycles, then vector's address; after an instruction that sets I (SEI, RETI, a store to SREG) one more is carried out
 * first. On entry the core unpends the vector and calls `acknowledge(vector)`: there the bus clears the flag bit in memory, or
 * pends anew if the source is a level that still holds (a receive buffer that is full, a low pin).
 *
 * Sleep. SLEEP with the enable bit set calls `sleep(mode)` with the mode's bits; the bus stops the clocks that this mode
 * stops and returns the cycles that waking takes beyond the usual 4 (0 for idle). From then on time passes by events only.
 * A pending interrupt with I set wakes the core, which calls `woken()` once those cycles are over. WDR calls `watchdogReset()`.
 *
 * Reset. `port.reset()` (watchdog, brown-out, the reset pin) takes effect before the next instruction: the core clears all I/O bytes, sets SP,
 * PC and SREG, drops pending vectors, and calls `resetRegisters()` where the bus puts its registers and agenda at their
 * initial values. It is called once at the start as well.
 *
 * Snapshots. `bus.snapshot()` and `bus.restore(state)` carry whatever the bus holds beyond `port.data`.
 */
export interface Bus {
  /** Called once, before anything else. */
  attach(port: CorePort): void;
  resetRegisters(): void;
  read(address: number): number;
  write(address: number, value: number): void;
  writeBit(address: number, bit: number, isSet: boolean): void;
  event(cycle: number): void;
  acknowledge(vector: number): void;
  /** Returns the extra cycles of waking up from `mode`. */
  sleep(mode: number): number;
  woken(): void;
  watchdogReset(): void;
  snapshot(): unknown;
  restore(state: unknown): void;
}

/** Among quiet bits: that no bit changes. */
export const NOTHING = 0x100;

/** What the core gives the bus. */
export interface CorePort {
  /** The data space: registers 0..31, I/O, SRAM. SPL, SPH and SREG are not kept here. */
  readonly data: Uint8Array;
  /** By I/O address; all 0, so that the bus hears everything, unless it says more. */
  readonly quiet: Int32Array;
  now(): number;
  wakeAt(cycle: number): void;
  pend(vector: number): void;
  unpend(vector: number): void;
  reset(): void;
  /** From an event: ends the run at the present instant. */
  halt(): void;
}
