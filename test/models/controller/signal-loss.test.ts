/** Loss of the pulses: what the motor does then, and what it takes to drive again. */
import { describe, expect, test } from 'vitest';
import { FLOATING } from '../../../models/pwm-timer.ts';
import type { Doing } from '../rig.ts';
import { armed, DRIVE, run, table } from './cases.ts';

describe('controller: signal loss', () => {
  const rule = (then: string, rearm = 'neutral') => ({ 'signal-loss': { after: '300 ms', then, rearm } });
  const lost = [armed, [2, 3, 1800], [4, 7, 1800], [7, 9, 1500]] as const;
  table([
    {
      it: 'coast: nothing after the wait; the foot still down when pulses come back does nothing; neutral arms',
      with: rule('coast'),
      pulses: lost,
      seen: [
        [3.25, 'armed.driving', DRIVE],
        [3.35, 'signal-lost', 0, 0],
        [6.9, 'waiting-for-neutral.refusing', 0, 0],
        [8.5, 'armed.neutral', 0],
      ],
    },
    {
      it: 'brake: all of it',
      with: rule('brake'),
      pulses: lost,
      seen: [
        [3.35, 'signal-lost', 0, 1],
        [6.9, 'waiting-for-neutral.refusing', 0, 0],
      ],
    },
    {
      it: 'hold: the drive that was',
      with: rule('hold'),
      pulses: lost,
      seen: [
        [3.9, 'signal-lost', DRIVE, 0],
        [6.9, 'waiting-for-neutral.refusing', 0],
      ],
    },
    {
      it: 'hold: braking stays braking',
      with: { reverse: 'brake-first', ...rule('hold') },
      pulses: [armed, [2, 3, 1200]],
      seen: [
        [2.9, 'armed.braking', 0, DRIVE],
        [3.9, 'signal-lost', 0, DRIVE],
      ],
    },
    {
      it: 'hold: reversing stays reversing',
      with: { reverse: 'direct', ...rule('hold') },
      pulses: [armed, [2, 3, 1200]],
      seen: [[3.9, 'signal-lost', -DRIVE, 0]],
    },
    {
      it: 'at once: it drives on when the pulses are back',
      with: rule('coast', 'at-once'),
      pulses: lost,
      seen: [
        [3.9, 'signal-lost', 0],
        [4.1, 'armed.driving', DRIVE],
      ],
    },
    {
      it: 'a gap shorter than the wait is not noticed',
      with: rule('brake'),
      pulses: [armed, [2, 3, 1800], [3.25, 5, 1800]],
      seen: [
        [3.2, 'armed.driving', DRIVE, 0],
        [3.4, 'armed.driving', DRIVE, 0],
      ],
    },
    {
      it: 'widths outside the valid range count as no pulses',
      with: rule('coast'),
      pulses: [armed, [2, 3, 1800], [3, 5, 2500]],
      seen: [
        [3.2, 'armed.driving', DRIVE],
        [3.4, 'signal-lost', 0],
      ],
    },
    {
      it: 'frames that come too fast count as no pulses',
      with: rule('coast'),
      pulses: [armed, [2, 3, 1800], [3, 5, 1800, 3]],
      seen: [[3.4, 'signal-lost', 0]],
    },
    {
      it: 'the wire comes loose in the middle of a pulse and back in a pause: no pulse is made of the gap',
      with: rule('coast'),
      pulses: [armed, [2, 2.98, 1500], [3.2, 5, 1500]],
      more: [
        { at: 2.9805, feed: 'left.line', to: 1 },
        { at: 2.981, feed: 'left.line', to: FLOATING },
        { at: 3.1, feed: 'left.line', to: 0 },
      ],
      seen: [
        [3.15, 'armed.neutral', 0],
        [4.9, 'armed.neutral', 0],
      ],
    },
  ]);

  test('a line that floats between two pauses gives no pulse at all', () => {
    const more: Doing[] = [
      { at: 1.005, feed: 'left.line', to: FLOATING },
      { at: 1.015, feed: 'left.line', to: 0 },
    ];
    const result = run({ it: '', pulses: [[0, 3, 1500]], more, seen: [[2.9, '']] });
    expect(new Set(result.samples('left.pulse', 0.1).map(([, value]) => value)).size).toBeLessThanOrEqual(1);
    expect(result.word('left.mode', 1.35)).toBe('armed.neutral');
  });
});
