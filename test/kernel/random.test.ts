import { describe, expect, test } from 'vitest';
import { Streams } from '../../sim/kernel/random.ts';

describe('random: keyed streams', () => {
  test('the same seed, part and purpose give the same draws, whatever else is asked for', () => {
    const alone = new Streams(7).for('pedal', 'noise');
    const crowd = new Streams(7);
    crowd.for('adc', 'noise').uniform();
    const among = crowd.for('pedal', 'noise');
    crowd.for('pedal', 'contact').uniform();
    expect([among.uniform(), among.uniform()]).toEqual([alone.uniform(), alone.uniform()]);
  });

  test('another seed, part or purpose gives other draws', () => {
    const first = (seed: number, part: string, purpose: string): number =>
      new Streams(seed).for(part, purpose).uniform();
    expect(
      new Set([
        first(7, 'pedal', 'noise'),
        first(8, 'pedal', 'noise'),
        first(7, 'adc', 'noise'),
        first(7, 'pedal', 'contact'),
      ]).size,
    ).toBe(4);
  });

  test('the first draws are pinned, so that a changed stream shows in review', () => {
    const stream = new Streams(7).for('pedal', 'noise');
    expect([stream.uniform(), stream.normal()].map((draw) => draw.toFixed(9))).toMatchInlineSnapshot(`
      [
        "0.313664978",
        "1.624146705",
      ]
    `);
  });

  test('normal draws have mean 0, variance 1 and 68.27 % within one deviation (any handbook of statistics)', () => {
    const stream = new Streams(1).for('pedal', 'noise');
    const draws = Array.from({ length: 200_000 }, () => stream.normal());
    const mean = draws.reduce((sum, draw) => sum + draw, 0) / draws.length;
    const variance = draws.reduce((sum, draw) => sum + (draw - mean) ** 2, 0) / draws.length;
    const within = draws.filter((draw) => Math.abs(draw) < 1).length / draws.length;
    // Five standard errors of each estimate.
    expect(Math.abs(mean)).toBeLessThan(5 / Math.sqrt(draws.length));
    expect(Math.abs(variance - 1)).toBeLessThan(5 * Math.sqrt(2 / draws.length));
    expect(Math.abs(within - 0.6827)).toBeLessThan(5 * Math.sqrt((0.6827 * 0.3173) / draws.length));
  });

  test('saved streams continue where they were', () => {
    const streams = new Streams(7);
    const stream = streams.for('pedal', 'noise');
    stream.uniform();
    const saved = streams.save();
    const after = [stream.uniform(), stream.normal()];
    streams.restore(saved);
    expect([stream.uniform(), stream.normal()]).toEqual(after);
  });
});
