/**
 * Before which blocks somebody looks whether they fit into what is left of the window, and for which a block before them
 * has already seen to it. Where the bus was called, what is left may have changed.
 *
 * The look is at the end of each jump to the block, not at its start: there the flags were just worked out and are wanted
 * by nobody but the way out of the function. A loop that sets all of them anew on each pass then carries none of them.
 *
 * A block that is only come to by jumps forward within the unit needs no look of its own, if each block that leads to
 * it asks for enough for both. Every loop keeps a look at its head, so that none runs past the window.
 */
import type { Block } from './blocks.ts';

/** Most cycles that a block asks for: what it asks for in vain, the interpreter has to run. */
const ASK_LIMIT = 40;
/** What a taken branch or a skip over two words costs beyond the block's own cycles. */
const EDGE_CYCLES = 2;

export interface Budget {
  /** Cycles that must be left when a block begins, its own and those of the blocks that rely on it. */
  readonly needed: Int32Array;
  /** 1 where whoever jumps to the block looks first. */
  readonly looks: Uint8Array;
}

/** `next` lists the blocks that each goes on to, by number in the order of addresses. */
export function budgetOf(
  blocks: readonly Block[],
  next: readonly (readonly number[])[],
  isEntered: (block: number) => boolean,
  callsBus: (block: number) => boolean,
): Budget {
  const needed = new Int32Array(blocks.length);
  const looks = new Uint8Array(blocks.length);
  for (let block = 0; block < blocks.length; block++) {
    if (isEntered(block)) looks[block] = 1;
    for (const target of next[block]!) if (target <= block || callsBus(block)) looks[target] = 1;
  }
  // From the last to the first: a block's followers that do not look come later.
  for (let block = blocks.length - 1; block >= 0; block--) {
    const own = blocks[block]!.cycles;
    needed[block] = own;
    for (const target of next[block]!) {
      if (looks[target] === 1) continue;
      const both = own + EDGE_CYCLES + needed[target]!;
      if (both > ASK_LIMIT) looks[target] = 1;
      else needed[block] = Math.max(needed[block]!, both);
    }
  }
  return { needed, looks };
}
