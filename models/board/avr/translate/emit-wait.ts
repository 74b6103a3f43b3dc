/**
 * The head of a loop that only waits: leaps over its passes, and runs the last one, which an event cuts.
 */
import { idleHead } from '../loops.ts';
import { OP } from '../op.ts';
import { cyclesOf, wordsOf } from '../timing.ts';
import { type Block, waysOf } from './blocks.ts';
import { type Emitter, LEAVE, leave, settleBlock, storeHeld } from './emitter.ts';
import { emitCondition, emitInstruction, LOCAL as L } from './instruction.ts';
import { WASM } from './wasm-bytes.ts';

const { sub, mul, divS, and, eq, ltS, leS, gtS } = WASM;

/** Before block number `index`, if it is such a head. */
export function emitWait(emitter: Emitter, index: number): void {
  const { code, budget, plan } = emitter;
  const block = plan.blocks[index]!;
  if (!emitter.waits.has(block.start)) return;
  emitWaitLeap(emitter, block);
  code.get(L.left).int(budget.needed[index]!).op(ltS).open(WASM.if);
  emitWaitTail(emitter, block, block.start);
  code.close();
}

/** Leaps, if the last visit was one pass ago in this window. Proof: loops.ts. */
// biome-ignore format: stack code reads along the line
function emitWaitLeap({ code, waits }: Emitter, block: Block): void {
  const wait = waits.get(block.start)!;
  code.get(wait.local).get(L.left).op(sub).int(wait.cycles).op(eq).get(L.left).int(wait.cycles).op(gtS, and).open(WASM.if);
  code.get(L.left).get(L.left).int(1).op(sub).int(wait.cycles).op(divS).int(wait.cycles).op(mul, sub).set(L.left).close();
  code.get(L.left).set(wait.local);
}

/**
 * The last pass of a waiting loop, which the event cuts: instruction by instruction, as the interpreter would run it. Leaves
 * the function in any case. `head` is where the loop begins.
 */
function emitWaitTail(emitter: Emitter, block: Block, head: number): void {
  const { code, plan, site } = emitter;
  const { op: ops, b } = plan.program;
  const last = block.at[block.at.length - 1]!;
  const op = ops[last]!;
  const isBranch = op >= OP.BRCS && op <= OP.SBIS;
  emitter.held.fill(0);
  // Each instruction takes its cycles when it is carried out.
  emitter.cycles = 0;
  emitter.spent = 0;
  leaveIfOver(emitter, block.start);
  for (const pc of block.at) {
    if (pc === last && (isBranch || op === OP.JUMP)) break;
    emitInstruction(site, pc);
    take(emitter, cyclesOf(plan.program, pc));
    leaveIfOver(emitter, pc === last ? block.end : pc + wordsOf(ops[pc]!));
  }
  if (op === OP.JUMP) take(emitter, b[last]!);
  let next = block.next[0]!;
  if (isBranch) {
    const ways = waysOf(plan.program, block, last);
    emitCondition(site, last);
    settleBlock(emitter);
    code.open(WASM.if);
    take(emitter, 1 + ways.more);
    leave(emitter, ways.taken, LEAVE);
    code.close();
    take(emitter, 1);
    leaveIfOver(emitter, ways.straight);
    next = ways.straight;
  } else settleBlock(emitter);
  const index = emitter.indexOf.get(next);
  // On through the loop, whose code is straight; what leads out of it or back is for the interpreter.
  if (index !== undefined && next > last && idleHead(plan.program, plan.blocks[index]!.at.at(-1)!)?.pc === head)
    emitWaitTail(emitter, plan.blocks[index]!, head);
  else leave(emitter, next, LEAVE);
}

function take({ code }: Emitter, cycles: number): void {
  code.get(L.left).int(cycles).op(sub).set(L.left);
}

/** Leaves the function with `pc` as the next instruction if the window is over. */
function leaveIfOver(emitter: Emitter, pc: number): void {
  const { code } = emitter;
  code.get(L.left).int(0).op(leS).open(WASM.if);
  storeHeld(emitter);
  leave(emitter, pc, LEAVE);
  code.close();
}
