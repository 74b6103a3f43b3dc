/**
 * The numbers of all peripherals in one row of float64, so that a snapshot is one copy. Each peripheral sees its own by
 * name: an object whose properties are places in the row. Hot path; see test/speed/image.bench.ts.
 */
import { assert } from '../../../../sim/kernel/assert.ts';

/** A peripheral's numbers by name. */
export type Numbers = Record<string, number>;

export interface NumberRow {
  /** The places in use. */
  readonly used: () => Float64Array;
  /** Takes places for the numbers of `first`, with its values, and gives the object that stands for them. */
  readonly take: <T extends Numbers>(first: T) => T;
}

/** Room for three timers, three ports, all else, and some to spare. */
const NUMBERS_MOST = 256;

export function createNumberRow(): NumberRow {
  const row = new Float64Array(NUMBERS_MOST);
  let count = 0;
  return {
    used: () => row.subarray(0, count),
    take: <T extends Numbers>(first: T): T => {
      const keys = Object.keys(first);
      assert(count + keys.length <= NUMBERS_MOST, 'the peripherals have more numbers than there is room for', {
        count,
      });
      const own = Object.create(shapeOf(keys)) as T & Places;
      Object.defineProperties(own, { row: { value: row }, from: { value: count } });
      count += keys.length;
      return Object.assign(own, first);
    },
  };
}

interface Places {
  readonly row: Float64Array;
  readonly from: number;
}

const shapes = new Map<string, object>();

/** Getters and setters for a list of names; objects alike share them, which keeps access to them quick. */
function shapeOf(keys: readonly string[]): object {
  const name = keys.join(' ');
  const known = shapes.get(name);
  if (known !== undefined) return known;
  const shape = Object.defineProperties(
    {},
    Object.fromEntries(
      keys.map((key, at) => [
        key,
        {
          get(this: Places): number {
            return this.row[this.from + at]!;
          },
          set(this: Places, value: number): void {
            this.row[this.from + at] = value;
          },
        },
      ]),
    ),
  );
  shapes.set(name, shape);
  return shape;
}
