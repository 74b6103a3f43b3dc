/**
 * The code of one block: its instructions, and the ways on from its last one.
 */
import { NOTHING } from '../bus.ts';
import { counterAt } from '../loops.ts';
import { AT, QUIET_BASE, STATE_BASE } from '../machine.ts';
import { OP } from '../op.ts';
import { cyclesOf, wordsOf } from '../timing.ts';
import { type Block, callsBus, isHookedLoad, waysOf } from './blocks.ts';
import { emitWait } from './emit-wait.ts';
import { type Emitter, goTo, goToComputed, LEAVE, leave, settleBlock, storeHeld } from './emitter.ts';
import { emitCondition, emitInstruction, LOCAL as L, leaveIf } from './instruction.ts';
import { CALLED, WASM } from './wasm-bytes.ts';

const { add, ne, xor, eqz, sub, mul, divS, shl, shrU, and, or, ltU, leS, gtS, geU } = WASM;

/** Emits block number `index` of the unit. */
// biome-ignore format: stack code reads along the line
export function emitBlock(emitter: Emitter, index: number): void {
  const { code, plan, site } = emitter;
  const block = plan.blocks[index]!;
  emitWait(emitter, index);
  code.get(L.left).int(block.cycles).op(sub).set(L.left);
  emitter.held.fill(0);
  emitter.cycles = block.cycles;
  emitter.spent = 0;
  const last = block.at[block.at.length - 1]!;
  for (const pc of block.at) {
    if (pc === last) emitEnd(emitter, block, pc);
    else if (isHookedLoad(plan.program, pc)) emitHookedLoad(emitter, pc);
    else emitInstruction(site, pc);
    emitter.spent += cyclesOf(plan.program, pc);
  }
}

// biome-ignore format: stack code reads along the line
function emitEnd(emitter: Emitter, block: Block, pc: number): void {
  const { site, plan } = emitter;
  const op = plan.program.op[pc]!;
  if (op === OP.CALL) {
    pushReturn(emitter, pc, block.resumes);
    settleBlock(emitter);
    goTo(emitter, block.calls, true);
  } else if (op === OP.IJMP || op === OP.ICALL) {
    if (op === OP.ICALL) pushReturn(emitter, pc, block.resumes);
    site.getRegister(30);
    site.getRegister(31);
    emitter.code.int(8).op(shl, or).int(plan.program.words - 1).op(and).set(L.exitPc);
    settleBlock(emitter);
    goToComputed(emitter);
  } else if (op === OP.RET) {
    popReturn(emitter, pc);
    settleBlock(emitter);
    goToComputed(emitter);
  } else if (op === OP.JUMP) {
    settleBlock(emitter);
    goTo(emitter, block.next[0]!, true);
  } else if (op >= OP.BRCS && op <= OP.SBIS) emitBranch(emitter, block, pc);
  else {
    if (isHookedLoad(plan.program, pc)) emitHookedLoad(emitter, pc);
    else if (callsBus(plan.program, pc)) emitHookedStore(emitter, pc);
    else emitInstruction(site, pc);
    settleBlock(emitter);
    goTo(emitter, block.end, true);
  }
}

/** Puts `pc` and what is left at the start of its instruction where the bus looks for them. */
// biome-ignore format: stack code reads along the line
function emitPresent({ code, cycles, spent }: Emitter, pc: number): void {
  code.int(0).get(L.left).int(cycles - spent).op(add).store(STATE_BASE + 4 * AT.left);
  code.int(0).int(pc).store(STATE_BASE + 4 * AT.pc);
}

/** A load that the bus answers. If that has changed what is left of the window, the function is left after it. */
// biome-ignore format: stack code reads along the line
function emitHookedLoad(emitter: Emitter, pc: number): void {
  const { code, site, plan, cycles, spent } = emitter;
  const { op, a, k, words } = plan.program;
  emitPresent(emitter, pc);
  code.int(k[pc]!).op(WASM.call, CALLED.load);
  site.setRegister(a[pc]!);
  code.int(0).load(STATE_BASE + 4 * AT.left).tee(L.y).get(L.left).int(cycles - spent).op(add, ne).open(WASM.if);
  storeHeld(emitter);
  code.get(L.y).int(cyclesOf(plan.program, pc)).op(sub).set(L.left);
  leave(emitter, (pc + wordsOf(op[pc]!)) & (words - 1), LEAVE);
  code.close();
}

/** A store that the bus sees, the last instruction of its block: afterwards another number of cycles may be left. */
// biome-ignore format: stack code reads along the line
function emitHookedStore(emitter: Emitter, pc: number): void {
  const { code, plan } = emitter;
  const output = plan.outputs.find((one) => one === plan.program.k[pc] || one - 2 === plan.program.k[pc]);
  if (output === undefined) {
    emitBusStore(emitter, pc);
    return;
  }
  // Bits that change, in d: if all are quiet (see bus.ts), there is nothing more to it.
  emitChange(emitter, pc, output);
  code.tee(L.d).int(NOTHING).op(or).int(0).load(QUIET_BASE + 4 * output).int(-1).op(xor, and, eqz).open(WASM.if);
  for (const address of [output, output - 2]) code.int(0).int(0).load8(address).get(L.d).op(xor).store8(address);
  code.op(WASM.else);
  emitBusStore(emitter, pc);
  code.close();
}

/** Puts on the stack which bits of a port a store to its PORTx or PINx changes. */
// biome-ignore format: stack code reads along the line
function emitChange({ code, site, plan }: Emitter, pc: number, output: number): void {
  const { op, a, b, k } = plan.program;
  const isToggle = k[pc] !== output;
  if (op[pc] === OP.STS_IO || op[pc] === OP.OUT_IO) {
    site.getRegister(a[pc]!);
    if (!isToggle) code.int(0).load8(output).op(xor);
  } else {
    const isSet = op[pc] === OP.SBI_IO;
    // Clearing a bit of PINx does nothing.
    code.int(isToggle && !isSet ? 0 : 1 << b[pc]!);
    if (isToggle) return;
    code.int(0).load8(output);
    if (isSet) code.int(255).op(xor);
    code.op(and);
  }
}

// biome-ignore format: stack code reads along the line
function emitBusStore(emitter: Emitter, pc: number): void {
  const { code, site, plan } = emitter;
  const { op, a, b, k } = plan.program;
  emitPresent(emitter, pc);
  code.int(k[pc]!);
  if (op[pc] === OP.STS_IO || op[pc] === OP.OUT_IO) {
    site.getRegister(a[pc]!);
    code.op(WASM.call, CALLED.store);
  } else code.int(b[pc]! | (op[pc] === OP.SBI_IO ? 8 : 0)).op(WASM.call, CALLED.storeBit);
  code.int(0).load(STATE_BASE + 4 * AT.left).int(cyclesOf(plan.program, pc)).op(sub).set(L.left);
  // What is left no longer tells how long ago the head of a waiting loop was passed.
  for (const wait of emitter.waits.values()) code.int(0).set(wait.local);
}

// biome-ignore format: stack code reads along the line
function emitBranch(emitter: Emitter, block: Block, pc: number): void {
  const { code, site, plan } = emitter;
  emitCondition(site, pc);
  // Storing what is held does not disturb the condition on the stack.
  settleBlock(emitter);
  const { taken, straight, more } = waysOf(plan.program, block, pc);
  code.open(WASM.if);
  code.get(L.left).int(more).op(sub).set(L.left);
  emitCountLeap(emitter, pc);
  goTo(emitter, taken, false);
  code.close();
  goTo(emitter, straight, true);
}

/** After a counting loop's BRNE is taken: as `leapCount` in loops.ts. */
// biome-ignore format: stack code reads along the line
function emitCountLeap(emitter: Emitter, pc: number): void {
  const { code, site, plan } = emitter;
  const counter = counterAt(plan.program, pc);
  if (counter === undefined) return;
  code.get(L.left).int(2 * counter.cycles).op(gtS).open(WASM.if);
  code.int(0);
  counter.registers.forEach((register, at) => {
    site.getRegister(register);
    code.int(8 * at).op(shl, or);
  });
  code.set(L.x);
  // y becomes the smaller of passes - 1 and (left - 1) / cycles - 1. A counter of 0 has 2^n passes and is left alone.
  code.get(L.left).int(1).op(sub).int(counter.cycles).op(divS).int(1).op(sub).set(L.y);
  code.get(L.x).open(WASM.if);
  code.get(L.x).int(1).op(sub).get(L.y).op(ltU).open(WASM.if);
  code.get(L.x).int(1).op(sub).set(L.y).close();
  code.get(L.x).get(L.y).op(sub).set(L.x);
  counter.registers.forEach((register, at) => {
    code.get(L.x).int(8 * at).op(shrU).int(255).op(and);
    site.setRegister(register);
  });
  code.get(L.left).get(L.y).int(counter.cycles).op(mul, sub).set(L.left);
  settleBlock(emitter);
  code.close().close();
}

/** Pushes a return address, unless the stack gets to where the careful path must look. */
// biome-ignore format: stack code reads along the line
function pushReturn({ code, site, plan }: Emitter, pc: number, returns: number): void {
  code.get(L.sp).get(L.lowest).op(leS).get(L.sp).int(plan.ramEnd).op(gtS, or);
  leaveIf(site, pc);
  code.get(L.sp).int(returns & 255).store8(0);
  code.get(L.sp).int(1).op(sub).int(returns >> 8).store8(0);
  code.get(L.sp).int(2).op(sub).set(L.sp);
}

// biome-ignore format: stack code reads along the line
function popReturn({ code, site, plan }: Emitter, pc: number): void {
  code.get(L.sp).int(1).op(add).tee(L.x).int(plan.ramStart).op(sub).int(plan.ramEnd - plan.ramStart).op(geU);
  leaveIf(site, pc);
  code.get(L.x).load8(0).int(8).op(shl).get(L.x).load8(1).op(or).int(plan.program.words - 1).op(and).set(L.exitPc);
  code.get(L.sp).int(2).op(add).set(L.sp);
}
