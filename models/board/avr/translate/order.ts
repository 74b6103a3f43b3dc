/**
 * The order of a unit's blocks: each loop's blocks together, its head first, and otherwise forward along the jumps.
 *
 * Compilers put a loop's test below its body and enter by a jump to it. In the order of addresses such a loop would have
 * two ways in, and each pass would have to choose; with its head first it has one.
 */
import type { Block } from './blocks.ts';

/** `blocks`, in the order of addresses, put in that order. `entered` holds the addresses that are entered from outside. */
export function inLoopOrder(blocks: readonly Block[], entered: ReadonlySet<number>): readonly Block[] {
  const byStart = new Map(blocks.map((block) => [block.start, block] as const));
  const next = (block: Block): Block[] => [...block.next, block.calls].flatMap((target) => byStart.get(target) ?? []);
  const order: Block[] = [];
  const place = (some: readonly Block[]): void => {
    for (const knot of knotsOf(some, next)) {
      if (knot.length === 1) {
        order.push(knot[0]!);
        continue;
      }
      const head = headOf(knot, blocks, next, entered);
      order.push(head);
      place(knot.filter((block) => block !== head));
    }
  };
  place(blocks);
  return order;
}

/** The block that a loop begins with: where it is come to from outside, the one of the lowest address if there are several. */
function headOf(
  knot: readonly Block[],
  blocks: readonly Block[],
  next: (block: Block) => readonly Block[],
  entered: ReadonlySet<number>,
): Block {
  const inside = new Set(knot);
  const ways = new Set(blocks.filter((block) => !inside.has(block)).flatMap(next));
  return knot.find((block) => ways.has(block) || entered.has(block.start)) ?? knot[0]!;
}

/**
 * Groups of blocks that reach one another, in such an order that jumps between groups lead forward; within a group in
 * the order given.
 *
 * Source: R. Tarjan, Depth-first search and linear graph algorithms, SIAM J. Comput. 1 (1972).
 */
function knotsOf(blocks: readonly Block[], next: (block: Block) => readonly Block[]): Block[][] {
  const placeOf = new Map(blocks.map((block, place) => [block, place] as const));
  const seenAt = new Map<Block, number>();
  const lowest = new Map<Block, number>();
  const open: Block[] = [];
  const isOpen = new Set<Block>();
  const knots: Block[][] = [];
  const visit = (block: Block): void => {
    seenAt.set(block, seenAt.size);
    lowest.set(block, seenAt.get(block)!);
    open.push(block);
    isOpen.add(block);
    for (const target of next(block)) {
      if (!placeOf.has(target)) continue;
      if (!seenAt.has(target)) {
        visit(target);
        lowest.set(block, Math.min(lowest.get(block)!, lowest.get(target)!));
      } else if (isOpen.has(target)) lowest.set(block, Math.min(lowest.get(block)!, seenAt.get(target)!));
    }
    if (lowest.get(block) !== seenAt.get(block)) return;
    const knot = open.splice(open.indexOf(block));
    for (const one of knot) isOpen.delete(one);
    knots.push(knot.sort((one, other) => placeOf.get(one)! - placeOf.get(other)!));
  };
  // From the last on, so that what is found first, and comes last, are the blocks of the highest addresses.
  for (let place = blocks.length - 1; place >= 0; place -= 1) if (!seenAt.has(blocks[place]!)) visit(blocks[place]!);
  return knots.reverse();
}
