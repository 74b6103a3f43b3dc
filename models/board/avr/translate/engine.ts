/**
 * The engine that runs translated code: finds the blocks of an image, makes units of them, and carries on with the
 * interpreter wherever translated code stops, so that the outcome is the interpreter's to the cycle.
 *
 * Addresses that only a computed jump reaches are met while running; they are gathered, and the whole is translated
 * anew when enough runs have come past them. Translations are kept by content, for the next run of the same image.
 */
import { createHash } from 'node:crypto';
import type { Access } from '../careful.ts';
import type { Chip } from '../chips.ts';
import type { Engine, EngineKind } from '../core.ts';
import { decode, type Program } from '../decode.ts';
import { interpret } from '../interpreter.ts';
import { noLoops } from '../loops.ts';
import { AT, ENTRY_BASE, type Machine, MEMORY_BYTES, NEEDED_BASE, STATE_BASE } from '../machine.ts';
import { FIRST_CAREFUL } from '../op.ts';
import { type Block, findBlocks, needsHost, rootsOf, targetsOf } from './blocks.ts';
import { AGAIN, LEAVE, UNKNOWN } from './emitter.ts';
import { inLoopOrder } from './order.ts';
import { emitUnit, type Unit } from './unit.ts';
import { type Code, code, moduleBytes, WASM } from './wasm-bytes.ts';
import { type WasmMemory, webAssembly } from './webassembly.ts';

const PAGES = MEMORY_BYTES / 0x10000;
/** Programs up to so many instructions are one unit with all registers in locals. */
const SMALL_INSTRUCTIONS = 1500;
/** Routines are joined into one unit up to this size. */
const UNIT_INSTRUCTIONS = 1500;
/** How often a hole must be met before the first new translation; each further one waits twice as long. */
const FIRST_PATIENCE = 16;
/** Runs of the interpreter in a row that meet no entry before it makes one. */
const STRAY_LIMIT = 256;
const KEPT_TRANSLATIONS = 16;

interface Translation {
  readonly module: object;
  /** Unit and block of each entry, as the entry table holds them. */
  readonly entries: Int32Array;
  /** Cycles that must be left to begin at each entry. */
  readonly needed: Int32Array;
  /** The program with a stop at every entry, for the interpreter to go to the next. */
  readonly stops: Uint8Array;
  readonly roots: ReadonlySet<number>;
}

const translations = new Map<string, Translation>();
/** An operation that no engine knows: the interpreter stops before it. */
const STOP = 127;

/** Translated code. Windows are cut so that the host may replace its first, quickly made code by its better code. */
export const translatedEngine: EngineKind = {
  createBuffer() {
    const memory = new webAssembly.Memory({ initial: PAGES, maximum: PAGES });
    memories.set(memory.buffer, memory);
    return memory.buffer;
  },
  windowCycles: 4_000_000,
  start: (machine, image, interpretRest, access) =>
    startEngine(machine, decode(machine.chip, image.flash, image.given), interpretRest, access),
};

const memories = new WeakMap<ArrayBuffer, WasmMemory>();

function startEngine(machine: Machine, program: Program, interpretRest: Engine, access: Access): Engine {
  const { state, chip } = machine;
  const ops = program.op;
  const memory = memories.get(machine.data.buffer as ArrayBuffer)!;
  const table = new Int32Array(memory.buffer, ENTRY_BASE, program.words);
  const neededTable = new Int32Array(memory.buffer, NEEDED_BASE, program.words);
  const loops = noLoops();
  const key = createHash('sha256').update(chip.name).update(program.flash).digest('hex');
  let translation = translationOf(key, chip, program, new Set(rootsOf(chip, program)));
  const roots = new Set(translation.roots);
  let patience = FIRST_PATIENCE;
  let met = 0;
  let strays = 0;
  let run: () => number = () => UNKNOWN;
  let toEntry = machine;
  const use = (): void => {
    table.set(translation.entries);
    neededTable.set(translation.needed);
    run = new webAssembly.Instance(translation.module, { core: { memory, ...access } }).exports.run!;
    toEntry = { ...machine, program: { ...program, op: translation.stops } };
  };
  use();
  const noteHole = (pc: number): void => {
    if (needsHost(program, pc)) return;
    roots.add(pc);
    if (++met < patience || roots.size === translation.roots.size) return;
    met = 0;
    patience *= 2;
    translation = translationOf(key, chip, program, new Set(roots));
    use();
  };
  return () => {
    for (;;) {
      const pc = state[AT.pc]!;
      if (table[pc] !== 0) {
        strays = 0;
        const status = run();
        if (state[AT.left]! <= 0) return 0;
        // The next instruction needs care, or the next block is longer than the rest of the window.
        if (ops[state[AT.pc]!]! >= FIRST_CAREFUL) return 1;
        if (status !== UNKNOWN) return interpretRest();
        noteHole(state[AT.pc]!);
        continue;
      }
      // Code that is never come to by way of a block's start would stay with the interpreter for good.
      if (++strays > STRAY_LIMIT) {
        strays = 0;
        met = patience;
        noteHole(pc);
        if (table[pc] !== 0) continue;
      }
      if (interpret(toEntry, loops) === 0) return 0;
      if (table[state[AT.pc]!] === 0) return 1;
    }
  };
}

/** The kept translation of an image if it covers `roots`, or a new one. */
function translationOf(key: string, chip: Chip, program: Program, roots: ReadonlySet<number>): Translation {
  const kept = translations.get(key);
  const isCovered = kept !== undefined && [...roots].every((root) => kept.roots.has(root));
  const translation = isCovered ? kept : translate(chip, program, roots);
  // The least recently used goes first.
  translations.delete(key);
  translations.set(key, translation);
  for (const old of translations.keys()) {
    if (translations.size <= KEPT_TRANSLATIONS) break;
    translations.delete(old);
  }
  return translation;
}

/** Translates all code that can be reached from `roots`. */
export function translate(chip: Chip, program: Program, roots: ReadonlySet<number>): Translation {
  const blocks = findBlocks(program, roots);
  const entered = enteredFrom(program, roots, blocks);
  const groups = groupsOf(blocks);
  const unitOf = new Map<number, number>();
  groups.forEach((group, unit) => {
    for (const block of group) unitOf.set(block.start, unit);
  });
  // What one unit goes on to in another is entered from outside.
  for (const block of blocks.values()) {
    for (const target of block.next) if (unitOf.get(target) !== unitOf.get(block.start)) entered.add(target);
  }
  const instructions = [...blocks.values()].reduce((sum, block) => sum + block.at.length, 0);
  const entries = new Int32Array(program.words);
  const needed = new Int32Array(program.words);
  const stops = program.op.slice();
  const units: Unit[] = groups.map((group, unit) =>
    emitUnit({
      program,
      ramStart: chip.sramStart,
      ramEnd: chip.sramEnd,
      outputs: chip.outputs,
      unit,
      blocks: inLoopOrder(group, entered),
      entered,
      keepsRegisters: instructions <= SMALL_INSTRUCTIONS,
    }),
  );
  units.forEach((unit, number) => {
    for (const { pc, block, needed: cycles } of unit.entries) {
      entries[pc] = ((number + 1) << 16) | block;
      needed[pc] = cycles;
      stops[pc] = STOP;
    }
  });
  return { module: new webAssembly.Module(moduleBytes(units, driver(), PAGES)), entries, needed, stops, roots };
}

/** Blocks that control may come to from outside a unit: roots, routines, what follows a call or an instruction of the host. */
function enteredFrom(program: Program, roots: Iterable<number>, blocks: ReadonlyMap<number, Block>): Set<number> {
  const entered = new Set(roots);
  for (const block of blocks.values()) {
    if (block.calls >= 0) entered.add(block.calls);
    if (block.resumes >= 0) entered.add(block.resumes);
  }
  for (let pc = 0; pc < program.words; pc++) {
    if (!needsHost(program, pc)) continue;
    for (const target of targetsOf(program, pc)) entered.add(target);
  }
  return entered;
}

/** Blocks by unit, each in the order of addresses: all in one if they are few, otherwise what jumps hold together. */
function groupsOf(blocks: ReadonlyMap<number, Block>): Block[][] {
  const parent = new Map<number, number>();
  const size = new Map<number, number>();
  let total = 0;
  for (const block of blocks.values()) {
    parent.set(block.start, block.start);
    size.set(block.start, block.at.length);
    total += block.at.length;
  }
  const find = (start: number): number => {
    let at = start;
    while (parent.get(at)! !== at) {
      parent.set(at, parent.get(parent.get(at)!)!);
      at = parent.get(at)!;
    }
    return at;
  };
  const join = (one: number, other: number): void => {
    if (!parent.has(other)) return;
    const a = find(one);
    const b = find(other);
    const joined = size.get(a)! + size.get(b)!;
    if (a === b || (joined > UNIT_INSTRUCTIONS && total > SMALL_INSTRUCTIONS)) return;
    parent.set(b, a);
    size.set(a, joined);
  };
  // Jumps first, then calls while there is room.
  for (const block of blocks.values()) for (const target of [...block.next, block.resumes]) join(block.start, target);
  if (total <= SMALL_INSTRUCTIONS) for (const start of blocks.keys()) join(blocks.keys().next().value!, start);
  const groups = new Map<number, Block[]>();
  for (const block of blocks.values()) {
    const group = groups.get(find(block.start)) ?? [];
    group.push(block);
    groups.set(find(block.start), group);
  }
  return [...groups.values()].map((group) => group.sort((one, other) => one.start - other.start));
}

/** Looks up `pc` and calls its unit until one leaves, or none knows the address. */
// biome-ignore format: stack code reads along the line
function driver(): { readonly locals: number; readonly body: Code } {
  const body = code();
  const again = body.open(WASM.loop);
  body.int(0).load(STATE_BASE + 4 * AT.pc).int(2).op(WASM.shl).tee(1).load(ENTRY_BASE).tee(0).op(WASM.eqz).open(WASM.if);
  body.int(UNKNOWN).op(WASM.return).close();
  body.int(0).load(STATE_BASE + 4 * AT.left).get(1).load(NEEDED_BASE).op(WASM.ltS).open(WASM.if);
  body.int(LEAVE).op(WASM.return).close();
  body.get(0).int(0xffff).op(WASM.and).get(0).int(16).op(WASM.shrU).int(1).op(WASM.sub).op(WASM.callIndirect, 0, 0);
  body.tee(0).int(AGAIN).op(WASM.eq).brIf(again).close();
  body.get(0);
  return { locals: 2, body };
}
