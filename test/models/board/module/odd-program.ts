/**
 * Programs in WebAssembly that are valid and that no compiler would write: code after jumps, numbers written at length, blocks
 * within blocks that give values, tables of labels, loops that may never end, calls in circles and through a table, memory
 * that is filled, moved and grown. Core Specification 2.0, ch. 5.
 */
import { wasmFile } from './wasm-file.ts';

type Labels = readonly boolean[];

const I32 = 0x7f;
const VOID = 0x40;
const FUNCTIONS = 4;
const LOCALS = 3;
const [SET_COMPARE, READ_COUNT, SET_PIN] = [0, 1, 2];
const IMPORTS = ['set_compare', 'read_count', 'set_pin'] as const;

/** The program that a source of numbers from 0 to below `most` leads to. */
export function oddProgram(below: (most: number) => number): Uint8Array {
  /** An index of up to five bytes, though one would do. */
  const index = (value: number): number[] =>
    below(4) > 0 ? [value] : [value | 0x80, ...Array.from({ length: below(4) }, () => 0x80), 0];
  const constant = (): number[] => [
    0x41,
    ...[[below(64)], [0x7f], [0x80, 0x80, 0x04], [0x80, 0x80, 0x80, 0x80, 0x78]][below(4)]!,
  ];
  const pick = <T>(...choices: readonly T[]): T => choices[below(choices.length)]!;

  const target = (labels: Labels): number => pick(...labels.flatMap((isBare, place) => (isBare ? [place] : [])));

  /** Code that leaves one number. `labels` are the blocks around it, from the inside; true where a jump there takes no number along. */
  const value = (depth: number, labels: Labels): number[] => {
    if (depth <= 0)
      return pick(
        constant,
        () => [0x20, ...index(below(LOCALS))],
        () => [0x23, ...index(0)],
        () => [0x10, ...index(READ_COUNT)],
      )();
    const one = (): number[] => value(depth - 1, labels);
    return pick(
      () => [...one(), ...one(), pick(0x6a, 0x6b, 0x6c, 0x71, 0x72, 0x73, 0x74, 0x75, 0x76, 0x77, 0x46, 0x48, 0x4d)],
      // Divisions and remainders, which may trap.
      () => [...one(), ...one(), pick(0x6d, 0x6e, 0x6f, 0x70)],
      () => [...one(), pick(0x45, 0x67, 0x68, 0x69, 0xc0, 0xc1)],
      // Through 64 bits and floats that are no NaN, and back without a trap.
      () => [...one(), 0xac, 0xa7],
      () => [...one(), pick(0xb7, 0xb8), 0xfc, pick(2, 3)],
      () => [...one(), ...one(), ...one(), ...pick([0x1b], [0x1c, 1, I32])],
      // Loads, most of them within the memory.
      () => [
        ...one(),
        ...(below(8) === 0 ? [] : [0x41, 0xff, 0xff, 0x03, 0x71]),
        pick(0x28, 0x2c, 0x2f),
        0,
        ...index(below(9)),
      ],
      () => [0x02, I32, ...some(depth - 1, [false, ...labels]), ...value(depth - 1, [false, ...labels]), 0x0b],
      () => [
        ...one(),
        0x04,
        I32,
        ...value(depth - 1, [false, ...labels]),
        0x05,
        ...value(depth - 1, [false, ...labels]),
        0x0b,
      ],
      // A value that is carried out of its block early, and code that is never reached behind it.
      () => [0x02, I32, ...value(depth - 1, [false, ...labels]), 0x0c, 0, ...some(depth - 2, [false, ...labels]), 0x0b],
      () => [...one(), 0x22, ...index(below(LOCALS))],
      () => pick([0x3f, 0], [0x41, below(3), 0x40, 0]),
    )();
  };
  /** Code that leaves nothing. */
  const deed = (depth: number, labels: Labels): number[] => {
    const one = (): number[] => value(depth - 1, labels);
    if (depth <= 0) return pick([0x01], [0x41, 1, 0x10, SET_COMPARE]);
    return pick(
      () => [...one(), 0x10, ...index(SET_COMPARE)],
      () => [...one(), ...one(), 0x10, SET_PIN],
      () => [...one(), 0x21, ...index(below(LOCALS))],
      () => [...one(), 0x24, ...index(0)],
      () => [...one(), 0x41, 0xff, 0xff, 0x03, 0x71, ...one(), pick(0x36, 0x3a, 0x3b), 0, 0],
      () => [...one(), 0x1a],
      () => [pick(0x02, 0x03), VOID, ...some(depth - 1, [true, ...labels]), 0x0b],
      () => [
        ...one(),
        0x04,
        VOID,
        ...some(depth - 1, [true, ...labels]),
        ...pick([], [0x05, ...some(depth - 1, [true, ...labels])]),
        0x0b,
      ],
      // Round again while a variable that counts down is not 0; or for ever.
      () => [
        0x03,
        VOID,
        ...some(depth - 2, [true, ...labels]),
        0x20,
        0,
        0x41,
        1,
        0x6b,
        0x22,
        0,
        0x41,
        below(8) === 0 ? 0x40 : 0,
        0x4a,
        0x0d,
        0,
        0x0b,
      ],
      () => [...one(), 0x0d, ...index(target(labels))],
      () => [
        pick(0x02, 0x02, 0x03),
        VOID,
        ...deed(depth - 1, [true, ...labels]),
        0x0c,
        ...index(target([true, ...labels])),
        ...some(depth - 2, [true, ...labels]),
        0x0b,
      ],
      () => [
        0x02,
        VOID,
        ...value(depth - 1, [true, ...labels]),
        0x0e,
        2,
        ...index(0),
        ...index(target([true, ...labels])),
        ...index(target([true, ...labels])),
        0x0b,
      ],
      () => [0x10, ...index(IMPORTS.length + below(FUNCTIONS))],
      () => [...one(), 0x41, 7, 0x71, 0x11, ...index(IMPORTS.length), 0],
      () => [...one(), 0x04, VOID, pick(0x0f, 0x00), 0x0b],
      () => [0x41, below(64), ...one(), 0x41, below(64), 0xfc, ...index(11), 0],
      () => [0x41, below(64), 0x41, below(64), 0x41, below(64), 0xfc, ...index(10), 0, 0],
    )();
  };
  const some = (depth: number, labels: Labels): number[] =>
    Array.from({ length: below(4) }, () => deed(depth, labels)).flat();

  const code = (): number[] => [...some(4, [true]), ...some(3, [true]), ...pick([], [], [0x0f, ...some(2, [true])])];
  return wasmFile({
    imports: IMPORTS,
    functions: Array.from({ length: FUNCTIONS }, (_, place) => ({
      name: ['pass', 'init', 'one', 'two'][place]!,
      // Groups of no locals at all among them.
      locals: [
        [0, 0x7c],
        [1, I32],
        [0, I32],
        [LOCALS - 1, I32],
      ],
      code: code(),
    })),
    globals: [[I32, 1, 0x41, below(64)]],
    // A table of 8, of which the first four are functions.
    beforeGlobals: [4, 4, 1, 0x70, 0, 8, 5, 3, 1, 0, 1],
    beforeCode: [9, 10, 1, 0, 0x41, 0, 0x0b, 4, ...Array.from({ length: 4 }, () => IMPORTS.length + below(FUNCTIONS))],
  });
}
