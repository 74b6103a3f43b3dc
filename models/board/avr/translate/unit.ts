/**
 * One unit of translated code: a WebAssembly function over some blocks of a program.
 *
 * The function takes the number of the block to begin with. Before a block begins, its cycles are known to fit what is
 * left of the window: no event can come inside it, and the interpreter runs the rest up to the event. It returns AGAIN
 * when `pc` is to be looked up anew, LEAVE when the host has to carry on.
 *
 * Registers are kept in locals: in a small program throughout, in a large one within a block or within an innermost
 * loop, and in memory between. Loops that only wait are leapt over as in loops.ts, under the same proof.
 */
import type { Program } from '../decode.ts';
import { AT, STATE_BASE } from '../machine.ts';
import { type Block, callsBus } from './blocks.ts';
import { type Budget, budgetOf } from './budget.ts';
import { emitRegion } from './emit-region.ts';
import { eachRegister, emitterOf, usedBy, WAIT_LIMIT } from './emitter.ts';
import { FIRST_WAIT_LOCAL, LOCAL as L } from './instruction.ts';
import { type Region, regionsOf } from './regions.ts';
import { type Code, code as newCode, WASM } from './wasm-bytes.ts';

export interface UnitPlan {
  readonly program: Program;
  readonly ramStart: number;
  readonly ramEnd: number;
  readonly outputs: readonly number[];
  /** Number of the unit, from 0. */
  readonly unit: number;
  /** Its blocks in the order of addresses. */
  readonly blocks: readonly Block[];
  /** Blocks entered from outside, by address. */
  readonly entered: ReadonlySet<number>;
  readonly keepsRegisters: boolean;
}

/** An address at which the function may be begun. */
export interface Entry {
  readonly pc: number;
  readonly block: number;
  /** Cycles that must be left. */
  readonly needed: number;
}

export interface Unit {
  readonly body: Code;
  readonly locals: number;
  readonly entries: readonly Entry[];
}

// biome-ignore format: stack code reads along the line
const SAVED = [['left', L.left], ['sp', L.sp], ['c', L.c], ['z', L.z], ['n', L.n], ['v', L.v], ['s', L.s], ['h', L.h], ['t', L.t]] as const;

/** Emits the function of a unit. */
export function emitUnit(plan: UnitPlan): Unit {
  const { blocks } = plan;
  const code = newCode();
  const indexOf = new Map(blocks.map((block, index) => [block.start, index] as const));
  const next = blocks.map((block) =>
    [...block.next, block.calls].map((pc) => indexOf.get(pc)).filter((index) => index !== undefined),
  );
  const isEntered = (block: number): boolean => plan.entered.has(blocks[block]!.start);
  const root = regionsOf(blocks.length, (block) => next[block]!, isEntered);
  const budget = budgetOf(blocks, next, isEntered, (block) => callsBus(plan.program, blocks[block]!.at.at(-1)!));
  const kept = plan.keepsRegisters ? usedBy(plan.program, blocks) : 0;

  const exit = code.open(WASM.block);
  for (const [name, local] of SAVED)
    code
      .int(0)
      .load(STATE_BASE + 4 * AT[name])
      .set(local);
  code
    .int(0)
    .load(STATE_BASE + 4 * AT.lowest)
    .set(L.lowest);
  eachRegister(kept, (register) =>
    code
      .int(0)
      .load8(register)
      .set(L.register0 + register),
  );
  emitRegion(emitterOf(plan, code, indexOf, budget, exit, kept), root);
  code.close();
  for (const [name, local] of SAVED)
    code
      .int(0)
      .get(local)
      .store(STATE_BASE + 4 * AT[name]);
  code
    .int(0)
    .get(L.exitPc)
    .store(STATE_BASE + 4 * AT.pc);
  eachRegister(kept, (register) =>
    code
      .int(0)
      .get(L.register0 + register)
      .store8(register),
  );
  code.get(L.status);
  return { body: code, locals: FIRST_WAIT_LOCAL - 1 + WAIT_LIMIT, entries: entriesOf(root, blocks, budget) };
}

/** Every block but those inside loops without a choice, which are entered at their first block only. */
function entriesOf(root: Region, blocks: readonly Block[], { needed }: Budget): Entry[] {
  const isHidden = new Uint8Array(blocks.length);
  const visit = (region: Region): void => {
    if (!region.hasChoice) isHidden.fill(1, region.first + 1, region.last + 1);
    region.inner.forEach(visit);
  };
  visit(root);
  return blocks
    .map((block, index) => ({ pc: block.start, block: index, needed: needed[index]! }))
    .filter(({ block }) => isHidden[block] === 0);
}
