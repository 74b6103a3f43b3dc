/**
 * The rows of a spread kept as columns: 9 bytes a draw and expectation and one more a draw, where rows as objects take some
 * ten times as much. That is all that grows with the number of draws, and all of it is in the report.
 */
import type { Rows } from '../many/craft.ts';
import type { SpreadRow } from './craft.ts';

const [MISSING, MADE, BROKE] = [0, 1, 2];

export class DrawTable implements Rows {
  readonly expectationCount: number;
  size = 0;
  private readonly states: Uint8Array;
  private readonly truths: Uint8Array;
  /** NaN where there is none. */
  private readonly margins: Float64Array;

  constructor(drawCount: number, expectationCount: number, rows: Iterable<readonly [number, unknown]> = []) {
    this.expectationCount = expectationCount;
    this.states = new Uint8Array(drawCount);
    this.truths = new Uint8Array(drawCount * expectationCount);
    this.margins = new Float64Array(drawCount * expectationCount);
    for (const [draw, row] of rows) this.set(draw, row);
  }

  has(draw: number): boolean {
    return (this.states[draw] ?? MISSING) !== MISSING;
  }

  get(draw: number): SpreadRow | undefined {
    if (!this.has(draw)) return undefined;
    const margins: (number | null)[] = [];
    let holds = '';
    for (let index = 0; index < this.expectationCount; index += 1) {
      const margin = this.margin(draw, index);
      margins.push(Number.isNaN(margin) ? null : margin);
      holds += this.holds(draw, index) ? '1' : '0';
    }
    return this.states[draw] === BROKE ? { holds, margins, broke: true } : { holds, margins };
  }

  /** A number beyond the plan's draws, as only a file could have it, is no draw. */
  set(draw: number, row: unknown): void {
    if (draw >= this.states.length) return;
    const { holds, margins, broke } = row as SpreadRow;
    if (!this.has(draw)) this.size += 1;
    this.states[draw] = broke === true ? BROKE : MADE;
    const start = draw * this.expectationCount;
    for (let index = 0; index < this.expectationCount; index += 1) {
      this.truths[start + index] = holds[index] === '1' ? 1 : 0;
      this.margins[start + index] = margins[index] ?? Number.NaN;
    }
  }

  holds(draw: number, index: number): boolean {
    return this.truths[draw * this.expectationCount + index] === 1;
  }

  /** Whether every expectation holds. */
  holdsAll(draw: number): boolean {
    const start = draw * this.expectationCount;
    return !this.truths.subarray(start, start + this.expectationCount).includes(0);
  }

  /** NaN where there is none. */
  margin(draw: number, index: number): number {
    return this.margins[draw * this.expectationCount + index]!;
  }

  /** Numbers of the draws that are made, rising. */
  made(): Uint32Array {
    const draws = new Uint32Array(this.size);
    let count = 0;
    for (let draw = 0; draw < this.states.length; draw += 1) if (this.has(draw)) draws[count++] = draw;
    return draws;
  }

  *[Symbol.iterator](): Generator<[number, SpreadRow]> {
    for (const draw of this.made()) yield [draw, this.get(draw)!];
  }
}
