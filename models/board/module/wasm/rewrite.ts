/**
 * A WebAssembly module made safe to run: the same program, in which every call and every turn of a loop costs a step of a
 * budget, calls nest to a limited depth, the function at work is known, memory grows to a limit, each NaN is the canonical
 * one, and all that the program can change can be saved and put back.
 *
 *     function   enter(number); saved = the function before; block { body, return -> leave the block }; leave(saved)
 *     loop       turn() first thing
 *
 * What is added comes last in every list, so that all numbers in the file stay as they were. Same bytes in, same bytes out.
 */
import { Cursor, NotTaken, pushBytes, pushName, pushSigned, pushUnsigned } from './cursor.ts';
import { nanWidth, OP, PREFIXED, skipImmediates } from './instructions.ts';
import { isOfPanic } from './names.ts';
import { type FunctionType, KIND, REFERENCE_LEAST, SECTION, typeOfFunction, VALUE, type WasmFile } from './read.ts';

/** Names of what is added to the exports; one of a program's own that begins so is not taken. */
export const ADDED = 'jackstand:';
/** Values of the global `why`, which says why the program was stopped. */
export const STOPPED_BY = { nothing: 0, steps: 1, depth: 2 } as const;

export interface Limits {
  /** Calls within calls. */
  readonly depth: number;
}

/** More would let a few nested calls use up the stack of the machine that runs the bench. */
const LOCALS_MOST = 1000;
/** Bytes that are filled or copied for one step. */
const BYTES_A_STEP_BITS = 5;

/**
 * What the global `at` tells: the function at work; or, while a failure is carried out of it, the one that it came from, all
 * bits turned over, which stays until then whatever is called.
 */
export const NOWHERE = 0x7fff_ffff;
export function functionAt(at: number): number {
  return at === NOWHERE ? -1 : at < 0 ? ~at : at;
}

const VOID = 0x40;

/** Numbers of the globals and functions that are added. */
interface Added {
  readonly fuel: number;
  readonly at: number;
  readonly depth: number;
  readonly why: number;
  readonly enter: number;
  readonly leave: number;
  readonly turn: number;
  readonly charge: number;
  readonly canonical32: number;
  readonly canonical64: number;
  /** Number of the first of the pairs of functions that read and write a global. */
  readonly firstAccess: number;
}

interface NewFunction {
  readonly type: FunctionType;
  readonly locals: number;
  readonly body: readonly number[];
}

/** @throws NotTaken where the program holds an instruction that is not among those that are taken. */
export function rewrite(file: WasmFile, limits: Limits): Uint8Array {
  const clash = file.exports.find(({ name }) => name.startsWith(ADDED));
  if (clash !== undefined) throw new NotTaken(0, `the name \`${clash.name}\` of an export is kept for the bench`);
  const firstGlobal = file.globals.length;
  const firstFunction = file.imports.length + file.functions.length;
  const added: Added = {
    fuel: firstGlobal,
    at: firstGlobal + 1,
    depth: firstGlobal + 2,
    why: firstGlobal + 3,
    enter: firstFunction,
    leave: firstFunction + 1,
    turn: firstFunction + 2,
    charge: firstFunction + 3,
    canonical32: firstFunction + 4,
    canonical64: firstFunction + 5,
    firstAccess: firstFunction + 6,
  };
  const types = [...file.types];
  const typeNumber = (wanted: FunctionType): number => {
    const same = (one: FunctionType): boolean =>
      String([one.parameters]) === String([wanted.parameters]) && String([one.results]) === String([wanted.results]);
    const found = types.findIndex((one) => one.parameters.length === wanted.parameters.length && same(one));
    return found >= 0 ? found : types.push(wanted) - 1;
  };
  const functions = [...helpers(added, limits), ...accesses(file)];
  const functionTypes = functions.map(({ type }) => typeNumber(type));
  const bodies = file.bodies.map((_, index) => bodyOf(file, index, added, typeNumber));
  return assembled(file, types, functionTypes, functions, bodies, added);
}

/** One of the program's own functions, with what is put in. */
function bodyOf(file: WasmFile, index: number, added: Added, typeNumber: (type: FunctionType) => number): number[] {
  const { start, end } = file.bodies[index]!;
  const number = file.imports.length + index;
  const type = typeOfFunction(file, number);
  const cursor = new Cursor(file.bytes, start, end);
  let localCount = type.parameters.length;
  const groups = cursor.list(() => {
    const count = cursor.unsigned();
    localCount += count;
    const at = cursor.at;
    const kind = cursor.byte();
    if (kind === VALUE.v128) throw new NotTaken(at, 'vector instructions (simd128) are not taken; build without them');
    if (kind < REFERENCE_LEAST || kind > VALUE.i32) throw new NotTaken(at, 'a local of this type is not taken');
    return { count, kind };
  });
  if (localCount > LOCALS_MOST)
    throw new NotTaken(start, `a function has ${localCount} locals; at most ${LOCALS_MOST} are taken`);
  const to: number[] = [];
  pushUnsigned(to, groups.length + 1);
  for (const { count, kind } of groups) {
    pushUnsigned(to, count);
    to.push(kind);
  }
  to.push(1, VALUE.i32);
  const saved = localCount;
  if (isOfPanic(file.names.get(number) ?? '')) {
    numbered(to, OP.globalGet, added.at);
    to.push(OP.const32, 0x7f, OP.i32Xor);
  } else {
    op(to, OP.const32);
    pushSigned(to, number);
  }
  numbered(to, OP.call, added.enter);
  numbered(to, OP.localSet, saved);
  to.push(OP.block);
  if (type.results.length === 0) to.push(VOID);
  else if (type.results.length === 1) to.push(type.results[0]!);
  else pushSigned(to, typeNumber({ parameters: [], results: type.results }));
  pushInstructions(to, cursor, added);
  numbered(to, OP.localGet, saved);
  numbered(to, OP.call, added.leave);
  op(to, OP.end);
  return to;
}

/** The instructions of a body, the last `end` among them, which here ends the block around it. */
function pushInstructions(to: number[], cursor: Cursor, added: Added): void {
  let open = 0;
  while (cursor.at < cursor.end) {
    const at = cursor.at;
    const code = cursor.byte();
    const moved = skipImmediates(cursor, code);
    const instruction = cursor.bytes.subarray(at, cursor.at);
    if (code === OP.return) numbered(to, OP.br, open);
    else {
      if (moved === PREFIXED.memoryCopy || moved === PREFIXED.memoryFill) numbered(to, OP.call, added.charge);
      pushBytes(to, instruction);
    }
    if (code === OP.block || code === OP.loop || code === OP.if) open += 1;
    if (code === OP.end) open -= 1;
    if (code === OP.loop) numbered(to, OP.call, added.turn);
    const width = nanWidth(code);
    if (width !== 0) numbered(to, OP.call, width === 32 ? added.canonical32 : added.canonical64);
  }
}

/** The functions that count, in the order of their numbers in `Added`. */
function helpers({ fuel, at, depth, why }: Added, limits: Limits): NewFunction[] {
  const { i32, f32, f64 } = VALUE;
  const stopFor = (reason: number): number[] => [OP.const32, reason, ...set(why), OP.unreachable];
  const spend = [...get(fuel), OP.const32, 1, OP.i32Sub, ...set(fuel)];
  const isSpent = [...get(fuel), OP.const32, 0, OP.i32LtS, OP.if, VOID, ...stopFor(STOPPED_BY.steps), OP.end];
  const deeper = [...get(depth), OP.const32, 1, OP.i32Add, ...set(depth)];
  const isTooDeep = [
    ...get(depth),
    ...integer(limits.depth),
    OP.i32GtS,
    OP.if,
    VOID,
    ...stopFor(STOPPED_BY.depth),
    OP.end,
  ];
  const canonical = (type: number, equal: number, nan: readonly number[]): NewFunction => ({
    type: { parameters: [type], results: [type] },
    locals: 0,
    // The value where it equals itself, else the canonical NaN.
    body: [OP.localGet, 0, ...nan, OP.localGet, 0, OP.localGet, 0, equal, OP.select],
  });
  return [
    {
      // enter(number) gives the function before.
      type: { parameters: [i32], results: [i32] },
      locals: 1,
      body: [
        ...[...get(at), OP.localSet, 1],
        ...[...get(at), OP.localGet, 0, ...get(at), OP.const32, 0, OP.i32LtS, OP.select, ...set(at)],
        ...deeper,
        ...isTooDeep,
        ...spend,
        ...isSpent,
        OP.localGet,
        1,
      ],
    },
    {
      // leave(the function before)
      type: { parameters: [i32], results: [] },
      locals: 0,
      body: [OP.localGet, 0, ...set(at), ...get(depth), OP.const32, 1, OP.i32Sub, ...set(depth)],
    },
    { type: { parameters: [], results: [] }, locals: 0, body: [...spend, ...isSpent] },
    {
      // charge(bytes) gives the bytes again.
      type: { parameters: [i32], results: [i32] },
      locals: 0,
      body: [
        ...get(fuel),
        ...[OP.localGet, 0, OP.const32, BYTES_A_STEP_BITS, OP.i32ShrU, OP.i32Sub],
        ...set(fuel),
        ...isSpent,
        OP.localGet,
        0,
      ],
    },
    canonical(f32, OP.f32Eq, [OP.f32Const, 0, 0, 0xc0, 0x7f]),
    canonical(f64, OP.f64Eq, [OP.f64Const, 0, 0, 0, 0, 0, 0, 0xf8, 0x7f]),
  ];
}

/** For each variable of the program, a function that reads its bits and one that writes them. */
function accesses(file: WasmFile): NewFunction[] {
  const { i32, i64, f32, f64 } = VALUE;
  const toBits: Readonly<Record<number, readonly number[]>> = {
    [i32]: [OP.i64Extend],
    [i64]: [],
    [f32]: [OP.i32Reinterpret, OP.i64Extend],
    [f64]: [OP.i64Reinterpret],
  };
  const fromBits: Readonly<Record<number, readonly number[]>> = {
    [i32]: [OP.i32Wrap],
    [i64]: [],
    [f32]: [OP.i32Wrap, OP.f32Reinterpret],
    [f64]: [OP.f64Reinterpret],
  };
  return variablesOf(file).flatMap((index) => {
    const { type } = file.globals[index]!;
    return [
      { type: { parameters: [], results: [i64] }, locals: 0, body: [...get(index), ...toBits[type]!] },
      {
        type: { parameters: [i64], results: [] },
        locals: 0,
        body: [OP.localGet, 0, ...fromBits[type]!, ...set(index)],
      },
    ];
  });
}

/** Numbers of the globals that the program can change. */
export function variablesOf(file: WasmFile): number[] {
  return file.globals.flatMap(({ isMutable }, index) => (isMutable ? [index] : []));
}

function assembled(
  file: WasmFile,
  types: readonly FunctionType[],
  functionTypes: readonly number[],
  functions: readonly NewFunction[],
  bodies: readonly (readonly number[])[],
  added: Added,
): Uint8Array {
  const out: number[] = [0, 0x61, 0x73, 0x6d, 1, 0, 0, 0];
  const section = (id: number, content: readonly number[]): void => {
    out.push(id);
    pushUnsigned(out, content.length);
    pushBytes(out, content);
  };
  /** The members that are there, with more behind them. */
  const grown = (id: number, moreCount: number, more: readonly number[]): void => {
    const place = file.sections.get(id);
    const content: number[] = [];
    const cursor = new Cursor(file.bytes, place?.start ?? 0, place?.end ?? 0);
    pushUnsigned(content, (place === undefined ? 0 : cursor.unsigned()) + moreCount);
    pushBytes(content, file.bytes.subarray(cursor.at, cursor.end));
    pushBytes(content, more);
    section(id, content);
  };
  const same = (id: number): void => {
    const place = file.sections.get(id);
    if (place !== undefined) section(id, [...file.bytes.subarray(place.start, place.end)]);
  };
  section(
    SECTION.type,
    listOf(types, ({ parameters, results }) => [
      0x60,
      ...listOf(parameters, (one) => [one]),
      ...listOf(results, (one) => [one]),
    ]),
  );
  same(SECTION.import);
  grown(
    SECTION.function,
    functionTypes.length,
    functionTypes.flatMap((type) => unsigned(type)),
  );
  same(SECTION.table);
  if (file.memory !== undefined) {
    const { least, most } = file.memory;
    section(SECTION.memory, [1, 1, ...unsigned(least), ...unsigned(most)]);
  }
  const number = (first: number): number[] => [VALUE.i32, 1, ...integer(first), OP.end];
  grown(SECTION.global, 4, [...number(0), ...number(NOWHERE), ...number(0), ...number(STOPPED_BY.nothing)]);
  const exported = exportsAdded(file, added);
  grown(
    SECTION.export,
    exported.length,
    exported.flatMap((one) => [...one]),
  );
  same(SECTION.element);
  same(SECTION.dataCount);
  const own = functions.map(({ locals, body }) => [...(locals === 0 ? [0] : [1, locals, VALUE.i32]), ...body, OP.end]);
  const code: number[] = [];
  pushUnsigned(code, bodies.length + own.length);
  for (const body of [...bodies, ...own]) {
    pushUnsigned(code, body.length);
    pushBytes(code, body);
  }
  section(SECTION.code, code);
  same(SECTION.data);
  return Uint8Array.from(out);
}

/** The start function is among them, so that making the program ready runs none of it. */
function exportsAdded(file: WasmFile, { fuel, at, depth, why, firstAccess }: Added): number[][] {
  const one = (name: string, kind: number, index: number): number[] => {
    const to: number[] = [];
    pushName(to, `${ADDED}${name}`);
    to.push(kind);
    pushUnsigned(to, index);
    return to;
  };
  return [
    one('fuel', KIND.global, fuel),
    one('at', KIND.global, at),
    one('depth', KIND.global, depth),
    one('why', KIND.global, why),
    ...(file.memory !== undefined ? [one('memory', KIND.memory, 0)] : []),
    ...(file.start === undefined ? [] : [one('start', KIND.function, file.start)]),
    ...variablesOf(file).flatMap((_, place) => [
      one(`get ${place}`, KIND.function, firstAccess + 2 * place),
      one(`set ${place}`, KIND.function, firstAccess + 2 * place + 1),
    ]),
  ];
}

function listOf<T>(members: readonly T[], bytes: (member: T) => readonly number[]): number[] {
  const to: number[] = [];
  pushUnsigned(to, members.length);
  for (const member of members) pushBytes(to, bytes(member));
  return to;
}

function op(to: number[], code: number): void {
  to.push(code);
}

function numbered(to: number[], code: number, value: number): void {
  to.push(code);
  pushUnsigned(to, value);
}

const unsigned = (value: number): number[] => {
  const to: number[] = [];
  pushUnsigned(to, value);
  return to;
};
const integer = (value: number): number[] => {
  const to: number[] = [OP.const32];
  pushSigned(to, value);
  return to;
};
const get = (global: number): number[] => [OP.globalGet, ...unsigned(global)];
const set = (global: number): number[] => [OP.globalSet, ...unsigned(global)];
