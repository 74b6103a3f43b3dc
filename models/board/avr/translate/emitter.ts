/**
 * What is known while a unit's function is emitted, and the ways out of a block: to another block, to an address worked
 * out while running, or out of the function.
 */
import type { Program } from '../decode.ts';
import { effectsAt } from '../effects.ts';
import { counterAt, idleHead } from '../loops.ts';
import { ENTRY_BASE, NEEDED_BASE } from '../machine.ts';
import { type Block, needsHost } from './blocks.ts';
import type { Budget } from './budget.ts';
import { FIRST_WAIT_LOCAL, LOCAL, type Site } from './instruction.ts';
import type { Region } from './regions.ts';
import type { UnitPlan } from './unit.ts';
import { type Code, WASM } from './wasm-bytes.ts';

/** What a unit's function returns: look up `pc` anew; let the host carry on; no code for `pc`. */
export const AGAIN = 0;
export const LEAVE = 1;
export const UNKNOWN = 2;

/** Loops that only wait have a local each, up to this many. */
export const WAIT_LIMIT = 24;

export interface Item {
  readonly first: number;
  readonly last: number;
  readonly inner: Region | undefined;
}

/** A loop that is open while its blocks are emitted. */
export interface Scope {
  readonly region: Region;
  readonly label: number;
  readonly items: readonly Item[];
  /** Label before each item's code, and the item that is being emitted. */
  readonly labels: number[];
  at: number;
}

export interface Emitter {
  readonly plan: UnitPlan;
  readonly code: Code;
  readonly budget: Budget;
  readonly indexOf: ReadonlyMap<number, number>;
  readonly site: Site;
  readonly scopes: Scope[];
  /** Where leaving goes: the function's exit, or that of the loop which keeps registers. */
  exit: number;
  /** Registers that are kept in locals here, and those of them to be stored when the loop that keeps them is left. */
  kept: number;
  changed: number;
  /** What the block holds of the other registers: 0 nothing, 1 as in memory, 2 newer than memory. */
  readonly held: Uint8Array;
  /** Cycles of the block, all taken at its start, and those of its instructions emitted so far. */
  cycles: number;
  spent: number;
  /** Waiting loops by the address of their head. */
  readonly waits: ReadonlyMap<number, { readonly local: number; readonly cycles: number }>;
}

// biome-ignore format: stack code reads along the line
export function emitterOf(plan: UnitPlan, code: Code, indexOf: ReadonlyMap<number, number>, budget: Budget, exit: number, kept: number): Emitter {
  const emitter: Emitter = {
    plan,
    code,
    budget,
    indexOf,
    site: {
      code,
      program: plan.program,
      ramStart: plan.ramStart,
      ramEnd: plan.ramEnd,
      getRegister: (register) => getRegister(emitter, register),
      setRegister(register) {
        code.set(LOCAL.register0 + register);
        if (!isKept(emitter, register)) emitter.held[register] = 2;
      },
      leaveBefore(pc) {
        storeHeld(emitter);
        code.get(LOCAL.left).int(emitter.cycles - emitter.spent).op(WASM.add).set(LOCAL.left);
        leave(emitter, pc, LEAVE);
      },
    },
    scopes: [],
    exit,
    kept,
    changed: 0,
    held: new Uint8Array(32),
    cycles: 0,
    spent: 0,
    waits: waitsOf(plan, indexOf),
  };
  return emitter;
}

/** Leaves the function with `pc` as the next instruction. */
// biome-ignore format: stack code reads along the line
export function leave({ code, exit }: Emitter, pc: number, status: number): void {
  code.int(pc).set(LOCAL.exitPc).int(status).set(LOCAL.status).br(exit);
}

/** Puts the block's registers into memory and forgets them, as its code ends here. */
export function settleBlock(emitter: Emitter): void {
  storeHeld(emitter);
  emitter.held.fill(0);
}

/** Jumps to the block at `pc`, the present one being settled. `isLast` where no code of the present block follows. */
export function goTo(emitter: Emitter, pc: number, isLast: boolean): void {
  const { code, scopes } = emitter;
  const index = emitter.indexOf.get(pc);
  if (index === undefined) {
    leave(emitter, pc, needsHost(emitter.plan.program, pc) ? LEAVE : AGAIN);
    return;
  }
  if (looksBefore(emitter, index)) emitLook(emitter, index);
  let depth = scopes.length - 1;
  while (index < scopes[depth]!.region.first || index > scopes[depth]!.region.last) depth--;
  const scope = scopes[depth]!;
  const isInner = depth === scopes.length - 1;
  if (!isInner) storeChanged(emitter);
  const item = scope.items.findIndex((one) => index >= one.first && index <= one.last);
  if (item > scope.at) {
    if (scope.items[item]!.inner?.hasChoice === true) code.int(index).set(LOCAL.target);
    // The next item of the same loop follows at once.
    if (!(isLast && isInner && item === scope.at + 1)) code.br(scope.labels[item]!);
    return;
  }
  if (scope.region.hasChoice) code.int(index).set(LOCAL.target);
  code.br(scope.label);
}

/** Whether jumps to a block look at the window; at the head of a waiting loop the block does, once it has leapt. */
function looksBefore({ budget, plan, waits }: Emitter, index: number): boolean {
  return budget.looks[index] === 1 && !waits.has(plan.blocks[index]!.start);
}

/** Leaves before a block that does not fit into the window. */
function emitLook(emitter: Emitter, index: number): void {
  const { code, budget, plan } = emitter;
  code.get(LOCAL.left).int(budget.needed[index]!).op(WASM.ltS).open(WASM.if);
  leave(emitter, plan.blocks[index]!.start, LEAVE);
  code.close();
}

/** Goes on at the address in `exitPc`: within the unit if it is one of its entries and fits, or else by way of the driver. */
// biome-ignore format: stack code reads along the line
export function goToComputed(emitter: Emitter): void {
  const { code, scopes } = emitter;
  code.get(LOCAL.exitPc).int(2).op(WASM.shl).load(ENTRY_BASE).tee(LOCAL.y).int(16).op(WASM.shrU);
  code.int(emitter.plan.unit + 1).op(WASM.eq);
  code.get(LOCAL.left).get(LOCAL.exitPc).int(2).op(WASM.shl).load(NEEDED_BASE).op(WASM.geS, WASM.and).open(WASM.if);
  code.get(LOCAL.y).int(0xffff).op(WASM.and).set(LOCAL.target);
  if (scopes.length > 1) storeChanged(emitter);
  code.br(scopes[0]!.label).close();
  code.int(AGAIN).set(LOCAL.status).br(emitter.exit);
}

export function storeChanged({ code, changed }: Emitter): void {
  eachRegister(changed, (register) =>
    code
      .int(0)
      .get(LOCAL.register0 + register)
      .store8(register),
  );
}

export function eachRegister(set: number, visit: (register: number) => void): void {
  for (let register = 0; register < 32; register++) if (((set >>> register) & 1) === 1) visit(register);
}

/** Registers that the blocks read or write. */
export function usedBy(program: Program, blocks: readonly Block[]): number {
  let used = 0;
  for (const block of blocks) for (const pc of block.at) used |= effectsAt(program, pc).reads;
  return used | writtenBy(program, blocks);
}

export function writtenBy(program: Program, blocks: readonly Block[]): number {
  let written = 0;
  for (const block of blocks) {
    for (const pc of block.at) {
      written |= effectsAt(program, pc).writes;
      for (const register of counterAt(program, pc)?.registers ?? []) written |= 1 << register;
    }
  }
  return written;
}

function getRegister(emitter: Emitter, register: number): void {
  const { code, held } = emitter;
  if (isKept(emitter, register) || held[register]! > 0) code.get(LOCAL.register0 + register);
  else {
    code
      .int(0)
      .load8(register)
      .tee(LOCAL.register0 + register);
    held[register] = 1;
  }
}

function isKept({ kept }: Emitter, register: number): boolean {
  return ((kept >>> register) & 1) === 1;
}

export function storeHeld({ code, held }: Emitter): void {
  for (let register = 0; register < 32; register++) {
    if (held[register] === 2)
      code
        .int(0)
        .get(LOCAL.register0 + register)
        .store8(register);
  }
}

function waitsOf(
  { program, blocks }: UnitPlan,
  indexOf: ReadonlyMap<number, number>,
): Map<number, { local: number; cycles: number }> {
  const waits = new Map<number, { local: number; cycles: number }>();
  for (const block of blocks) {
    const head = idleHead(program, block.at[block.at.length - 1]!);
    if (head === undefined || waits.size >= WAIT_LIMIT || waits.has(head.pc) || !indexOf.has(head.pc)) continue;
    waits.set(head.pc, { local: FIRST_WAIT_LOCAL + waits.size, cycles: head.cycles });
  }
  return waits;
}
