/**
 * The orchard cart's control pass once more, in TypeScript: pedal in, compare value out, with a slower rise than fall.
 *
 * One step of the compare value is 32 us, and fast PWM counts the tick of the match as well: 46 gives 1504 us.
 */
import type { Board } from './jackstand.d.ts';

const neutral = 46;
const full = 62;
const restCount = 190;
const fullCount = 828;
/** Outside of these a wire is broken or shorted. */
const plausible = { least: 60, most: 960 };
/** Control passes from one step up to the next. */
const passesAStep = 4;

let compare = neutral;
let passesSinceStep = 0;

function compareOf(count: number): number {
  if (count < plausible.least || count > plausible.most) return neutral;
  const share = (count - restCount) / (fullCount - restCount);
  return neutral + Math.trunc(Math.min(Math.max(share, 0), 1) * (full - neutral));
}

export function init(board: Board): void {
  board.setCompare(compare);
  board.print('cart\n');
}

export function pass(board: Board): void {
  const wanted = compareOf(board.readCount());
  passesSinceStep += 1;
  if (wanted < compare) compare = wanted;
  else if (wanted > compare && passesSinceStep >= passesAStep) {
    compare += 1;
    passesSinceStep = 0;
  }
  board.setCompare(compare);
}
