/** A trace that is long enough to be packed is in everything that can be asked of it the same as one that is not. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { BLOCK } from '../../sim/trace/pack.ts';
import { BlockStore } from '../../sim/trace/pack-store.ts';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Column, Trace } from '../../sim/trace/trace.ts';

const SEED = 20261125;
const held: SignalInfo = { name: 'left.pulse', dimension: 'time', shape: 'held', means: 'pulse' };
const linear: SignalInfo = { name: 'battery.voltage', dimension: 'voltage', shape: 'linear', means: 'voltage' };

/** Packs each block at once, as a store does that has kept its share unpacked. */
function packingStore(): BlockStore {
  return new BlockStore(0);
}

interface Sample {
  readonly seconds: number;
  readonly value: number;
}

/** What a column keeps, in so many words: the rules of `append` on a plain list. */
function plainly(signal: SignalInfo, samples: Sample[], seconds: number, value: number): void {
  const last = samples.at(-1);
  const before = samples.at(-2);
  if (signal.shape === 'linear') {
    if (last?.seconds === seconds && before?.seconds === seconds) samples.pop();
  } else if (last?.seconds === seconds) {
    samples.pop();
    if (before?.value === value) return;
  } else if (last?.value === value) return;
  samples.push({ seconds, value });
}

/** Place of the first sample in which they differ; -1 for none. */
function firstDifference(column: Column, samples: readonly Sample[]): number {
  const most = Math.max(column.length, samples.length);
  for (let index = 0; index < most; index += 1) {
    const sample = samples[index];
    if (index >= column.length || sample === undefined) return index;
    if (column.secondsAt(index) !== sample.seconds || !Object.is(column.valueAt(index), sample.value)) return index;
  }
  return -1;
}

describe.each([held, linear])('trace: long, $shape', (signal) => {
  // So many samples at a time, each so many steps after the one before; then back to a length, often at the edge of a block.
  const edge = fc.tuple(fc.integer({ min: 0, max: 4 }), fc.integer({ min: -1, max: 3 }));
  const moves = fc.array(
    fc.record({
      count: fc.integer({ min: 1, max: 1500 }),
      gap: fc.constantFrom(0, 0, 1, 3),
      backTo: fc.oneof(
        fc.constant(Infinity),
        fc.nat(4000),
        edge.map(([blocks, beside]) => Math.max(0, blocks * BLOCK + beside)),
      ),
    }),
    { minLength: 1, maxLength: 12 },
  );

  test('law: after any appending and rewinding it has the samples that a plain list has', () => {
    fc.assert(
      fc.property(moves, fc.boolean(), (list, isPacked) => {
        const column = isPacked ? new Column(signal, packingStore()) : new Column(signal);
        const samples: Sample[] = [];
        let step = 0;
        for (const { count, gap, backTo } of list) {
          for (let index = 0; index < count; index += 1) {
            step += index % 5 === 0 ? gap : 1;
            const value = (step * 7919 + index) % 3;
            column.append(step / 1000, value);
            plainly(signal, samples, step / 1000, value);
          }
          if (backTo < samples.length) {
            samples.length = backTo;
            const last = samples.at(-1);
            column.rewind(samples.length, last?.seconds ?? 0, last?.value ?? 0);
            step = last === undefined ? 0 : Math.round(last.seconds * 1000);
          }
          expect(firstDifference(column, samples)).toBe(-1);
        }
        for (let place = 0; place < 50; place += 1) {
          const seconds = (place * step) / 49_000;
          const index = samples.findLastIndex((sample) => sample.seconds <= seconds);
          expect(column.indexAt(seconds)).toBe(index);
        }
      }),
      { seed: SEED, numRuns: 300 },
    );
  });

  test('law: what goes on from a mark is as if it had come so far by itself, and leaves the other alone', () => {
    const span = fc.integer({ min: 0, max: 3500 });
    fc.assert(
      fc.property(span, span, span, (before, after, instead) => {
        const one = new Trace([signal]);
        const other = new Trace([signal]);
        const alone = new Trace([signal]);
        const value = (step: number): number => (step * 7919) % 11;
        for (let step = 0; step < before; step += 1) {
          one.append(0, step / 1000, value(step));
          alone.append(0, step / 1000, value(step));
        }
        const mark = one.mark();
        for (let step = before; step < before + after; step += 1) one.append(0, step / 1000, value(step));
        const told = [...one.columns[0]!];
        // What it had before, and has read, is gone.
        for (let step = 0; step < 2 * instead; step += 1) other.append(0, step / 500, step);
        expect(other.columns[0]!.at(0)).toBe(instead > 0 ? 0 : NaN);
        other.goOnFrom(one, mark);
        for (let step = before; step < before + instead; step += 1) {
          other.append(0, step / 1000, -value(step));
          alone.append(0, step / 1000, -value(step));
        }
        expect(firstDifference(other.columns[0]!, [...alone.columns[0]!])).toBe(-1);
        expect(firstDifference(one.columns[0]!, told)).toBe(-1);
      }),
      { seed: SEED, numRuns: 100 },
    );
  });
});

describe('trace: long, a held signal at the edge of a block', () => {
  test('takes its last sample back, be that the only one still open', () => {
    const column = new Column(held, packingStore());
    const samples: Sample[] = [];
    for (let step = 0; step < 3 * BLOCK; step += 1) {
      for (const value of [step % 2, (step + 1) % 2]) {
        column.append(step, value);
        plainly(held, samples, step, value);
      }
      // Told twice at one instant, it goes back to what it was: after the first there is never a change.
      column.append(step + 0.5, 5);
      plainly(held, samples, step + 0.5, 5);
    }
    expect(firstDifference(column, samples)).toBe(-1);
  });
});

describe('trace: long, taken over', () => {
  test('goes on at the very instant of its last sample, be that the last of a block', () => {
    const from = new Column(linear);
    for (let step = 0; step < 3 * BLOCK; step += 1) from.append(step >> 1, step);
    const column = new Column(linear);
    column.takeOver(from, BLOCK);
    column.append((BLOCK - 1) >> 1, -1);
    column.append(BLOCK, -2);
    const samples = [...from].slice(0, BLOCK - 1);
    samples.push({ seconds: (BLOCK - 1) >> 1, value: -1 }, { seconds: BLOCK, value: -2 });
    expect(firstDifference(column, samples)).toBe(-1);
  });
});

describe('trace: long, in memory', () => {
  test('columns that are told at the same instants share them', () => {
    const signals = ['a', 'b', 'c'].map((name): SignalInfo => ({ ...linear, name: `part.${name}` }));
    const bytes = (names: readonly SignalInfo[]): number => {
      const trace = new Trace(names);
      let state = 1;
      let seconds = 0;
      for (let step = 0; step < 2_000_000 / names.length; step += 1) {
        state = (Math.imul(state, 1_664_525) + 1_013_904_223) | 0;
        seconds += 1 + (state >>> 8) / 2 ** 24;
        for (let index = 0; index < names.length; index += 1) trace.append(index, seconds, index);
      }
      return trace.byteCount / trace.sampleCount;
    };
    const one = bytes(signals.slice(0, 1));
    const three = bytes(signals);
    // The instants of the one are noise and take some five bytes; the values take nothing.
    expect(one).toBeGreaterThan(4);
    expect(three).toBeLessThan(one / 2.5);
  });
});
