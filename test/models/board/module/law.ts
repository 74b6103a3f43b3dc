/** The mapping law of the bench beside this. */
import type { Board } from '../../../../scenarios/orchard-cart/firmware/jackstand.d.ts';

export function pass(board: Board): void {
  board.setCompare(Math.trunc(((board.readCount() - 186) * (62 - 46)) / (828 - 186)) + 46);
}
