/** Modules that nobody means well with, or that no compiler would write: none crashes, hangs or gets out of its memory. */
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { readModule } from '../../../../models/board/module/read.ts';
import { exampleWorld, restore, save } from './example-world.ts';
import { oddProgram } from './odd-program.ts';
import { straight } from './straight.ts';

const at = (file: string): Uint8Array => new Uint8Array(readFileSync(fileURLToPath(new URL(file, import.meta.url))));
const cart = '../../../../scenarios/orchard-cart/firmware/';
const images = {
  'cart-pass.wasm': at(`${cart}cart-pass.wasm`),
  'cart-pass-loop.wasm': at(`${cart}cart-pass-loop.wasm`),
  'cart-pass-cpp.wasm': at(`${cart}cart-pass-cpp.wasm`),
  'cart-pass-rust.wasm': at(`${cart}cart-pass-rust.wasm`),
  'features-cpp.wasm': at('features-cpp.wasm'),
  'features-rust.wasm': at('features-rust.wasm'),
};
const STEPS = 3000;

/** Memory is too long to be compared number by number. */
function isSame(one: object, other: object): boolean {
  const [first, second] = [one, other].map((state) => Object.entries(state as Record<string, number | Uint8Array>));
  return first!.every(([key, value], index) => {
    const [otherKey, theirs] = second![index]!;
    if (key !== otherKey || typeof value === 'number' || typeof theirs === 'number')
      return key === otherKey && value === theirs;
    return Buffer.from(value.buffer, value.byteOffset, value.byteLength).equals(
      Buffer.from(theirs.buffer, theirs.byteOffset, theirs.byteLength),
    );
  });
}

/** Runs whatever can be run of it, and holds that to its limits. True where it was taken. */
function isHeld(bytes: Uint8Array): boolean {
  const { program, mistakes } = readModule('a.wasm', bytes);
  expect(program === undefined).toBe(mistakes.length > 0);
  for (const { says } of mistakes) expect(says).toMatch(/^[^\n\p{Cc}]+$/u);
  if (program === undefined) return false;
  const world = exampleWorld();
  const running = program.start(world, STEPS);
  for (const call of [running.init, running.pass, running.pass]) {
    world.count += 500;
    const stop = call();
    if (stop !== undefined)
      expect(`${program.placeOf(stop.place)}: ${stop.says}`).toMatch(/^[^\n\p{Cc}]+: [^\n\p{Cc}]+$/u);
  }
  const before = save(running);
  running.pass();
  restore(running, before);
  expect(isSame(save(running), before)).toBe(true);
  running.reset();
  return true;
}

describe('module files: damaged ones', () => {
  test.each(Object.entries(images))(
    'law: %s with any bytes of it changed, cut out, doubled or put elsewhere',
    (_name, image) => {
      // Where its first 40 bytes and its code are, most changes make another valid file.
      const place = fc.nat(Math.min(image.length, 4000) - 1);
      const change = fc.oneof(
        {
          weight: 5,
          arbitrary: fc.record({ place, length: fc.constant(1), put: fc.uint8Array({ minLength: 1, maxLength: 1 }) }),
        },
        { weight: 1, arbitrary: fc.record({ place, length: fc.nat(8), put: fc.uint8Array({ maxLength: 8 }) }) },
        {
          weight: 1,
          arbitrary: fc.record({ place, length: fc.nat(8), put: place.map((from) => image.slice(from, from + 8)) }),
        },
      );
      const isLarge = image.length > 10_000;
      let taken = 0;
      fc.assert(
        fc.property(fc.array(change, { minLength: 1, maxLength: 3 }), (changes) => {
          let bytes = [...image];
          for (const { place: from, length, put } of changes)
            bytes = [...bytes.slice(0, from), ...put, ...bytes.slice(from + length)];
          if (isHeld(Uint8Array.from(bytes))) taken += 1;
        }),
        { seed: 20261125, numRuns: isLarge ? 60 : 500 },
      );
      expect(taken).toBeGreaterThan(isLarge ? 3 : 30);
    },
  );
});

describe('module files: odd ones', () => {
  test('law: any valid program does what it does as it stands, up to where it is stopped', () => {
    const ended = { well: 0, trapped: 0, stopped: 0 };
    fc.assert(
      fc.property(fc.integer(), fc.integer({ min: 0, max: 1023 }), (seed, count) => {
        let state = seed | 0;
        // A generator of its own, as shrinking a program piece by piece would leave the valid ones.
        const bytes = oddProgram((most) => {
          state = (Math.imul(state, 1_664_525) + 1_013_904_223) | 0;
          return (state >>> 8) % most;
        });
        const { program, mistakes } = readModule('odd.wasm', bytes);
        expect(mistakes).toEqual([]);
        const world = exampleWorld();
        const running = program!.start(world, STEPS);
        const counts = [count, count + 1];
        const stops = [running.init()];
        for (const one of counts) {
          world.count = one;
          stops.push(running.pass());
        }
        if (stops.some((stop) => stop?.kind === 'steps' || /deeper/.test(stop?.says ?? ''))) {
          ended.stopped += 1;
          return;
        }
        ended[stops.every((stop) => stop === undefined) ? 'well' : 'trapped'] += 1;
        expect(world.did).toEqual(straight(bytes, counts));
      }),
      { seed: 20261125, numRuns: 600 },
    );
    expect(Math.min(...Object.values(ended))).toBeGreaterThan(20);
  });
});
