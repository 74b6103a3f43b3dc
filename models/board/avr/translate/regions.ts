/**
 * The loops of a unit as nested stretches of its blocks, which become nested loops of WebAssembly.
 *
 * Blocks are numbered in the order of addresses. A jump back from block j to block i makes the stretch i..j a loop;
 * stretches that overlap without one holding the other are widened until they nest.
 */
export interface Region {
  readonly first: number;
  last: number;
  /** Loops inside, in order. */
  readonly inner: Region[];
  /** Whether blocks other than the first are entered from outside, so that entering needs a choice. */
  hasChoice: boolean;
}

/** The loops among `blockCount` blocks. `next` lists the blocks of the unit that a block goes on to. */
export function regionsOf(
  blockCount: number,
  next: (block: number) => readonly number[],
  isEntered: (block: number) => boolean,
): Region {
  const lastBack = new Array<number>(blockCount).fill(-1);
  for (let block = 0; block < blockCount; block++) {
    for (const target of next(block)) if (target <= block) lastBack[target] = Math.max(lastBack[target]!, block);
  }
  const root: Region = { first: 0, last: blockCount - 1, inner: [], hasChoice: true };
  const loops: Region[] = [];
  for (let first = 0; first < blockCount; first++) {
    if (lastBack[first]! >= 0) loops.push({ first, last: lastBack[first]!, inner: [], hasChoice: false });
  }
  widen(loops);
  nest(root, loops);
  for (const loop of loops) loop.hasChoice = loop.inner.length > 0;
  // A loop without loops inside needs no choice if it is entered at its first block only.
  const home = homes(root, blockCount);
  for (let block = 0; block < blockCount; block++) {
    const region = home[block]!;
    if (isEntered(block) && block !== region.first) region.hasChoice = true;
    for (const target of next(block)) {
      const to = home[target]!;
      if (to !== region && target !== to.first) to.hasChoice = true;
    }
  }
  return root;
}

/** The innermost region of each block. */
export function homes(root: Region, blockCount: number): Region[] {
  const home = new Array<Region>(blockCount).fill(root);
  const visit = (region: Region): void => {
    for (const inner of region.inner) {
      for (let block = inner.first; block <= inner.last; block++) home[block] = inner;
      visit(inner);
    }
  };
  visit(root);
  return home;
}

function widen(loops: Region[]): void {
  for (let isChanged = true; isChanged; ) {
    isChanged = false;
    const open: Region[] = [];
    for (const loop of loops) {
      while (open.length > 0 && open[open.length - 1]!.last < loop.first) open.pop();
      for (const outer of open) {
        if (outer.last < loop.last) {
          outer.last = loop.last;
          isChanged = true;
        }
      }
      open.push(loop);
    }
  }
}

function nest(root: Region, loops: readonly Region[]): void {
  const open = [root];
  for (const loop of loops) {
    while (open[open.length - 1]!.last < loop.first) open.pop();
    open[open.length - 1]!.inner.push(loop);
    open.push(loop);
  }
}
