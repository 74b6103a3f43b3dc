import { describe, expect, test } from 'vitest';
import { selector } from '../../models/selector.ts';
import { type Doing, rig } from './rig.ts';

const six = ['reverse', 'neutral', 'forward', 'low', 'middle', 'high'];
const to = (at: number, position: string): Doing => ({ at, say: 'selector', form: 'to', contents: { to: position } });
const lever = (script: readonly Doing[], section: object = {}, seconds = 5) =>
  rig({ selector: [selector, { gap: '10 ms', dwell: '30 ms', ...section }] }, script, seconds);

/** Every position of the lever, with `between` before each. */
const path = (...positions: string[]) => positions.flatMap((position) => ['between', position]);

describe('selector: break before make', () => {
  test('from one end to the other every position is touched, each after a gap with no contact closed', () => {
    const run = lever([to(1, 'high')], { positions: six, start: 'reverse' });
    expect(run.words('selector.position', 0.5)).toEqual(path(...six.slice(1)));
  });

  test('and back again in the opposite order', () => {
    const run = lever([to(1, 'reverse')], { positions: six, start: 'high' });
    expect(run.words('selector.position', 0.5)).toEqual(path(...six.slice(0, -1).reverse()));
  });

  test.each(six.flatMap((from) => six.filter((other) => other !== from).map((other) => [from, other] as const)))(
    'from %s to %s: two contacts are never joined without a gap',
    (from, other) => {
      const words = lever([to(1, other)], { positions: six, start: from }).words('selector.position');
      expect(words.at(-1)).toBe(other);
      for (let index = 1; index < words.length; index += 1) {
        expect([words[index - 1], words[index]]).toContain('between');
        expect(words[index]).not.toBe(words[index - 1]);
      }
    },
  );

  test('gap and dwell last as long as the file says', () => {
    const run = lever([to(1, 'forward')], { start: 'reverse' });
    const at = run.samples('selector.position', 0.5).map(([seconds]) => Math.round(seconds * 1e6) / 1e3);
    expect(at).toEqual([1000, 1010, 1040, 1050]);
  });

  test('a command to where the lever stands moves nothing', () => {
    expect(lever([to(1, 'neutral')]).words('selector.position', 0.5)).toEqual([]);
  });
});

describe('selector: turned round on the way', () => {
  test('in the gap, to the contact that comes next: it stops there', () => {
    const run = lever([to(1, 'forward'), to(1.005, 'neutral')], { start: 'reverse' });
    expect(run.words('selector.position', 0.5)).toEqual(path('neutral'));
  });

  test('in the gap, back to where it came from: it touches the next contact and returns', () => {
    const run = lever([to(1, 'forward'), to(1.005, 'reverse')], { start: 'reverse' });
    expect(run.words('selector.position', 0.5)).toEqual(path('neutral', 'reverse'));
  });

  test('on a contact that it passes, to that contact: it stays', () => {
    const run = lever([to(1, 'forward'), to(1.02, 'neutral')], { start: 'reverse' });
    expect(run.words('selector.position', 0.5)).toEqual(path('neutral'));
    expect(run.word('selector.mode', 4)).toBe('resting');
  });
});

describe('selector: faults', () => {
  test('between-contacts: none is closed, and afterwards the one where the lever stands', () => {
    const run = lever([{ at: 1, fault: 'selector', is: 'between-contacts', until: 2 }]);
    expect(run.word('selector.position', 1.5)).toBe('between');
    expect(run.word('selector.position', 2.5)).toBe('neutral');
  });

  test.each([
    ['before it moves', 0.9],
    ['in the first gap', 1.005],
    ['on the contact that it passes', 1.02],
    ['in the second gap', 1.045],
  ])('stuck %s: freed, it goes on to where it was sent and misses no contact', (_when, at) => {
    const run = lever([to(1, 'forward'), { at, fault: 'selector', is: 'between-contacts', until: 2 }], {
      start: 'reverse',
    });
    expect(run.word('selector.position', 1.9)).toBe('between');
    expect(run.word('selector.position', 3)).toBe('forward');
    const words = run.words('selector.position');
    expect(words.filter((word) => word === 'neutral').length).toBeGreaterThan(0);
  });
});
