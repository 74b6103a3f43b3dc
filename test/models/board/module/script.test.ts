// biome-ignore-all lint/suspicious/noTemplateCurlyInString: texts of scripts
/** Modules in TypeScript: what they do is what the language says, and what they could do beyond it is a mistake or a stop. */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { buildSync } from 'esbuild';
import fc from 'fast-check';
import { beforeEach, describe, expect, test, vi } from 'vitest';
import type { Program } from '../../../../models/board/module/program.ts';
import { readModule } from '../../../../models/board/module/read.ts';
import type { Board } from '../../../../scenarios/orchard-cart/firmware/jackstand.d.ts';
import { exampleWorld, passes, restore, save } from './example-world.ts';

const encode = (text: string): Uint8Array => new TextEncoder().encode(text);
const shapes = readFileSync(fileURLToPath(new URL('shapes.ts', import.meta.url)), 'utf8');

function programOf(text: string): Program {
  const { program, mistakes } = readModule('here.ts', encode(text));
  expect(mistakes).toEqual([]);
  return program!;
}
function mistakesIn(text: string, name = 'here.ts'): string[] {
  const { program, mistakes } = readModule(name, encode(text));
  expect(program === undefined).toBe(mistakes.length > 0);
  return mistakes.map(({ at, says }) => (at === undefined ? says : `${at}: ${says}`));
}
/** A module whose `pass` has this body. */
const pass = (body: string, top = ''): string => `${top}\nexport function pass(board) {\n${body}\n}`;
/** What one pass of it did, and why it stopped. */
function once(text: string, stepsMost = 10_000): string {
  const program = programOf(text);
  const world = exampleWorld();
  const running = program.start(world, stepsMost);
  const stop = running.init() ?? running.pass();
  return [
    ...world.did,
    ...(stop === undefined ? [] : [`${stop.kind} in ${program.placeOf(stop.place)}: ${stop.says}`]),
  ].join('\n');
}

const counts = fc.array(fc.integer({ min: 0, max: 1023 }), { maxLength: 40 });

describe('module in TypeScript: it does what the language says', () => {
  beforeEach(() => {
    vi.resetModules();
  });
  test('law: the same as the module run as it is', async () => {
    await fc.assert(
      fc.asyncProperty(counts, async (list) => {
        vi.resetModules();
        const straight = (await import('./shapes.ts')) as { init(board: Board): void; pass(board: Board): void };
        const world = exampleWorld();
        const board: Board = {
          readCount: () => world.readCount(),
          setCompare: (compare) => world.setCompare(compare, 0),
          readPin: (pin) => world.readPin(pin),
          setPin: (pin, level) => world.setPin(pin, Boolean(level)),
          readPulse: () => world.readPulse(),
          timeUs: () => world.timeUs(),
          print: (text) => world.print(encode(text)),
          readByte: () => world.readByte(),
        };
        straight.init(board);
        for (const count of list) {
          world.count = count;
          straight.pass(board);
        }
        expect(passes(programOf(shapes), list)).toEqual(world.did);
      }),
      { seed: 20261125, numRuns: 40 },
    );
  });
  test.each([
    ['let x = 5; x += 2; x *= 3; x **= 2; x -= 1; x %= 7; x <<= 3; x |= 1; board.setCompare(x);', 'compare 49'],
    ['let x = 1; const y = x++ + ++x; board.print(`${y} ${x} ${x--} ${--x}`);', '4 3 3 1'],
    [
      'const a = [1, 2, 3]; a[3] = 9; a.push(4); a[0]++; a[1] += 5; board.print(`${a.shift()} ${a[0]} ${a.length} ${a.pop()}`);',
      '2 7 4 4',
    ],
    [
      'const o = { a: 1, "b c": [2] }; o.a -= 3; o["b c"][0] = o.a; o.d = 4; board.print(`${o.a} ${o["b c"][0]} ${o.d} ${o.e}`);',
      '-2 -2 4 undefined',
    ],
    ['let n = 0; for (const x of [1, 2, 3]) { if (x === 2) continue; n += x; } board.setCompare(n);', 'compare 4'],
    ['let n = 0; for (let i = 0, j = 9; i < j; i++, j--) n += j; board.setCompare(n);', 'compare 35'],
    [
      'board.print(String(1 / 3) + String(null) + String(true) + (0.1 + 0.2) + Math.max(1, Math.PI).toFixed(2));',
      '0.3333333333333333nulltrue0.300000000000000043.14',
    ],
    ['const o = { a: 1 }; board.print(`${o.a++} ${++o.a} ${o.a--} ${o.a}`);', '1 3 3 2'],
    ['board.print((1 / 3).toFixed(200) + (7.5).toFixed(-4) + (1.25).toFixed());', '0.3333333333333333148381'],
    ['board.setCompare(2.9); board.setCompare(-2.9);', 'compare 2\ncompare -2'],
    [
      'board.print(typeof board.readCount() + (1 < 2 ? "yes" : "no") + (null ?? "none") + (0 || "zero"));',
      'numberyesnonezero',
    ],
  ])('%s', (body, did) => {
    expect(once(pass(body))).toBe(did);
  });
  test('types leave no trace: assertions, declarations, overloads, generics, imports of types', () => {
    const text = `import { type Board } from './jackstand.d.ts';
      type Wide<T> = T | undefined;
      declare const never: number;
      interface Pair { a: number }
      let kept = <number>(5 as unknown as number)!;
      function same(value: number): number;
      function same<T>(this: void, value: T): T { return value satisfies T; }
      export { run as pass };
      function run(board: Board): void { board.setCompare(same(kept) as number); }`;
    expect(once(text)).toBe('compare 5');
  });
  test('several files that a bundler has made one of', () => {
    const folder = mkdtempSync(join(tmpdir(), 'module-bundle-'));
    writeFileSync(
      join(folder, 'limits.ts'),
      'export const neutral = 46;\nexport function most(a: number, b: number): number { return Math.max(a, b); }\n',
    );
    writeFileSync(
      join(folder, 'cart.ts'),
      `import { most, neutral } from './limits.ts';
import type { Board } from './jackstand.d.ts';
let compare = neutral;
export function init(board: Board): void { board.setCompare(neutral); }
export function pass(board: Board): void { compare = most(compare + 1, neutral); board.setCompare(compare); }
`,
    );
    const { outputFiles } = buildSync({
      entryPoints: [join(folder, 'cart.ts')],
      bundle: true,
      format: 'esm',
      write: false,
    });
    const { program, mistakes } = readModule('cart.mjs', outputFiles[0]!.contents);
    expect(mistakes).toEqual([]);
    expect(passes(program!, [0, 0])).toEqual(['compare 46', 'compare 47', 'compare 48']);
    rmSync(folder, { recursive: true });
  });
  test('JavaScript is read as that', () => {
    expect(mistakesIn(pass('board.setCompare(1);'), 'a.mjs')).toEqual([]);
    expect(mistakesIn('export function pass(board: Board) {}', 'a.js')[0]).toMatch(/^1:27: /);
  });
});

describe('module in TypeScript: what cannot stand in it', () => {
  test.each([
    ['class A {}', '1:1: a class cannot stand in a module'],
    ['const f = () => 1;', '1:11: a function inside an expression cannot stand in a module'],
    ['const t = new Date();', '1:11: `new` cannot stand in a module'],
    ['const t = Date.now();', '1:11: there is no function `now`'],
    ['const r = Math.random();', '1:11: `Math.random` cannot be called in a module: nothing may hang on chance'],
    ['const r = Math.flor(1);', '1:11: `Math.flor` cannot be called in a module; did you mean `floor`?'],
    ['const p = process;', '1:11: there is no `process`'],
    ['const g = globalThis;', '1:11: there is no `globalThis`'],
    ['let a = /x/;', '1:9: a regular expression cannot stand in a module'],
    ['let a = 1n;', '1:9: a big integer cannot stand in a module'],
    ['let a = [...[1]];', '1:10: `SpreadElement` cannot stand in a module'],
    ['let { a } = { a: 1 };', '1:5: a variable must have a name'],
    ['const a = 1; a = 2;', '1:14: `a` is a constant and cannot be changed'],
    ['let a = 1 == 2;', '1:9: `==` cannot stand in a module; `===` can'],
    ['import { x } from "./x.ts";', '1:1: a module is one file: only types can be imported'],
    ['export * from "./x.ts";', '1:1: `export *` cannot stand in a module'],
    ['try { } catch { }', '1:1: `try` cannot stand in a module'],
    ['enum E { a }', '1:1: an enum (constants can) cannot stand in a module'],
    ['function f() {} const g = f;', '1:27: `f` is a function: it can be called, but it is no value'],
    ['const lenght = 1; const b = lengt;', '1:29: there is no `lengt`; did you mean `lenght`?'],
    ['export const init = 5;', '1:14: `init` must be a function'],
    ['let a = 1; a &&= 2;', '1:12: `&&=` cannot stand in a module'],
    ['async function f() {}', '1:1: a function that waits cannot stand in a module'],
    ['function* f() {}', '1:1: a function that waits cannot stand in a module'],
    ['for await (const x of [1]) {}', '1:12: `for ... of` must declare its variable'],
    ['let a = { __proto__: 1 };', '1:11: `__proto__` is no name of a member'],
    ['let a = ;', '1:9: Unexpected token'],
  ])('%s', (top, says) => {
    const [first] = mistakesIn(pass('', top));
    expect(first).toContain(says);
  });
  test('all mistakes are told at once, twenty at most', () => {
    expect(mistakesIn(pass('a; b; c;')).length).toBe(3);
    expect(mistakesIn(pass('a;'.repeat(50))).length).toBe(20);
  });
  test('256 KiB are read, and no more', () => {
    const text = pass('');
    const filled = text + ' '.repeat(256 * 1024 - text.length);
    expect(mistakesIn(filled)).toEqual([]);
    expect(mistakesIn(`${filled} `)).toEqual(['the file has 262145 bytes; at most 262144 are read']);
  });
  test('what is WebAssembly by its first bytes is read as that, whatever its name', () => {
    expect(readModule('cart.bin', Uint8Array.of(0, 0x61, 0x73, 0x6d, 1, 0, 0, 0)).mistakes).toEqual([
      { says: 'it exports no function `pass`, which is called every control pass' },
    ]);
  });
  test('no `pass`; a file of another kind; no text', () => {
    expect(mistakesIn('export function init() {}')).toEqual([
      'it exports no function `pass`, which is called every control pass',
    ]);
    expect(mistakesIn('', 'cart.py')[0]).toContain('a module is WebAssembly (`.wasm`), TypeScript');
    expect(readModule('a.ts', Uint8Array.of(0xff, 0xfe)).mistakes).toEqual([{ says: 'this is no text in UTF-8' }]);
  });
});

describe('module in TypeScript: what stops it', () => {
  const here = (line: number): string => `pass (here.ts:${line})`;
  test.each([
    ['for (;;) {}', `steps in ${here(3)}: it did not come back within 10000 steps`],
    ['while (true) board.setCompare(1);', `steps in ${here(3)}`],
    ['pass(board);', 'its calls nest deeper than 200'],
    ['const a = [1];\nboard.setCompare(a[1] + 1);', `trap in ${here(4)}: undefined stands where a number is wanted`],
    ['const a = [1];\na[5] = 1;', `trap in ${here(4)}: index 5 lies outside of a list of 1`],
    ['let u;\nu.x = 1;', `trap in ${here(4)}: undefined has no member \`x\``],
    ['throw new Error(`at ${1 + 1}`);', `trap in ${here(3)}: it throws: at 2`],
    ['board.setCompare(x); let x = 1;', 'it uses a variable before its first value'],
    ['board.setCompare(0 / 0);', 'NaN does not fit into 32 bits'],
    ['board.setPin(16, true);', 'there is no pin 16; they go from 0 to 15'],
    ['let t = "x"; for (;;) t += t;', 'a text grows longer than 10000'],
    ['const a = []; for (;;) a.push(1, 1);', 'a list grows longer than 10000'],
    ['board.readCount.constructor;', 'the board has no member `readCount`'],
    ['const o = {};\no.constructor.name;', `trap in ${here(4)}: undefined has no member \`name\``],
    ["const o = {}; o['__proto__'].x;", '`__proto__` is no name of a member'],
    ['const o = {}; o.constructor.constructor("x");', 'there is no function `constructor`'],
  ])('%s', (body, says) => {
    const { program, mistakes } = readModule('here.ts', encode(pass(body)));
    if (program === undefined) expect(mistakes[0]!.says).toContain(says);
    else expect(once(pass(body))).toContain(says);
  });
  test.each([
    // A call and nine turns are ten steps; filling a list is one for each member.
    ['for (let i = 0; i < 9; i++) {}', 10, ''],
    ['for (let i = 0; i < 9; i++) {}', 9, 'steps in'],
    ['const a = []; for (let i = 0; i < 9; i++) a.push(0); a.fill(1); a.shift();', 28, ''],
    ['const a = []; for (let i = 0; i < 9; i++) a.push(0); a.fill(1); a.shift();', 27, 'steps in'],
    ['for (;;) { const a = [1, 2, 3, 4, 5, 6, 7, 8, 9]; }', 100_000, 'one call makes more than 100000 values'],
    ['const a = []; for (;;) a[a.length] = 1;', 100_000, 'index 10000 lies outside of a list of 10000'],
  ])('%s with %d steps', (body, steps, says) => {
    if (says === '') expect(once(pass(body), steps)).toBe('');
    else expect(once(pass(body), steps)).toContain(says);
  });
  test('a call that was stopped deep inside leaves the next one all its depth', () => {
    const text = pass('deep(150);', "function deep(n) { if (n === 0) throw 'down'; deep(n - 1); }");
    const running = programOf(text).start(exampleWorld(), 10_000);
    const first = running.pass();
    expect(first?.says).toBe('it throws: down');
    expect(running.pass()).toEqual(first);
  });
  test('the place is the function that the line stands in', () => {
    const text =
      'function first() {\n return 1;\n}\nfunction second() {\n throw first();\n}\nexport function pass() {\n second();\n}';
    expect(once(text)).toBe('trap in second (here.ts:5): it throws: 1');
  });
  test('lists in lists, one more from pass to pass', () => {
    const running = programOf(pass('a = [a];', 'let a = [];')).start(exampleWorld(), 1000);
    running.init();
    const stops = Array.from({ length: 110 }, () => running.pass());
    expect(stops.findIndex((stop) => stop?.says === 'its variables nest deeper than 100')).toBe(100);
  });
  test('variables that hold more and more from pass to pass', () => {
    const text = pass(
      'const row = []; for (let i = 0; i < 5000; i++) row.push(i); rows.push(row);',
      'const rows: number[][] = [];',
    );
    const running = programOf(text).start(exampleWorld(), 100_000);
    running.init();
    const stops = Array.from({ length: 40 }, () => running.pass());
    expect(stops[0]).toBeUndefined();
    expect(stops.find((stop) => stop !== undefined)?.says).toBe('its variables hold too much');
  });
  test('law: any damage to a good module is told of or runs within its limits', () => {
    const place = fc.nat(shapes.length);
    const snippet = fc.constantFrom(
      '',
      ';',
      '(',
      '}',
      '0',
      ' = ',
      'board',
      '[0]',
      'for(;;)',
      '"',
      '`',
      '.x',
      '!',
      'let y = ',
      '/',
      '?.',
    );
    let ran = 0;
    fc.assert(
      fc.property(fc.array(fc.tuple(place, fc.nat(4), snippet), { minLength: 1, maxLength: 3 }), (list) => {
        let text = shapes;
        for (const [at, length, put] of list) text = text.slice(0, at) + put + text.slice(at + length);
        const { program, mistakes } = readModule('a.ts', encode(text));
        expect(program === undefined).toBe(mistakes.length > 0);
        if (program === undefined) return;
        ran += 1;
        const running = program.start(exampleWorld(), 3000);
        for (const stop of [running.init(), running.pass(), running.pass()])
          if (stop !== undefined) expect(program.placeOf(stop.place)).toMatch(/a\.ts/);
        restore(running, save(running));
        running.pass();
      }),
      { seed: 20261125, numRuns: 1500 },
    );
    expect(ran).toBeGreaterThan(100);
  });
});

describe('module in TypeScript: snapshots', () => {
  test('law: saved after any pass and put back, here or in another one, it goes on as it did', () => {
    fc.assert(
      fc.property(counts, counts, counts, (before, after, between) => {
        const program = programOf(shapes);
        const world = exampleWorld();
        const running = program.start(world, 100_000);
        const go = (list: readonly number[], own = running): string[] => {
          world.did.length = 0;
          world.pins = 0;
          for (const count of list) {
            world.count = count;
            own.pass();
          }
          return [...world.did];
        };
        running.init();
        go(before);
        const saved = save(running);
        const first = go(after);
        go(between);
        restore(running, saved);
        expect(go(after)).toEqual(first);
        const other = program.start(world, 100_000);
        restore(other, saved);
        expect(go(after, other)).toEqual(first);
      }),
      { seed: 20261125, numRuns: 40 },
    );
  });
  test('a board that a variable holds is the board again', () => {
    const world = exampleWorld();
    const running = programOf(pass('if (kept) kept.setCompare(5);\nkept = board;', 'let kept;')).start(world, 1000);
    running.init();
    running.pass();
    restore(running, save(running));
    expect(running.pass()).toBeUndefined();
    expect(world.did).toEqual(['compare 5']);
  });
  test('a list that hangs on two variables stays one, and one that holds itself comes back', () => {
    const text = pass(
      'if (board.readCount() === 1) { a.push(5); return; } board.print(`${b.length} ${b[0] === b} ${o.x === a}`);',
      'let a = []; let b = a; a.push(a); const o = { x: a };',
    );
    const world = exampleWorld();
    const running = programOf(text).start(world, 1000);
    running.init();
    restore(running, save(running));
    world.count = 1;
    running.pass();
    world.count = 0;
    running.pass();
    expect(world.did).toEqual(['2 true true']);
  });
});
