/**
 * The code of a loop with all blocks and loops in it. Each item's code is preceded by a label that jumps forward lead
 * to; jumps back lead to the loop's start, where a table chooses the item if there is a choice.
 *
 * In a large program an innermost loop keeps its registers in locals: they are loaded before it, and stored on every way out.
 */
import { emitBlock } from './emit-block.ts';
import { type Emitter, eachRegister, type Item, type Scope, storeChanged, usedBy, writtenBy } from './emitter.ts';
import { LOCAL } from './instruction.ts';
import type { Region } from './regions.ts';
import { WASM } from './wasm-bytes.ts';

export function emitRegion(emitter: Emitter, region: Region): void {
  if (keepsRegisters(emitter, region)) emitKeeping(emitter, region);
  else emitLoop(emitter, region);
}

function emitLoop(emitter: Emitter, region: Region): void {
  const { code, scopes } = emitter;
  const items = itemsOf(region);
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
  if (region.hasChoice) emitChoice(emitter, scope);
  items.forEach((item, at) => {
    if (at > 0 || region.hasChoice) code.close();
    scope.at = at;
    if (item.inner !== undefined) emitRegion(emitter, item.inner);
    else emitBlock(emitter, item.first);
  });
  scopes.pop();
  // Every block ends in a jump, so nothing comes past the end.
  code.op(WASM.unreachable).close();
}

/** Chooses the item by the block's number in `target`. */
function emitChoice({ code }: Emitter, { region, items, labels }: Scope): void {
  const table: number[] = [];
  items.forEach((item, at) => {
    for (let block = item.first; block <= item.last; block++) table.push(labels[at]!);
  });
  code
    .get(LOCAL.target)
    .int(region.first)
    .op(WASM.sub)
    .brTable([...table, labels[0]!]);
}

/** Innermost loops without calls, where registers are not kept throughout. */
function keepsRegisters({ plan, scopes }: Emitter, region: Region): boolean {
  if (plan.keepsRegisters || scopes.length === 0 || region.inner.length > 0) return false;
  return plan.blocks.slice(region.first, region.last + 1).every((block) => block.resumes < 0);
}

function emitKeeping(emitter: Emitter, region: Region): void {
  const { code, plan } = emitter;
  const own = plan.blocks.slice(region.first, region.last + 1);
  const outer = { exit: emitter.exit, kept: emitter.kept };
  emitter.exit = code.open(WASM.block);
  emitter.kept = usedBy(plan.program, own);
  emitter.changed = writtenBy(plan.program, own);
  eachRegister(emitter.kept, (register) =>
    code
      .int(0)
      .load8(register)
      .set(LOCAL.register0 + register),
  );
  emitLoop(emitter, region);
  code.op(WASM.unreachable).close();
  storeChanged(emitter);
  code.br(outer.exit);
  emitter.exit = outer.exit;
  emitter.kept = outer.kept;
  emitter.changed = 0;
}

function itemsOf(region: Region): Item[] {
  const items: Item[] = [];
  let inner = 0;
  for (let block = region.first; block <= region.last; ) {
    const loop = region.inner[inner];
    const isLoop = loop !== undefined && loop.first === block;
    if (isLoop) inner++;
    items.push({ first: block, last: isLoop ? loop.last : block, inner: isLoop ? loop : undefined });
    block = items[items.length - 1]!.last + 1;
  }
  return items;
}
