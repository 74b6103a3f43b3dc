import { describe, expect, test } from 'vitest';
import { board } from '../../../models/board/board.ts';
import { type Doing, rig } from '../rig.ts';

const supply = (at: number, to: number): Doing => ({ at, feed: 'board.supply', to });
const plain = { clock: '8 MHz', 'brown-out': '2.7 V', hysteresis: '50 mV', 'start-up': '65 ms' };
const powered = (script: readonly Doing[], section: object = {}, seconds = 3) =>
  rig({ board: [board, { ...plain, ...section }] }, script, seconds);
const modes = (run: ReturnType<typeof powered>) => run.words('board.mode');

describe('board: start', () => {
  test('the clock runs and the pin is driven after the start-up time, not before', () => {
    const run = powered([supply(1, 5)]);
    expect(run.at('board.clock', 1.0649)).toBe(0);
    expect(run.word('board.pin', 1.0649)).toBe('floating');
    expect(run.at('board.clock', 1.0651)).toBe(8e6);
    expect(run.word('board.pin', 1.0651)).toBe('driven');
    expect(run.at('board.resets', 2)).toBe(0);
  });

  test('a boot loader adds its wait, with the pin still floating', () => {
    const run = powered([supply(1, 5)], { 'boot-loader': '1.5 s' });
    expect(run.word('board.mode', 2)).toBe('on.boot-loader');
    expect(run.word('board.pin', 2.564)).toBe('floating');
    expect(run.at('board.clock', 2.566)).toBe(8e6);
  });

  test('it needs the brown-out level and the hysteresis to start (2.7 V + 50 mV, 8025I p. 320)', () => {
    expect(modes(powered([supply(1, 2.74)]))).toEqual(['off']);
    expect(modes(powered([supply(1, 2.76)]))).toEqual(['off', 'on.starting', 'on.running']);
  });

  test('a supply that fails while it starts: it starts all over', () => {
    const run = powered([supply(1, 5), supply(1.03, 0), supply(1.04, 5)]);
    expect(run.at('board.clock', 1.1)).toBe(0);
    expect(run.at('board.clock', 1.106)).toBe(8e6);
    expect(run.at('board.resets', 2)).toBe(0);
  });
});

describe('board: brown-out', () => {
  test('a dip below the level resets it: clock and pin go at once and come back after the start-up time', () => {
    const run = powered([supply(0, 5), supply(1, 2.69), supply(1.01, 5)]);
    expect(run.at('board.clock', 1.005)).toBe(0);
    expect(run.word('board.pin', 1.005)).toBe('floating');
    expect(run.at('board.resets', 1.005)).toBe(1);
    expect(run.at('board.clock', 1.0749)).toBe(0);
    expect(run.at('board.clock', 1.0751)).toBe(8e6);
  });

  test('a dip that stays above the level does nothing', () => {
    const run = powered([supply(0, 5), supply(1, 2.71), supply(1.1, 5)]);
    expect(run.at('board.resets', 2)).toBe(0);
    expect(run.at('board.clock', 1.05)).toBe(8e6);
  });

  test('back to the level without the hysteresis: it stays in reset', () => {
    const run = powered([supply(0, 5), supply(1, 2.6), supply(1.1, 2.72), supply(2, 2.76)]);
    expect(run.word('board.mode', 1.9)).toBe('off');
    expect(run.word('board.mode', 2.1)).toBe('on.running');
  });

  test('switched off (0 V): it runs down to no supply at all', () => {
    const run = powered([supply(0, 5), supply(1, 0.5), supply(2, 0)], { 'brown-out': '0 V' });
    expect(run.at('board.clock', 1.5)).toBe(8e6);
    expect(run.at('board.clock', 2.5)).toBe(0);
  });
});

describe('board: pin faults', () => {
  test.each([
    ['pin-stuck-low', 'stuck-low'],
    ['pin-stuck-high', 'stuck-high'],
    ['pin-open', 'open'],
  ])('%s: the pin is %s, also through a reset, and driven again afterwards', (fault, pin) => {
    const run = powered([supply(0, 5), { at: 1, fault: 'board', is: fault, until: 2 }, supply(1.2, 0), supply(1.4, 5)]);
    for (const at of [1.1, 1.3, 1.9]) expect(run.word('board.pin', at)).toBe(pin);
    expect(run.word('board.pin', 2.1)).toBe('driven');
  });

  test('entered and left in reset: the pin floats again', () => {
    const run = powered([{ at: 1, fault: 'board', is: 'pin-stuck-high', until: 2 }]);
    expect(run.word('board.pin', 1.5)).toBe('stuck-high');
    expect(run.word('board.pin', 2.5)).toBe('floating');
  });

  test('a second fault takes the place of the first, whose end then changes nothing', () => {
    const run = powered([
      supply(0, 5),
      { at: 1, fault: 'board', is: 'pin-stuck-high', until: 1.5 },
      { at: 1.2, fault: 'board', is: 'pin-open', until: 2 },
    ]);
    expect(run.word('board.pin', 1.1)).toBe('stuck-high');
    expect(run.word('board.pin', 1.7)).toBe('open');
    expect(run.word('board.pin', 2.1)).toBe('driven');
  });
});
