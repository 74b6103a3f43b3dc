/** Many shapes of code in one module, each in the part of the language that a module may be written in. */
import type { Board } from '../../../../scenarios/orchard-cart/firmware/jackstand.d.ts';

interface Pair {
  least: number;
  most: number;
  readonly name?: string;
}
type Mode = 'calm' | 'wild';

const history: number[] = [];
const seen: Pair = { least: Number.MAX_SAFE_INTEGER, most: -1, name: 'seen' };
const limits = { low: 100, high: 900 } as const;
let mode: Mode = 'calm';
let passes = 0;
let shared: Pair | undefined;

function clamp(value: number, least = 0, most: number = limits.high): number {
  if (value < least) return least;
  return value > most ? most : value + 0;
}

function stepsOf(value: number): number {
  return value <= 1 ? value : stepsOf(Math.trunc(value / 2)) + stepsOf(Math.trunc(value / 3)) + 1;
}

function find(wanted: number): number {
  for (let row = 0; row < 4; row++) {
    for (let column = 0; column < 4; column++) {
      const at = history[row * 4 + column];
      if (at === undefined) continue;
      if (at === wanted) return row * 10 + column;
      if (at > 900 && row === 3) return -column;
    }
  }
  return 99;
}

function chosen(value: number): number {
  switch (value & 7) {
    case 0:
      return value + 3;
    case 1:
      return Math.imul(value, 5) | 0;
    case 2:
      break;
    case 3:
    case 4: {
      const other = value ^ 0x55;
      return other;
    }
    default:
      value = -value;
  }
  return value >> 1;
}

function average(values: readonly number[]): number {
  let sum = 0;
  for (const value of values) sum += value;
  return values.length === 0 ? 0 : sum / values.length;
}

export function init(board: Board): void {
  board.setCompare(7);
  board.setPin(2, true);
}

export function pass(board: Board): void {
  const count = clamp(board.readCount(), limits.low);
  passes += 1;
  if (history.length < 16) history.push(count);
  else history[passes % 16] = count;
  seen.least = Math.min(seen.least, count);
  if (count > seen.most || passes === 1) seen.most = count;
  if (passes % 3 === 0) shared = seen;
  mode = count > 500 && !(passes % 2 === 0) ? 'wild' : 'calm';
  let left = passes;
  do {
    left -= 2;
    if (left === 5) break;
  } while (left > 0);
  let product = 1;
  while (product < count) product = product * 2 + 1;
  history[0]! += 1;
  const last = history[history.length - 1] ?? 0;
  const text = `${mode} ${count.toFixed(1)} ${find(count - 1)} ${stepsOf(count & 255)} ${average(history).toFixed(3)}`;
  board.print(`${text} ${shared === seen ? 'same' : typeof shared} ${left}/${product}` + (last > 3 && 'x'));
  board.print(`${String(seen.most - seen.least) + text.charCodeAt(0)}${+-0.5}${~count}${count >>> 1}${count << 3}`);
  board.setPin(count & 7, (count & 8) !== 0);
  board.setCompare(chosen(count) + board.readPin(3) + (board.timeUs() % 1000) * 0 + board.readPulse());
}
