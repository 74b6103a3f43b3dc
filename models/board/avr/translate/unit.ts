/**
 * One unit of translated code: a WebAssembly function over some blocks of a program.
 *
 * The function takes the number of the block to begin with. Each block first sees whether its cycles fit what is left of
 * the window, and leaves if not: no event can then come inside a block, and the interpreter runs the rest up to the
 * event. It returns AGAIN when `pc` is to be looked up anew, LEAVE when the host has to carry on.
 *
 * Registers are kept in locals: in a small program throughout, in a large one within a block or within an innermost
 * loop, and in memory between. Loops that only wait are leapt over as in loops.ts, under the same proof.
 */
import type { Program } from '../decode.ts';
import { effectsAt } from '../effects.ts';
import { counterAt, idleHead } from '../loops.ts';
import { AT, ENTRY_BASE, STATE_BASE } from '../machine.ts';
import { FIRST_CAREFUL, OP } from '../op.ts';
import { cyclesOf } from '../timing.ts';
import type { Block } from './blocks.ts';
import { type Budget, budgetOf } from './budget.ts';
import { emitCondition, emitInstruction, FIRST_WAIT_LOCAL, LOCAL, leaveIf, type Site } from './instruction.ts';
import { type Region, regionsOf } from './regions.ts';
import { type Code, code as newCode, WASM } from './wasm-bytes.ts';

export const AGAIN = 0;
export const LEAVE = 1;
export const UNKNOWN = 2;

export interface UnitPlan {
  readonly program: Program;
  readonly ramStart: number;
  readonly ramEnd: number;
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
  /** The block sees to that itself. */
  readonly looks: boolean;
}

export interface Unit {
  readonly body: Code;
  readonly locals: number;
  readonly entries: readonly Entry[];
}

const L = LOCAL;
const WAIT_LIMIT = 24;
const SAVED = [
  ['left', L.left],
  ['sp', L.sp],
  ['c', L.c],
  ['z', L.z],
  ['n', L.n],
  ['v', L.v],
  ['s', L.s],
  ['h', L.h],
  ['t', L.t],
] as const;

/** A loop that is open while its blocks are emitted. */
interface Scope {
  readonly region: Region;
  readonly label: number;
  /** First block of each item (block or inner loop), and the label that leads to it. */
  readonly items: readonly { readonly first: number; readonly last: number; readonly inner: Region | undefined }[];
  readonly labels: number[];
  at: number;
}

/** Emits the function of a unit. */
export function emitUnit(plan: UnitPlan): Unit {
  const { program, blocks } = plan;
  const code = newCode();
  const indexOf = new Map(blocks.map((block, index) => [block.start, index] as const));
  const next = blocks.map((block) =>
    [...block.next, ...(block.calls >= 0 ? [block.calls] : [])]
      .map((pc) => indexOf.get(pc))
      .filter((index) => index !== undefined),
  );
  const root = regionsOf(
    blocks.length,
    (block) => next[block]!,
    (block) => plan.entered.has(blocks[block]!.start),
  );
  const used = plan.keepsRegisters ? usedBy(program, blocks) : 0;
  const budget = budgetOf(blocks, next, (block) => plan.entered.has(blocks[block]!.start));
  const emitter = emitterOf(plan, code, indexOf, used, budget);

  const exit = code.open(WASM.block);
  emitter.begin(exit);
  for (const [name, local] of SAVED)
    code
      .int(0)
      .load(STATE_BASE + 4 * AT[name])
      .set(local);
  code
    .int(0)
    .load(STATE_BASE + 4 * AT.lowest)
    .set(L.lowest);
  eachRegister(used, (register) =>
    code
      .int(0)
      .load8(register)
      .set(L.register0 + register),
  );
  emitter.region(root);
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
  eachRegister(used, (register) =>
    code
      .int(0)
      .get(L.register0 + register)
      .store8(register),
  );
  code.get(L.status);

  return { body: code, locals: FIRST_WAIT_LOCAL - 1 + WAIT_LIMIT, entries: entriesOf(root, blocks, budget) };
}

/** Every block but those inside loops without a choice, which are entered at their first block only. */
function entriesOf(root: Region, blocks: readonly Block[], { needed, looks }: Budget): Entry[] {
  const isHidden = new Uint8Array(blocks.length);
  const visit = (region: Region): void => {
    if (!region.hasChoice) isHidden.fill(1, region.first + 1, region.last + 1);
    region.inner.forEach(visit);
  };
  visit(root);
  return blocks
    .map((block, index) => ({ pc: block.start, block: index, needed: needed[index]!, looks: looks[index] === 1 }))
    .filter(({ block }) => isHidden[block] === 0);
}

function usedBy(program: Program, blocks: readonly Block[]): number {
  let used = 0;
  for (const block of blocks) {
    for (const pc of block.at) {
      const effects = effectsAt(program, pc);
      used |= effects.reads | effects.writes;
    }
  }
  return used;
}

function writtenBy(program: Program, blocks: readonly Block[]): number {
  let written = 0;
  for (const block of blocks)
    for (const pc of block.at)
      written |=
        effectsAt(program, pc).writes |
        (counterAt(program, pc)?.registers.reduce((set, one) => set | (1 << one), 0) ?? 0);
  return written;
}

function eachRegister(set: number, visit: (register: number) => void): void {
  for (let register = 0; register < 32; register++) if (((set >>> register) & 1) === 1) visit(register);
}

function emitterOf(
  plan: UnitPlan,
  code: Code,
  indexOf: ReadonlyMap<number, number>,
  used: number,
  budget: Budget,
): { begin(exit: number): void; region(region: Region): void } {
  const { program, blocks } = plan;
  const scopes: Scope[] = [];
  /** Where leaving goes: the function's exit, or that of the loop which keeps registers. */
  let exit = 0;
  let functionExit = 0;
  /** Registers that a loop keeps in locals, and those of them that it changes. */
  let kept = used;
  let changed = 0;
  /** What a block has of the other registers: 0 nothing, 1 as in memory, 2 newer than memory. */
  const held = new Uint8Array(32);
  let spent = 0;
  let cycles = 0;
  const waits = new Map<number, { local: number; cycles: number }>();
  for (const block of blocks) {
    for (const pc of block.at) {
      const head = idleHead(program, pc);
      if (head !== undefined && waits.size < WAIT_LIMIT && indexOf.has(head.pc))
        waits.set(head.pc, { local: FIRST_WAIT_LOCAL + waits.size, cycles: head.cycles });
    }
  }

  const isKept = (register: number): boolean => ((kept >>> register) & 1) === 1;
  const storeHeld = (): void => {
    for (let register = 0; register < 32; register++)
      if (held[register] === 2)
        code
          .int(0)
          .get(L.register0 + register)
          .store8(register);
  };
  const storeChanged = (): void =>
    eachRegister(changed, (register) =>
      code
        .int(0)
        .get(L.register0 + register)
        .store8(register),
    );
  const leave = (pc: number, status: number): void => {
    code.int(pc).set(L.exitPc).int(status).set(L.status).br(exit);
  };
  const site: Site = {
    code,
    program,
    ramStart: plan.ramStart,
    ramEnd: plan.ramEnd,
    getRegister(register) {
      if (isKept(register) || held[register]! > 0) code.get(L.register0 + register);
      else {
        code
          .int(0)
          .load8(register)
          .tee(L.register0 + register);
        held[register] = 1;
      }
    },
    setRegister(register) {
      code.set(L.register0 + register);
      if (!isKept(register)) held[register] = 2;
    },
    leaveBefore(pc) {
      storeHeld();
      code
        .get(L.left)
        .int(cycles - spent)
        .op(WASM.add)
        .set(L.left);
      leave(pc, LEAVE);
    },
  };

  const settleBlock = (): void => {
    storeHeld();
    held.fill(0);
  };
  /** Jumps to the block at `pc`, which is done with this one; `isLast` where nothing else of this block follows. */
  const goTo = (pc: number, isLast: boolean): void => {
    const index = indexOf.get(pc);
    if (index === undefined) {
      leave(pc, program.op[pc]! >= FIRST_CAREFUL ? LEAVE : AGAIN);
      return;
    }
    let depth = scopes.length - 1;
    while (index < scopes[depth]!.region.first || index > scopes[depth]!.region.last) depth--;
    const scope = scopes[depth]!;
    if (depth < scopes.length - 1) storeChanged();
    const item = scope.items.findIndex((one) => index >= one.first && index <= one.last);
    const inner = scope.items[item]!.inner;
    if (item > scope.at) {
      if (inner?.hasChoice === true) code.int(index).set(L.target);
      // The next item of the same loop follows at once.
      if (!(isLast && depth === scopes.length - 1 && item === scope.at + 1)) code.br(scope.labels[item]!);
      return;
    }
    if (scope.region.hasChoice) code.int(index).set(L.target);
    code.br(scope.label);
  };
  /** Goes on at the address in `exitPc`, within the unit if it is one of its entries. */
  const goToComputed = (): void => {
    code
      .get(L.exitPc)
      .int(2)
      .op(WASM.shl)
      .load(ENTRY_BASE)
      .tee(L.y)
      .int(16)
      .op(WASM.shrU)
      .int(plan.unit + 1)
      .op(WASM.eq);
    code.open(WASM.if);
    code.get(L.y).int(0xffff).op(WASM.and).set(L.target);
    if (scopes.length > 1) storeChanged();
    code.br(scopes[0]!.label).close();
    code.int(AGAIN).set(L.status).br(exit);
  };
  const pushReturn = (pc: number, returns: number): void => {
    code.get(L.sp).get(L.lowest).op(WASM.leS).get(L.sp).int(plan.ramEnd).op(WASM.gtS, WASM.or);
    leaveIf(site, pc);
    code
      .get(L.sp)
      .int(returns & 255)
      .store8(0);
    code
      .get(L.sp)
      .int(1)
      .op(WASM.sub)
      .int(returns >> 8)
      .store8(0);
    code.get(L.sp).int(2).op(WASM.sub).set(L.sp);
  };
  const pointerZ = (): void => {
    site.getRegister(30);
    site.getRegister(31);
    code
      .int(8)
      .op(WASM.shl, WASM.or)
      .int(program.words - 1)
      .op(WASM.and)
      .set(L.exitPc);
  };
  const emitEnd = (block: Block, pc: number): void => {
    const op = program.op[pc]!;
    if (op === OP.CALL) {
      pushReturn(pc, block.resumes);
      settleBlock();
      goTo(block.calls, true);
    } else if (op === OP.IJMP || op === OP.ICALL) {
      if (op === OP.ICALL) pushReturn(pc, block.resumes);
      pointerZ();
      settleBlock();
      goToComputed();
    } else if (op === OP.RET) {
      code
        .get(L.sp)
        .int(1)
        .op(WASM.add)
        .tee(L.x)
        .int(plan.ramStart)
        .op(WASM.sub)
        .int(plan.ramEnd - plan.ramStart)
        .op(WASM.geU);
      leaveIf(site, pc);
      code
        .get(L.x)
        .load8(0)
        .int(8)
        .op(WASM.shl)
        .get(L.x)
        .load8(1)
        .op(WASM.or)
        .int(program.words - 1)
        .op(WASM.and)
        .set(L.exitPc);
      code.get(L.sp).int(2).op(WASM.add).set(L.sp);
      settleBlock();
      goToComputed();
    } else if (op === OP.JUMP) {
      settleBlock();
      goTo(block.next[0]!, true);
    } else if (op >= OP.BRCS && op <= OP.SBIS) {
      emitCondition(site, pc);
      // Storing what is held does not disturb the condition on the stack.
      settleBlock();
      const isBranch = op <= OP.BRID;
      const taken = isBranch ? block.next[0]! : block.next[1]!;
      const straight = isBranch ? block.next[1]! : block.next[0]!;
      const more = isBranch ? 1 : op >= OP.SBIC ? program.b[pc]! : program.k[pc]!;
      code.open(WASM.if);
      code.get(L.left).int(more).op(WASM.sub).set(L.left);
      emitCountLeap(pc);
      goTo(taken, false);
      code.close();
      goTo(straight, true);
    } else {
      emitInstruction(site, pc);
      settleBlock();
      goTo(block.end, true);
    }
  };
  /** As `leapCount` in loops.ts. */
  const emitCountLeap = (pc: number): void => {
    const counter = counterAt(program, pc);
    if (counter === undefined) return;
    code
      .get(L.left)
      .int(2 * counter.cycles)
      .op(WASM.gtS)
      .open(WASM.if);
    code.int(0);
    counter.registers.forEach((register, at) => {
      site.getRegister(register);
      code.int(8 * at).op(WASM.shl, WASM.or);
    });
    code.set(L.x);
    // y = min(passes - 1, (left - 1) / cycles - 1), unsigned: a counter of 0 has 2^n passes, which the sum leaves out.
    code.get(L.left).int(1).op(WASM.sub).int(counter.cycles).op(WASM.divS).int(1).op(WASM.sub).set(L.y);
    code.get(L.x).open(WASM.if);
    code.get(L.x).int(1).op(WASM.sub).get(L.y).op(WASM.ltU).open(WASM.if);
    code.get(L.x).int(1).op(WASM.sub).set(L.y).close();
    code.get(L.x).get(L.y).op(WASM.sub).set(L.x);
    counter.registers.forEach((register, at) => {
      code
        .get(L.x)
        .int(8 * at)
        .op(WASM.shrU)
        .int(255)
        .op(WASM.and);
      site.setRegister(register);
    });
    code.get(L.left).get(L.y).int(counter.cycles).op(WASM.mul, WASM.sub).set(L.left);
    settleBlock();
    code.close().close();
    held.fill(0);
  };
  const emitBlock = (index: number): void => {
    const block = blocks[index]!;
    const wait = waits.get(block.start);
    if (wait !== undefined) {
      code
        .get(wait.local)
        .get(L.left)
        .op(WASM.sub)
        .int(wait.cycles)
        .op(WASM.eq)
        .get(L.left)
        .int(wait.cycles)
        .op(WASM.gtS, WASM.and)
        .open(WASM.if);
      code
        .get(L.left)
        .get(L.left)
        .int(1)
        .op(WASM.sub)
        .int(wait.cycles)
        .op(WASM.divS)
        .int(wait.cycles)
        .op(WASM.mul, WASM.sub)
        .set(L.left)
        .close();
      code.get(L.left).set(wait.local);
    }
    if (budget.looks[index] === 1) {
      code.get(L.left).int(budget.needed[index]!).op(WASM.ltS).open(WASM.if);
      leave(block.start, LEAVE);
      code.close();
    }
    code.get(L.left).int(block.cycles).op(WASM.sub).set(L.left);
    held.fill(0);
    cycles = block.cycles;
    spent = 0;
    const last = block.at.length - 1;
    block.at.forEach((pc, at) => {
      if (at === last) emitEnd(block, pc);
      else emitInstruction(site, pc);
      spent += cyclesOf(program, pc);
    });
  };

  const emitRegion = (region: Region): void => {
    const items = itemsOf(region);
    const isKeeping =
      !plan.keepsRegisters &&
      scopes.length > 0 &&
      region.inner.length === 0 &&
      blocks.slice(region.first, region.last + 1).every((block) => block.resumes < 0);
    let leaving = 0;
    if (isKeeping) {
      const own = blocks.slice(region.first, region.last + 1);
      leaving = code.open(WASM.block);
      exit = leaving;
      kept = usedBy(program, own) | writtenBy(program, own);
      changed = writtenBy(program, own);
      eachRegister(kept, (register) =>
        code
          .int(0)
          .load8(register)
          .set(L.register0 + register),
      );
    }
    const scope: Scope = {
      region,
      label: code.open(WASM.loop),
      items,
      labels: new Array<number>(items.length).fill(0),
      at: -1,
    };
    for (let item = items.length - 1; item >= (region.hasChoice ? 0 : 1); item--)
      scope.labels[item] = code.open(WASM.block);
    scopes.push(scope);
    if (region.hasChoice) emitChoice(scope);
    items.forEach((item, at) => {
      if (at > 0 || region.hasChoice) code.close();
      scope.at = at;
      if (item.inner !== undefined) emitRegion(item.inner);
      else emitBlock(item.first);
    });
    scopes.pop();
    // Every block ends in a jump, so nothing comes past the end.
    code.op(0x00).close();
    if (!isKeeping) return;
    code.op(0x00).close();
    storeChanged();
    code.br(functionExit);
    exit = functionExit;
    kept = used;
    changed = 0;
  };
  const emitChoice = (scope: Scope): void => {
    const { region, items, labels } = scope;
    const table: number[] = [];
    items.forEach((item, at) => {
      for (let block = item.first; block <= item.last; block++) table.push(labels[at]!);
    });
    code
      .get(L.target)
      .int(region.first)
      .op(WASM.sub)
      .brTable([...table, labels[0]!]);
  };
  return {
    begin(label) {
      functionExit = label;
      exit = label;
    },
    region: emitRegion,
  };
}

function itemsOf(region: Region): { first: number; last: number; inner: Region | undefined }[] {
  const items: { first: number; last: number; inner: Region | undefined }[] = [];
  let inner = 0;
  for (let block = region.first; block <= region.last; ) {
    const loop = region.inner[inner];
    if (loop !== undefined && loop.first === block) {
      inner++;
      // A loop that is the whole of another is the same loop.
      items.push({ first: block, last: loop.last, inner: loop });
      block = loop.last + 1;
    } else {
      items.push({ first: block, last: block, inner: undefined });
      block++;
    }
  }
  return items;
}
