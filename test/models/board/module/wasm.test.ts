/** Modules in WebAssembly: the same program as before, but it cannot run for ever, see the processor's NaNs, or hide anything. */
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { Program } from '../../../../models/board/module/program.ts';
import { readWasmModule } from '../../../../models/board/module/wasm/module.ts';
import { readWasm } from '../../../../models/board/module/wasm/read.ts';
import { rewrite } from '../../../../models/board/module/wasm/rewrite.ts';
import { exampleWorld, passes, restore, save } from './example-world.ts';
import { straight } from './straight.ts';
import { name, wasmFile } from './wasm-file.ts';

const bytesOf = (file: string): Uint8Array =>
  new Uint8Array(readFileSync(fileURLToPath(new URL(file, import.meta.url))));
const shapes = bytesOf('shapes.wasm');
const I32 = 0x7f;

function programOf(bytes: Uint8Array): Program {
  const { program, mistakes } = readWasmModule(bytes);
  expect(mistakes).toEqual([]);
  return program!;
}
/** The one mistake in a file, with its place. */
function mistakeIn(bytes: Uint8Array): string {
  const { mistakes } = readWasmModule(bytes);
  return mistakes.map(({ at, says }) => (at === undefined ? says : `${at}: ${says}`)).join('\n');
}
/** Runs `pass` once: what it did, and why it stopped. */
function once(bytes: Uint8Array, stepsMost = 10_000): string {
  const program = programOf(bytes);
  const world = exampleWorld();
  const running = program.start(world, stepsMost);
  const stop = running.init() ?? running.pass();
  return [
    ...world.did,
    ...(stop === undefined ? [] : [`${stop.kind} in ${program.placeOf(stop.place)}: ${stop.says}`]),
  ].join('\n');
}

/** Code that asks for more pages and tells what came of it; and that tells how many there are. */
const grows = (pages: number): number[] => [0x41, pages, 0x40, 0, 0x10, 0];
const tellsSize = [0x3f, 0, 0x10, 0];

const counts = fc.array(fc.integer({ min: 0, max: 1023 }), { maxLength: 40 });

describe('module in WebAssembly: what is put in', () => {
  test('law: a program with loops, tables, recursion, pointers and floats does what it does without', () => {
    fc.assert(
      fc.property(counts, (list) => {
        expect(passes(programOf(shapes), list)).toEqual(straight(shapes, list));
      }),
      { seed: 20261125, numRuns: 60 },
    );
  });
  test('the same bytes each time', () => {
    const made = () => rewrite(readWasm(shapes), { depth: 200 });
    expect(made()).toEqual(made());
  });
  test('several results come through: a function that returns two numbers early', () => {
    // (func (result i32 i32) block i32.const 3 i32.const 4 return end unreachable)
    const pair = { results: [I32, I32], code: [0x02, 0x40, 0x41, 3, 0x41, 4, 0x0f, 0x0b, 0x00] };
    const file = wasmFile({
      imports: ['set_compare'],
      functions: [pair, { name: 'pass', code: [0x10, 1, 0x6c, 0x10, 0] }],
    });
    expect(once(file)).toBe('compare 12');
  });
  test('every NaN is the canonical one, whatever the processor gives (Core Specification 4.3.3, canonical NaN)', () => {
    // 0 / 0 in both widths, as bits; printed as bytes of memory.
    const file = wasmFile({
      imports: ['set_compare'],
      functions: [
        {
          name: 'pass',
          code: [
            ...[0x44, 0, 0, 0, 0, 0, 0, 0, 0, 0x44, 0, 0, 0, 0, 0, 0, 0, 0, 0xa3, 0xbd, 0x42, 32, 0x88, 0xa7, 0x10, 0],
            ...[0x43, 0, 0, 0, 0, 0x43, 0, 0, 0, 0, 0x95, 0xbc, 0x10, 0],
          ],
        },
      ],
    });
    expect(once(file)).toBe(`compare ${0x7ff80000}\ncompare ${0x7fc00000}`);
  });
  test('memory grows as it is asked for, to 64 pages (4 MiB) and no further, whatever the file allows', () => {
    // 1 page; 3 and 60 more fit, and one more does not.
    const code = [...grows(3), ...grows(60), ...grows(1), ...tellsSize];
    const file = wasmFile({ imports: ['set_compare'], functions: [{ name: 'pass', code }], pages: 1 });
    expect(once(file)).toBe('compare 1\ncompare 4\ncompare -1\ncompare 64');
    const less = wasmFile({ imports: ['set_compare'], functions: [{ name: 'pass', code }], pages: 1, pagesMost: 5 });
    expect(once(less)).toBe('compare 1\ncompare -1\ncompare 4\ncompare 5');
  });
  test('a start function is called when the program starts, before `init`', () => {
    const code = (value: number): number[] => [0x41, value, 0x10, 0];
    const file = wasmFile({
      imports: ['set_compare'],
      functions: [{ code: code(1) }, { name: 'init', code: code(2) }, { name: 'pass', code: code(3) }],
      start: 1,
    });
    expect(once(file)).toBe('compare 1\ncompare 2\ncompare 3');
  });
  test.each([
    [['_initialize'], 'compare 1\ncompare 3'],
    [['__wasm_call_ctors'], 'compare 1\ncompare 3'],
    // The first calls the second by itself (tool conventions of WebAssembly, "Basic C ABI": reactors).
    [['__wasm_call_ctors', '_initialize'], 'compare 2\ncompare 3'],
    [['_initialize', '__wasm_call_ctors'], 'compare 1\ncompare 3'],
  ])('%s is called once, before all else', (names, says) => {
    const code = (value: number): number[] => [0x41, value, 0x10, 0];
    const functions = [
      ...names.map((one, place) => ({ name: one, code: code(place + 1) })),
      { name: 'pass', code: code(3) },
    ];
    expect(once(wasmFile({ imports: ['set_compare'], functions }))).toBe(says);
  });
});

describe('module in WebAssembly: what cannot go on', () => {
  const only = (code: readonly number[]): Uint8Array => wasmFile({ functions: [{ name: 'pass', code }], pages: 1 });
  test.each([
    ['an endless loop', [0x03, 0x40, 0x0c, 0, 0x0b], 'steps in pass: it did not come back within 10000 steps'],
    ['recursion', [0x10, 0], 'trap in pass: its calls nest deeper than 200'],
    ['a division by zero', [0x41, 1, 0x41, 0, 0x6d, 0x1a], 'trap in pass: it divides by zero'],
    ['unreachable', [0x00], 'trap in pass: it came to a place that it says can never be reached'],
    ['a load beyond the memory', [0x41, 0x7f, 0x28, 2, 0, 0x1a], 'trap in pass: it reads or writes beyond its memory'],
    [
      'a float that is no integer',
      [0x43, 0, 0, 0xc0, 0x7f, 0xa8, 0x1a],
      'trap in pass: a number does not fit into an integer',
    ],
    // 64 KiB at a step for 32 bytes: the fifth time is beyond 10000 steps.
    [
      'memory filled over and over',
      Array.from({ length: 5 }, () => [0x41, 0, 0x41, 0, 0x41, 0x80, 0x80, 0x04, 0xfc, 11, 0]).flat(),
      'steps in pass: it did not come back',
    ],
    [
      'memory moved over and over',
      Array.from({ length: 5 }, () => [0x41, 0, 0x41, 0, 0x41, 0x80, 0x80, 0x04, 0xfc, 10, 0, 0]).flat(),
      'steps in pass: it did not come back',
    ],
  ])('%s', (_name, code, says) => {
    expect(once(only(code))).toContain(says);
  });
  test('32 bytes filled are one step: four times 64 KiB are 8192', () => {
    const fill = [0x41, 0, 0x41, 0, 0x41, 0x80, 0x80, 0x04, 0xfc, 11, 0];
    const code = Array.from({ length: 4 }, () => fill).flat();
    // And one more for the call.
    expect(once(only(code), 8193)).toBe('');
    expect(once(only(code), 8192)).toMatch(/^steps/);
  });
  test('text that lies beyond the memory', () => {
    const file = wasmFile({
      imports: ['print'],
      functions: [{ name: 'pass', code: [0x41, 0x7f, 0x41, 1, 0x10, 0] }],
      pages: 1,
    });
    expect(once(file)).toBe('trap in pass: it prints 1 bytes from 0xffffffff, beyond its memory');
  });
  test('functions that return early, 300 of them one after the other, nest no deeper; the function at work is the caller again', () => {
    // (func $early block return end) and a `pass` that calls it over and over, then comes to `unreachable`.
    const early = { name: 'early', code: [0x02, 0x40, 0x0f, 0x0b] };
    const caller = { name: 'pass', code: [...Array.from({ length: 300 }, () => [0x10, 0]).flat(), 0x00] };
    expect(once(wasmFile({ functions: [early, caller] }))).toMatch(/^trap in pass: it came to a place/);
  });
  test('the next call of a program that was stopped has all its steps again', () => {
    const running = programOf(wasmFile({ functions: [{ name: 'pass', code: [0x10, 0] }] })).start(exampleWorld(), 50);
    const first = running.pass();
    expect(first).toMatchObject({ kind: 'steps' });
    // Five times 50 calls within calls would be deeper than 200.
    for (let call = 0; call < 5; call += 1) expect(running.pass()).toEqual(first);
  });
  test('what carries a panic out, and what that calls, counts as the function that panics; afterwards all is as before', () => {
    // pass -> early, which comes back; then pass -> other -> rust_panic -> early, and there the trap.
    const names = ['early', 'rust_panic', 'other', 'pass'];
    const listed = names.flatMap((one, index) => [index + 1, ...name(one)]);
    const named = [...name('name'), 1, listed.length + 1, names.length, ...listed];
    const stopsAt = (second: readonly number[]): string =>
      once(
        wasmFile({
          imports: ['read_count'],
          functions: [
            { code: [0x23, 0, 0x04, 0x40, 0x00, 0x0b] },
            { code: [0x41, 1, 0x24, 0, 0x10, 1, 0x00] },
            { code: [0x10, 2] },
            { name: 'pass', code: [0x10, 1, ...second] },
          ],
          globals: [[I32, 1, 0x41, 0]],
          beforeCode: [0, named.length, ...named],
        }),
      );
    expect(stopsAt([0x10, 3])).toBe(
      'trap in other: it panics, and says nothing of why (a panic hook that calls `fail` does)',
    );
    expect(stopsAt([0x00])).toMatch(/^trap in pass: it came to a place/);
    expect(stopsAt([0x41, 1, 0x24, 0, 0x10, 1])).toMatch(/^trap in early: it came to a place/);
  });
  test('what stops a call says nothing of the next one', () => {
    // Count 0: round and round; 1: a trap.
    const code = [0x10, 0, 0x45, 0x04, 0x40, 0x03, 0x40, 0x0c, 0, 0x0b, 0x0b, 0x00];
    const world = exampleWorld();
    const running = programOf(wasmFile({ imports: ['read_count'], functions: [{ name: 'pass', code }] })).start(
      world,
      50,
    );
    expect(running.pass()?.kind).toBe('steps');
    world.count = 1;
    expect(running.pass()?.kind).toBe('trap');
  });
  test.each([
    // The last three bytes of a page; one beyond it; none, right behind it.
    [0xfffd, 3, '\0\0\0'],
    [0xfffd, 4, 'trap in pass: it prints 4 bytes from 0xfffd, beyond its memory'],
    [0x10000, 0, ''],
    [0x10001, 0, 'trap in pass: it prints 0 bytes from 0x10001, beyond its memory'],
  ])('text from byte %d, %d long, in a memory of one page', (from, length, says) => {
    const at = [(from & 127) | 128, ((from >> 7) & 127) | 128, from >> 14];
    const code = [0x41, ...at, 0x41, length, 0x10, 0];
    expect(once(wasmFile({ imports: ['print'], functions: [{ name: 'pass', code }], pages: 1 }))).toBe(says);
  });
});

describe('module in WebAssembly: snapshots', () => {
  test('law: saved after any pass and put back, it goes on as it did', () => {
    fc.assert(
      fc.property(counts, counts, counts, (before, after, between) => {
        const program = programOf(shapes);
        const world = exampleWorld();
        const running = program.start(world, 100_000);
        const go = (list: readonly number[]): string[] => {
          world.did.length = 0;
          for (const count of list) {
            world.count = count;
            running.pass();
          }
          return [...world.did];
        };
        running.init();
        go(before);
        const saved = save(running);
        const pins = world.pins;
        const first = go(after);
        go(between);
        restore(running, saved);
        world.pins = pins;
        expect(go(after)).toEqual(first);
        // And in another instance, which has done something else.
        const other = program.start(world, 100_000);
        other.init();
        restore(other, saved);
        world.pins = pins;
        world.did.length = 0;
        for (const count of after) {
          world.count = count;
          other.pass();
        }
        expect(world.did).toEqual(first);
      }),
      { seed: 20261125, numRuns: 40 },
    );
  });
  test('memory that has grown is as large, and holds the same, after a snapshot from before or after; and once more after a reset', () => {
    // Each pass tells the size and the last byte, writes 7 there, and asks for one page more.
    const last = [0x3f, 0, 0x41, 16, 0x74, 0x41, 1, 0x6b];
    const code = [...tellsSize, ...last, 0x2d, 0, 0, 0x10, 0, ...last, 0x41, 7, 0x3a, 0, 0, ...grows(1)];
    const world = exampleWorld();
    const running = programOf(
      wasmFile({ imports: ['set_compare'], functions: [{ name: 'pass', code }], pages: 1 }),
    ).start(world, 1000);
    const go = (times: number): string[] => {
      world.did.length = 0;
      for (let pass = 0; pass < times; pass += 1) expect(running.pass()).toBeUndefined();
      return [...world.did];
    };
    const first = go(2);
    expect(first).toEqual(['compare 1', 'compare 0', 'compare 1', 'compare 2', 'compare 0', 'compare 2']);
    const small = save(running);
    const second = go(3);
    const large = save(running);
    const third = go(2);
    restore(running, small);
    expect(go(3)).toEqual(second);
    restore(running, small);
    restore(running, large);
    expect(go(2)).toEqual(third);
    running.reset();
    expect(go(2)).toEqual(first);
    expect(go(3)).toEqual(second);
  });
  test('beyond a memory that was put back to what it was, there is nothing again', () => {
    // The first pass grows; each reads at 64 KiB.
    const code = [0x10, 0, 0x04, 0x40, 0x41, 1, 0x40, 0, 0x1a, 0x0b, 0x41, 0x80, 0x80, 4, 0x2d, 0, 0, 0x1a];
    const world = exampleWorld();
    const running = programOf(
      wasmFile({ imports: ['read_count'], functions: [{ name: 'pass', code }], pages: 1 }),
    ).start(world, 1000);
    const saved = save(running);
    world.count = 1;
    expect(running.pass()).toBeUndefined();
    world.count = 0;
    expect(running.pass()).toBeUndefined();
    restore(running, saved);
    expect(running.pass()?.says).toBe('it reads or writes beyond its memory');
  });
  test('variables of every type keep all their bits, those of a NaN among them', () => {
    const [F32, F64, I64] = [0x7d, 0x7c, 0x7e];
    const globals = [
      [I32, 1, 0x41, 0x7f],
      [I64, 1, 0x42, 0x7e],
      [F32, 1, 0x43, 1, 2, 0xa0, 0xff],
      [F64, 1, 0x44, 1, 2, 3, 4, 5, 6, 0xf4, 0x7f],
    ];
    const zero = [0x41, 0, 0x24, 0, 0x42, 0, 0x24, 1, 0x43, 0, 0, 0, 0, 0x24, 2, 0x44, 0, 0, 0, 0, 0, 0, 0, 0, 0x24, 3];
    const tell = [
      ...[0x23, 0, 0x10, 0, 0x23, 1, 0xa7, 0x10, 0, 0x23, 2, 0xbc, 0x10, 0],
      ...[0x23, 3, 0xbd, 0xa7, 0x10, 0, 0x23, 3, 0xbd, 0x42, 32, 0x88, 0xa7, 0x10, 0],
    ];
    const world = exampleWorld();
    const running = programOf(
      wasmFile({ imports: ['set_compare'], functions: [{ name: 'pass', code: [...tell, ...zero] }], globals }),
    ).start(world, 1000);
    const saved = save(running);
    running.pass();
    const first = world.did.splice(0);
    expect(first).toEqual([
      'compare -1',
      'compare -2',
      `compare ${0xffa00201 | 0}`,
      `compare ${0x04030201}`,
      `compare ${0x7ff40605}`,
    ]);
    running.pass();
    expect(world.did.splice(0)[0]).toBe('compare 0');
    restore(running, saved);
    running.pass();
    expect(world.did.splice(0)).toEqual(first);
    running.reset();
    running.pass();
    expect(world.did).toEqual(first);
  });
});

describe('module in WebAssembly: what is not taken', () => {
  const pass = { name: 'pass', code: [] };
  test('no `pass`, or one of another form', () => {
    expect(mistakeIn(wasmFile({ functions: [{ code: [] }] }))).toBe(
      'it exports no function `pass`, which is called every control pass',
    );
    expect(mistakeIn(wasmFile({ functions: [{ name: 'pass', parameters: [I32], code: [] }] }))).toBe(
      'its function `pass` is (i32) -> (); it must take and give nothing',
    );
  });
  test('an import of somebody else, or of another form', () => {
    const foreign = wasmFile({ imports: ['read_count'], functions: [pass] });
    const at = new TextDecoder('latin1').decode(foreign).indexOf('jackstand');
    foreign.set(new TextEncoder().encode('somewhere'), at);
    expect(mistakeIn(foreign)).toBe(
      `byte ${at - 1}: it imports the function \`somewhere.read_count\`; only the functions of \`jackstand\` are there`,
    );
    const other = wasmFile({ imports: ['read_count'], functions: [pass] });
    other.set(new TextEncoder().encode('set_'), at + 10);
    expect(mistakeIn(other)).toContain(
      'it imports `jackstand.set__count`; what can be imported is read_count, set_compare',
    );
    const wrong = wasmFile({ imports: ['set_compare', 'read_count'], functions: [pass] });
    const second = new TextDecoder('latin1').decode(wrong).indexOf('read_count');
    wrong[second + 'read_count'.length + 1] = 0;
    expect(mistakeIn(wrong)).toContain('it imports `read_count` as (i32) -> (); it is () -> (i32)');
  });
  test('imports that differ in their results alone, or are named as what every object has', () => {
    const known = wasmFile({ imports: ['read_count'], functions: [pass] });
    // The first type of the file is that of the import: () -> (i32), here changed to () -> (i64).
    known[known.indexOf(0x60) + 3] = 0x7e;
    expect(mistakeIn(known)).toContain('it imports `read_count` as () -> (i64); it is () -> (i32)');
    const inherited = wasmFile({ imports: ['read_pin'], functions: [pass] });
    inherited.set(
      new TextEncoder().encode('toString'),
      new TextDecoder('latin1').decode(inherited).indexOf('read_pin'),
    );
    expect(mistakeIn(inherited)).toContain('it imports `jackstand.toString`; what can be imported is read_count');
  });
  test('a `pass` that gives something, one that is no function, an export with a name of the bench', () => {
    expect(mistakeIn(wasmFile({ functions: [{ name: 'pass', results: [I32], code: [0x41, 0] }] }))).toBe(
      'its function `pass` is () -> (i32); it must take and give nothing',
    );
    const memory = wasmFile({ functions: [pass], pages: 1 });
    memory[new TextDecoder('latin1').decode(memory).indexOf('pass') + 4] = 2;
    expect(mistakeIn(memory)).toBe('its export `pass` is no function');
    expect(mistakeIn(wasmFile({ functions: [pass, { name: 'jackstand:fuel', code: [] }] }))).toBe(
      'byte 0: the name `jackstand:fuel` of an export is kept for the bench',
    );
  });
  test('at the limits: 64 pages, 1000 locals, 10000 entries are taken, and one more is not', () => {
    const taken = (described: object): string => mistakeIn(wasmFile({ functions: [pass], ...described }));
    expect(taken({ pages: 64 })).toBe('');
    expect(taken({ pages: 65 })).toMatch(/the memory has 65 pages/);
    const locals = (low: number): string =>
      taken({ functions: [{ name: 'pass', locals: [[low, 0x07, I32]], code: [] }] });
    expect(locals(0xe8)).toBe('');
    expect(locals(0xe9)).toMatch(/a function has 1001 locals; at most 1000 are taken/);
    const table = (low: number): string => taken({ beforeGlobals: [4, 5, 1, 0x70, 0, low, 0x4e] });
    expect(table(0x90)).toBe('');
    expect(table(0x91)).toMatch(/the table has 10001 entries; at most 10000 are taken/);
  });
  test('memory that is shared, a variable that holds a reference, entries of a table that do not fit', () => {
    expect(mistakeIn(wasmFile({ functions: [pass], beforeGlobals: [5, 4, 1, 3, 1, 1] }))).toMatch(
      /shared and 64-bit memories are not taken$/,
    );
    expect(mistakeIn(wasmFile({ functions: [pass], globals: [[0x6f, 1, 0xd0, 0x6f]] }))).toMatch(
      /a variable that holds a reference or a vector is not taken$/,
    );
    const beyond = [9, 7, 1, 0, 0x41, 5, 0x0b, 1, 0];
    expect(
      mistakeIn(wasmFile({ functions: [pass], beforeGlobals: [4, 4, 1, 0x70, 0, 1], beforeCode: beyond })),
    ).toMatch(/^it cannot be set up: /);
  });
  test('vectors, too much memory, too many locals; damaged names only lose names', () => {
    const vector = [0xfd, 12, ...Array.from({ length: 16 }, () => 0), 0x1a];
    expect(mistakeIn(wasmFile({ functions: [{ name: 'pass', code: vector }] }))).toMatch(
      /^byte \d+: vector instructions \(simd128\) are not taken; build without it$/,
    );
    expect(mistakeIn(wasmFile({ functions: [pass], pages: 100 }))).toMatch(/^byte \d+: the memory has 100 pages/);
    const many = wasmFile({ functions: [{ name: 'pass', locals: [[0xd0, 0x0f, I32]], code: [] }] });
    expect(mistakeIn(many)).toMatch(/^byte \d+: a function has 2000 locals; at most 1000 are taken$/);
    expect(mistakeIn(wasmFile({ functions: [pass], beforeCode: [0, 6, ...name('name'), 9] }))).toBe('');
  });
  test('constructors that the linker has called before each call of `pass`: how to link instead', () => {
    const wrapped = [...name('name'), 1, 24, 1, 1, ...name('pass.command_export')];
    const file = wasmFile({ functions: [{ code: [] }, pass], beforeCode: [0, wrapped.length, ...wrapped] });
    expect(mistakeIn(file)).toMatch(
      /^its linker has the constructors of static objects called before each `pass`.*`-Wl,--export=__wasm_call_ctors`/,
    );
  });
  const table = [4, 4, 1, 0x70, 0, 1];
  test.each([
    // Core Specification 2.0, 5.4, and what later proposals add to it.
    ['exceptions, by their tags', [13, 3, 1, 0, 0], [], 'exceptions are not taken; build without them'],
    ['a tail call', [], [0x12, 0], 'tail calls are not taken; build without it'],
    ['a store to a table', table, [0x41, 0, 0xd0, 0x70, 0x26, 0], 'instruction 0x26 is not taken'],
    [
      'a table that grows, its second code written at length',
      table,
      [0xd0, 0x70, 0x41, 1, 0xfc, 0x8f, 0x00, 0, 0x1a],
      'instruction 0xfc 15, which changes tables or segments, is not taken',
    ],
  ])('%s', (_name, beforeGlobals, code, says) => {
    expect(mistakeIn(wasmFile({ functions: [{ name: 'pass', code }], beforeGlobals }))).toContain(says);
  });
  test('a table that is filled from a segment', () => {
    const code = [0x41, 0, 0x41, 0, 0x41, 0, 0xfc, 12, 0, 0];
    const segment = [9, 5, 1, 1, 0, 1, 0];
    expect(
      mistakeIn(wasmFile({ functions: [{ name: 'pass', code }], beforeGlobals: table, beforeCode: segment })),
    ).toContain('instruction 0xfc 12, which changes tables or segments, is not taken');
  });
  test('memory that is filled costs steps also where the code of the instruction is written at length', () => {
    const fill = [0x41, 0, 0x41, 0, 0x41, 0x80, 0x80, 0x04, 0xfc, 0x8b, 0x80, 0x00, 0];
    const code = Array.from({ length: 5 }, () => fill).flat();
    expect(once(wasmFile({ functions: [{ name: 'pass', code }], pages: 1 }))).toContain('it did not come back');
  });
  test('not valid at all: what the compiler says, and where', () => {
    const bad = wasmFile({ functions: [{ name: 'pass', code: [0x6a] }] });
    expect(mistakeIn(bad)).toMatch(/^byte \d+: this is no valid WebAssembly: Compiling function #0/);
    expect(mistakeIn(shapes.slice(0, 100))).toMatch(/^byte \d+: this is no valid WebAssembly/);
    expect(mistakeIn(new Uint8Array(0))).toContain('this is no valid WebAssembly');
  });
  test('law: any bytes, and any damage to a good file, are told of or run within their limits', () => {
    const damage = fc.array(fc.tuple(fc.nat(shapes.length - 1), fc.nat(255)), { minLength: 1, maxLength: 6 });
    const files = fc.oneof(
      { weight: 1, arbitrary: fc.uint8Array({ maxLength: 300 }) },
      {
        weight: 6,
        arbitrary: damage.map((list) => {
          const file = shapes.slice();
          for (const [at, byte] of list) file[at] = byte;
          return file;
        }),
      },
    );
    let ran = 0;
    fc.assert(
      fc.property(files, (file) => {
        const { program, mistakes } = readWasmModule(file);
        expect(program === undefined).toBe(mistakes.length > 0);
        if (program === undefined) return;
        ran += 1;
        const running = program.start(exampleWorld(), 2000);
        const stops = [running.init(), running.pass(), running.pass()];
        for (const stop of stops) if (stop !== undefined) expect(program.placeOf(stop.place)).toMatch(/./);
        restore(running, save(running));
      }),
      { seed: 20261125, numRuns: 1500 },
    );
    expect(ran).toBeGreaterThan(50);
  });
});
