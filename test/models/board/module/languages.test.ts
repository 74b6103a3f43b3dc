/** Modules from C++ and Rust: the same logic gives the same run as from C, and what these languages bring along works or is told of. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { Program, Running } from '../../../../models/board/module/program.ts';
import { readWasmModule } from '../../../../models/board/module/wasm/module.ts';
import { readableName } from '../../../../models/board/module/wasm/names.ts';
import { type Act, assemble } from '../../../../sim/bench/assemble.ts';
import { loadBench } from '../../../../sim/bench/load-bench.ts';
import { settleParts } from '../../../../sim/bench/schema.ts';
import { parseSource } from '../../../../sim/bench/source.ts';
import { type Example, exampleWorld, passes, restore, save } from './example-world.ts';
import { straight } from './straight.ts';

const bytesOf = (file: string): Uint8Array =>
  new Uint8Array(readFileSync(fileURLToPath(new URL(file, import.meta.url))));
const features = { 'C++': bytesOf('features-cpp.wasm'), Rust: bytesOf('features-rust.wasm') } as const;

function programOf(bytes: Uint8Array): Program {
  const { program, mistakes } = readWasmModule(bytes);
  expect(mistakes).toEqual([]);
  return program!;
}

const cart = fileURLToPath(new URL('../../../../scenarios/orchard-cart/', import.meta.url));

/** Digest of a drive of the shipped cart whose pedal loses its wire at the end. */
function digestOf(file: string): string {
  const overrides = parseSource(join(cart, 'with'), `board.firmware: { kind: module, file: firmware/${file} }`).tree;
  const { value } = loadBench(join(cart, 'bench.yaml'), overrides);
  const act = (seconds: number, part: string, form: string, contents?: object): Act => ({
    seconds,
    part,
    form,
    contents,
  });
  const { kernel } = assemble(settleParts(value!.parts), 7, [
    act(0, 'battery', 'connect'),
    act(1.5, 'pedal', 'press', { press: 1, over: 0.5 }),
    act(2.5, 'pedal', 'press', { press: 0.3, over: 0.2 }),
    { seconds: 3, part: 'pedal', event: 'signal-open', amount: 0 },
  ]);
  kernel.run(3.5);
  return kernel.digestText();
}

describe('modules in C++ and Rust: the cart', () => {
  test('the same control pass in C, C++ and Rust gives one run, to the last bit; another program gives another', () => {
    const digest = digestOf('cart-pass.wasm');
    expect(digestOf('cart-pass-cpp.wasm')).toBe(digest);
    expect(digestOf('cart-pass-rust.wasm')).toBe(digest);
    expect(digestOf('cart-pass-loop.wasm')).not.toBe(digest);
  });
});

describe.each(['C++', 'Rust'] as const)('module in %s: what the language brings along', (language) => {
  const bytes = features[language];
  const counts = fc.array(fc.integer({ min: 0, max: 998 }), { maxLength: 30 });
  test('law: it does what it does without anything put in', () => {
    fc.assert(
      fc.property(counts, (list) => {
        expect(passes(programOf(bytes), list, 10_000_000)).toEqual(straight(bytes, list));
      }),
      { seed: 20261125, numRuns: 20 },
    );
  });
  test('law: saved after any pass and put back, here or in another instance, it goes on as it did', () => {
    const program = programOf(bytes);
    fc.assert(
      fc.property(counts, counts, counts, (before, after, between) => {
        const world = exampleWorld();
        const start = (own: Example): Running => program.start(own, 10_000_000);
        const go = (running: Running, own: Example, list: readonly number[]): string[] => {
          own.did.length = 0;
          own.pins = 0;
          for (const count of list) {
            own.count = count;
            expect(running.pass()).toBeUndefined();
          }
          return [...own.did];
        };
        const running = start(world);
        running.init();
        go(running, world, before);
        const saved = save(running);
        const first = go(running, world, after);
        go(running, world, between);
        restore(running, saved);
        expect(go(running, world, after)).toEqual(first);
        const elsewhere = exampleWorld();
        const other = start(elsewhere);
        other.init();
        restore(other, saved);
        expect(go(other, elsewhere, after)).toEqual(first);
        // After a reset it is as if it had never run.
        elsewhere.did.length = 0;
        elsewhere.pins = 0;
        other.reset();
        other.init();
        const begun = [...elsewhere.did];
        expect([...begun, ...go(other, elsewhere, before)]).toEqual(passes(program, before, 10_000_000));
      }),
      { seed: 20261125, numRuns: 10 },
    );
  });
});

describe('module in C++', () => {
  test('static objects are made once, before `init`, and again after a reset', () => {
    const did = passes(programOf(features['C++']), [1, 2, 3]);
    expect(did.filter((one) => /made|init|gone/.test(one))).toEqual(['made 0\n', 'init 0\n']);
    const world = exampleWorld();
    const running = programOf(features['C++']).start(world, 10_000);
    for (let start = 0; start < 2; start += 1) {
      running.reset();
      running.init();
      running.pass();
    }
    expect(world.did.filter((one) => one.startsWith('made'))).toEqual(['made 0\n', 'made 0\n']);
  });
  test('`fail` breaks it off, with its reason on one line', () => {
    const program = programOf(features['C++']);
    const world = exampleWorld();
    const running = program.start(world, 10_000);
    running.init();
    world.count = 999;
    const stop = running.pass();
    expect(stop).toMatchObject({ kind: 'trap', says: 'it fails: count 999 [31mred' });
    expect(program.placeOf(stop!.place)).toBe('pass');
  });
});

describe('module in Rust', () => {
  test('a panic says why, where in the source, and in which function of the program', () => {
    const program = programOf(features.Rust);
    const world = exampleWorld();
    const running = program.start(world, 10_000_000);
    running.init();
    world.count = 1000;
    const stop = running.pass();
    const source = readFileSync(fileURLToPath(new URL('features.rs', import.meta.url)), 'utf8').split('\n');
    const line = source.findIndex((text) => text.includes('steps[count as usize / 200]')) + 1;
    expect(stop?.says).toBe(
      `it fails: panicked at 'index out of bounds: the len is 5 but the index is 5', features.rs:${line}:5`,
    );
    expect(program.placeOf(stop!.place)).toBe('features::checked');
  });
  test('what comes in over the serial port is heard', () => {
    const world = exampleWorld();
    const running = programOf(features.Rust).start(world, 10_000_000);
    running.init();
    world.coming.push(...new TextEncoder().encode('go 4'));
    running.pass();
    expect(world.did.at(-2)).toBe('{0: 1} GO 4\n');
  });
  // Expected: as `rustfilt` and the Rust book's chapter on symbol mangling show such names.
  test.each([
    ['_ZN9cart_pass5drive17hd76d2665d2821737E', 'cart_pass::drive'],
    ['_ZN4core3ptr28drop_in_place$LT$$RF$u64$GT$17h1d02b19a6a06a02bE.llvm.511', 'core::ptr::drop_in_place<&u64>'],
    ['_ZN36_$LT$T$u20$as$u20$core..any..Any$GT$7type_id17h1eb33050df948c2cE', '<T as core::any::Any>::type_id'],
    ['pass', 'pass'],
    ['_ZN', '_ZN'],
    ['_ZNx1aE', '_ZNx1aE'],
    ['_ZN9999999aE', '_ZN9999999aE'],
    ['_ZN17h1eb33050df948c2cE', '_ZN17h1eb33050df948c2cE'],
    ['_ZN4$ufffff$E', '_ZN4$ufffff$E'],
  ])('%s reads %s', (name, says) => {
    expect(readableName(name)).toBe(says);
  });
});
