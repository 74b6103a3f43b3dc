/**
 * What the code made of a script may call: each operation that could go on for ever, fill the memory, or reach for what
 * is not the script's own, as a function that checks it. A step is a call or a turn of a loop.
 */
import { DEPTH_MOST, PINS, saidText, type World } from '../program.ts';

/** Thrown through the script's code when it has to stop. */
export class ScriptStop extends Error {
  readonly kind: 'steps' | 'trap';
  readonly line: number;
  constructor(kind: 'steps' | 'trap', line: number, says: string) {
    super(says);
    this.kind = kind;
    this.line = line;
  }
}

/** Values that a script works with: numbers, texts, truths, lists, and objects without a prototype. */
export type Value = number | string | boolean | null | undefined | Value[] | { [key: string]: Value };

/** Members of lists and objects, and eighths of texts, that one call may make. */
const MADE_MOST = 100_000;
const TEXT_MOST = 10_000;
const LIST_MOST = 10_000;

export type BoardFunction =
  | 'readCount'
  | 'setCompare'
  | 'readPin'
  | 'setPin'
  | 'readPulse'
  | 'timeUs'
  | 'print'
  | 'readByte';
/** How many arguments each function of the board takes. */
export const BOARD_FUNCTIONS: Readonly<Record<BoardFunction, number>> = {
  readCount: 0,
  setCompare: 1,
  readPin: 1,
  setPin: 2,
  readPulse: 0,
  timeUs: 0,
  print: 1,
  readByte: 0,
};
export const OTHER_METHODS = ['push', 'pop', 'shift', 'fill', 'charCodeAt', 'toFixed'] as const;

/** The names by which the made code calls these. */
export interface RunTime {
  /** The argument of `init` and `pass`. */
  readonly board: Value;
  /** Begins a call with so many steps. */
  begin(steps: number): void;
  /** What was made since `begin`. */
  made(): number;
  enter(line: number): void;
  leave<T>(value: T): T;
  turn(line: number): void;
  number(value: Value, line: number): number;
  add(left: Value, right: Value, line: number): Value;
  text(line: number, ...parts: Value[]): string;
  list(members: Value[], line: number): Value;
  object(members: { [key: string]: Value }, line: number): Value;
  items(value: Value, line: number): Value[];
  get(of: Value, key: Value, line: number): Value;
  put(of: Value, key: Value, value: Value, line: number): Value;
  /** Puts what `next` makes of the value that is there; gives the new one, or the one before. */
  change(of: Value, key: Value, next: (value: Value) => Value, isBefore: boolean, line: number): Value;
  call(of: Value, name: string, given: Value[], line: number): Value;
  fail(value: Value, line: number): never;
}

export function createRunTime(world: World, stepsMost: () => number): RunTime {
  let steps = 0;
  let depth = 0;
  let made = 0;
  // Known by itself alone: nothing can be read from it.
  const board: Value = Object.freeze(Object.create(null) as { [key: string]: Value });
  const trap = (line: number, says: string): never => {
    throw new ScriptStop('trap', line, says);
  };
  const spend = (count: number, line: number): void => {
    steps -= count;
    if (steps < 0)
      throw new ScriptStop(
        'steps',
        line,
        `it did not come back within ${stepsMost()} steps (calls and turns of loops)`,
      );
  };
  const make = (count: number, line: number): void => {
    made += count;
    if (made > MADE_MOST) trap(line, `one call makes more than ${MADE_MOST} values`);
  };
  const number = (value: Value, line: number): number =>
    typeof value === 'number' ? value : trap(line, `${wordFor(value)} stands where a number is wanted`);
  const joined = (left: string, right: string, line: number): string => {
    if (left.length + right.length > TEXT_MOST) trap(line, `a text grows longer than ${TEXT_MOST}`);
    make(1 + ((left.length + right.length) >> 3), line);
    return left + right;
  };
  const written = (value: Value, line: number): string =>
    typeof value === 'object' && value !== null
      ? trap(line, `${wordFor(value)} stands where a text is wanted`)
      : String(value);
  const get = (of: Value, key: Value, line: number): Value => {
    if (Array.isArray(of))
      return typeof key === 'number' ? of[key] : key === 'length' ? of.length : noMember(of, key, line);
    if (typeof of === 'string') return key === 'length' ? of.length : noMember(of, key, line);
    if (typeof of === 'object' && of !== null && of !== board) return of[keyOf(key, line)];
    return noMember(of, key, line);
  };
  const noMember = (of: Value, key: Value, line: number): never =>
    trap(line, `${of === board ? 'the board' : wordFor(of)} has no member \`${String(key)}\``);
  const keyOf = (key: Value, line: number): string => {
    if (typeof key !== 'string' && typeof key !== 'number') return trap(line, `${wordFor(key)} is no name of a member`);
    return String(key) === '__proto__' ? trap(line, '`__proto__` is no name of a member') : String(key);
  };
  const put = (of: Value, key: Value, value: Value, line: number): Value => {
    if (Array.isArray(of)) {
      if (typeof key !== 'number') return noMember(of, key, line);
      if (!Number.isInteger(key) || key < 0 || key > of.length || key >= LIST_MOST)
        return trap(line, `index ${key} lies outside of a list of ${of.length}`);
      if (key === of.length) make(1, line);
      of[key] = value;
    } else if (typeof of === 'object' && of !== null && of !== board) {
      const name = keyOf(key, line);
      if (!(name in of)) make(1, line);
      of[name] = value;
    } else noMember(of, key, line);
    return value;
  };
  const whole = (value: Value, line: number): number => {
    const given = Math.trunc(number(value, line));
    return Math.abs(given) <= 2 ** 31 ? given | 0 : trap(line, `${given} does not fit into 32 bits`);
  };
  const pin = (value: Value, line: number): number => {
    const given = number(value, line);
    return Number.isInteger(given) && given >= 0 && given < PINS
      ? given
      : trap(line, `there is no pin ${given}; they go from 0 to ${PINS - 1}`);
  };
  const onBoard: Readonly<Record<BoardFunction, (given: readonly Value[], line: number) => Value>> = {
    readCount: () => world.readCount(),
    readPulse: () => world.readPulse(),
    timeUs: () => world.timeUs(),
    readByte: () => world.readByte(),
    readPin: ([name], line) => world.readPin(pin(name, line)),
    setPin: ([name, level], line) => world.setPin(pin(name, line), Boolean(level)),
    setCompare: ([compare], line) => world.setCompare(whole(compare, line), line),
    print: ([text], line) => world.print(new TextEncoder().encode(written(text, line))),
  } as Readonly<Record<BoardFunction, (given: readonly Value[], line: number) => Value>>;
  const onList = (list: Value[], name: string, given: readonly Value[], line: number): Value => {
    if (name === 'push') {
      if (list.length + given.length > LIST_MOST) return trap(line, `a list grows longer than ${LIST_MOST}`);
      make(given.length, line);
      for (const value of given) list[list.length] = value;
      return list.length;
    }
    if (name === 'pop') return list.pop();
    if (name !== 'shift' && name !== 'fill') return noMember(list, name, line);
    spend(list.length, line);
    return name === 'shift' ? list.shift() : list.fill(given[0]);
  };
  return {
    board,
    begin: (count) => {
      steps = count;
      depth = 0;
      made = 0;
    },
    made: () => made,
    enter: (line) => {
      depth += 1;
      if (depth > DEPTH_MOST) trap(line, `its calls nest deeper than ${DEPTH_MOST}`);
      spend(1, line);
    },
    leave: (value) => {
      depth -= 1;
      return value;
    },
    turn: (line) => spend(1, line),
    number,
    add: (left, right, line) => {
      if (typeof left === 'number' && typeof right === 'number') return left + right;
      if (typeof left !== 'string' && typeof right !== 'string') return number(left, line) + number(right, line);
      return joined(written(left, line), written(right, line), line);
    },
    text: (line, ...parts) => parts.reduce<string>((before, part) => joined(before, written(part, line), line), ''),
    list: (members, line) => {
      make(members.length + 1, line);
      return members;
    },
    object: (members, line) => {
      make(Object.keys(members).length + 1, line);
      return members;
    },
    items: (value, line) =>
      Array.isArray(value) ? value : trap(line, `${wordFor(value)} stands where a list is wanted`),
    get,
    put,
    change: (of, key, next, isBefore, line) => {
      const before = get(of, key, line);
      const after = put(of, key, next(before), line);
      return isBefore ? before : after;
    },
    call: (of, name, given, line) => {
      if (of === board && Object.hasOwn(onBoard, name)) return onBoard[name as BoardFunction](given, line);
      if (Array.isArray(of)) return onList(of, name, given, line);
      if (typeof of === 'string' && name === 'charCodeAt') return of.charCodeAt(number(given[0], line));
      if (typeof of === 'number' && name === 'toFixed')
        return of.toFixed(Math.min(Math.max(number(given[0] ?? 0, line), 0), 20));
      return noMember(of, name, line);
    },
    fail: (value, line) => trap(line, `it throws: ${saidText(written(value, line))}`),
  };
}

function wordFor(value: Value): string {
  if (value === undefined || value === null) return String(value);
  if (Array.isArray(value)) return 'a list';
  return { string: 'a text', boolean: 'a truth value', object: 'an object', number: 'a number' }[
    typeof value as 'object'
  ];
}
