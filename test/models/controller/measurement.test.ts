/** The controller's own measurement of pulses: its clock, its resolution, and what it tells. */
import { describe, expect, test } from 'vitest';
import { armed, run, table } from './cases.ts';

describe('controller: its own measurement', () => {
  table([
    {
      it: 'a clock 2 % fast: 1500 us look like 1530 us and are refused',
      pulse: { clock: '2 %' },
      pulses: [[0, 4, 1500]],
      seen: [[3.9, 'waiting-for-neutral.refusing']],
    },
    {
      it: 'a clock 2 % fast: 1470 us look like 1499 us and arm',
      pulse: { clock: '2 %' },
      pulses: [[0, 4, 1470]],
      seen: [[3.9, 'armed.neutral']],
    },
    {
      it: 'steps of 10 us: 1529 us are cut to 1520 us and arm',
      pulse: { resolution: '10 us' },
      pulses: [[0, 4, 1529]],
      seen: [[3.9, 'armed.neutral']],
    },
    {
      it: 'steps of 10 us: 1530 us are refused',
      pulse: { resolution: '10 us' },
      pulses: [[0, 4, 1530]],
      seen: [[3.9, 'waiting-for-neutral.refusing']],
    },
    {
      it: 'fault clock-off by 5 %: neutral becomes (75 - 20) / 480 of drive, and neutral again when it is mended',
      pulses: [[0, 6, 1500]],
      more: [{ at: 3, fault: 'left', is: 'clock-off', amount: 0.05, until: 4 }],
      seen: [
        [2.9, 'armed.neutral', 0],
        [3.9, 'armed.driving', 55 / 480],
        [4.1, 'armed.neutral', 0],
      ],
    },
    {
      it: 'fault clock-off before power-on: refused from the first pulse',
      pulses: [[0, 4, 1500]],
      supply: [[1, 24]],
      more: [{ at: 0.5, fault: 'left', is: 'clock-off', amount: -0.05 }],
      seen: [[3.9, 'waiting-for-neutral.refusing']],
    },
  ]);

  test('what it tells is what it measured', () => {
    const result = run({ it: '', pulse: { clock: '2 %' }, pulses: [[0, 4, 1500]], seen: [[3.9, '']] });
    expect(result.at('left.pulse', 3.9)).toBeCloseTo(1530e-6, 12);
    expect(result.at('left.period', 3.9)).toBeCloseTo(20.4e-3, 9);
    expect(result.at('left.arming', 3.9)).toBeCloseTo(-10e-6, 12);
  });

  test('the count of steps: a sweep of five widths above the dead band gives five', () => {
    const sweep = [1600, 1700, 1800, 1900, 2000].map((width, index) => [2 + index, 3 + index, width] as const);
    const result = run({ it: '', pulses: [armed, ...sweep, [7, 8, 1700]], seen: [[7.9, '']] });
    expect(result.at('left.steps', 7.9)).toBe(5);
  });
});
