/**
 * Reset and brown-out of the board against the datasheets of the ATmega48/88/168/328 family: 8025I-02/09 p. 320 (levels,
 * hysteresis, RESET), 2545D-07/04 p. 29 table 9 and DS40002011A p. 55 (start-up).
 */
import { describe, expect, test } from 'vitest';
import { board } from '../../models/board/board.ts';
import { type Doing, rig } from '../models/rig.ts';

const supply = (at: number, to: number): Doing => ({ at, feed: 'board.supply', to });

describe('reference: brown-out levels', () => {
  // BODLEVEL 110, 101, 100: typical 1.8, 2.7, 4.3 V; hysteresis 50 mV.
  test.each([1.8, 2.7, 4.3])('%d V: held in reset below, started 50 mV above', (level) => {
    const section = { 'brown-out': `${level} V` };
    const script = [supply(0, 5), supply(1, level - 0.01), supply(2, level + 0.04), supply(3, level + 0.06)];
    const run = rig({ board: [board, section] }, script, 4);
    expect([0.5, 1.5, 2.9, 3.9].map((at) => run.at('board.clock', at))).toEqual([16e6, 0, 0, 16e6]);
  });

  test('the level that is preset is 2.7 V, the hysteresis 50 mV (BODLEVEL 101)', () => {
    const run = rig({ board: [board, {}] }, [supply(0, 2.74), supply(1, 2.76), supply(2, 2.71), supply(3, 2.69)], 4);
    expect([0.5, 1.5, 2.5, 3.5].map((at) => run.at('board.clock', at))).toEqual([0, 16e6, 16e6, 0]);
  });
});

describe('reference: start-up', () => {
  test('preset: 65 ms, the delay for slowly rising power at 5 V', () => {
    const run = rig({ board: [board, {}] }, [supply(0, 5)], 1);
    expect(run.samples('board.clock', 0.001).map(([seconds]) => Math.round(seconds * 1e6) / 1e3)).toEqual([65]);
  });

  test('4.1 ms, the delay for fast rising power, can be asked for', () => {
    const run = rig({ board: [board, { 'start-up': '4.1 ms' }] }, [supply(0, 5)], 1);
    expect(run.samples('board.clock', 0.0001).map(([seconds]) => Math.round(seconds * 1e6) / 1e3)).toEqual([4.1]);
  });
});
