/** Low voltage: warning, limit, cut, and what it takes to drive again. */
import { describe, expect, test } from 'vitest';
import { armed, DRIVE, run, table } from './cases.ts';

describe('controller: cutoff', () => {
  const cutoff = { warn: '22.2 V', cut: '21 V', delay: '500 ms', release: '23 V' };
  const driven = [armed, [2, 9, 1800]] as const;
  const rule = (latched: boolean | string) => ({ cutoff: { ...cutoff, latched } });
  table([
    {
      it: 'a dip shorter than the delay does nothing',
      with: rule(true),
      pulses: driven,
      supply: [
        [0, 24],
        [3, 20],
        [3.45, 24],
        [4, 20],
        [4.45, 24],
      ],
      seen: [
        [3.4, 'armed.driving', DRIVE],
        [4.4, 'armed.driving', DRIVE],
        [6, 'armed.driving', DRIVE],
      ],
    },
    {
      it: 'below the cut for the delay: cut off, not earlier',
      with: rule(true),
      pulses: driven,
      supply: [
        [0, 24],
        [3, 20.9],
      ],
      seen: [
        [3.49, 'armed.driving', DRIVE],
        [3.52, 'cut-off', 0, 0],
      ],
    },
    {
      it: 'just above the cut it goes on',
      with: rule(true),
      pulses: driven,
      supply: [
        [0, 24],
        [3, 21.1],
      ],
      seen: [[6, 'armed.driving', DRIVE]],
    },
    {
      it: 'latched: the supply is back, the foot still down: nothing; neutral arms it again',
      with: rule(true),
      pulses: [armed, [2, 6, 1800], [6, 8, 1500], [8, 9, 1800]],
      supply: [
        [0, 24],
        [3, 20],
        [4, 24],
      ],
      seen: [
        [5.9, 'cut-off', 0],
        [6.5, 'waiting-for-neutral.holding', 0],
        [7.9, 'armed.neutral', 0],
        [8.9, 'armed.driving', DRIVE],
      ],
    },
    {
      it: 'latched: neutral between cut and release is not enough (hysteresis)',
      with: rule(true),
      pulses: [armed, [2, 4, 1800], [4, 9, 1500]],
      supply: [
        [0, 24],
        [3, 20],
        [4, 22.5],
        [7, 23.5],
      ],
      seen: [
        [6.9, 'cut-off', 0],
        [8.5, 'armed.neutral', 0],
      ],
    },
    {
      it: 'not latched: it drives on by itself above release, not below',
      with: rule(false),
      pulses: driven,
      supply: [
        [0, 24],
        [3, 20],
        [4, 22.5],
        [6, 23.5],
      ],
      seen: [
        [5.9, 'cut-off', 0],
        [6.1, 'armed.driving', DRIVE],
      ],
    },
    {
      it: 'not latched: without pulses it does not resume',
      with: rule(false),
      pulses: [armed, [2, 3.3, 1800], [6, 7, 1800]],
      supply: [
        [0, 24],
        [3, 20],
        [4, 24],
      ],
      seen: [
        [5.9, 'cut-off', 0],
        [6.9, 'armed.driving', DRIVE],
      ],
    },
    {
      it: 'power-cycle: neither supply nor neutral helps, only switching off and on',
      with: rule('power-cycle'),
      pulses: [armed, [2, 4, 1800], [4, 9, 1500]],
      supply: [
        [0, 24],
        [3, 20],
        [4, 24],
        [6, 0],
        [6.2, 24],
      ],
      seen: [
        [5.9, 'cut-off', 0],
        [6.1, 'unpowered'],
        [8, 'armed.neutral', 0],
      ],
    },
    {
      it: 'it resumes where the cut is the release, if none is given',
      with: { cutoff: { cut: '21 V', delay: '500 ms', latched: false } },
      pulses: driven,
      supply: [
        [0, 24],
        [3, 20],
        [4, 21.1],
      ],
      seen: [
        [3.9, 'cut-off'],
        [4.1, 'armed.driving', DRIVE],
      ],
    },
    {
      it: 'limit: half the drive while the supply is low, all of it afterwards',
      with: { cutoff: { ...cutoff, limit: '21.6 V', 'limit-to': '50 %', latched: true } },
      pulses: driven,
      supply: [
        [0, 24],
        [3, 21.5],
        [5, 24],
      ],
      seen: [
        [2.9, 'armed.driving', DRIVE],
        [4, 'armed.limited', 0.5],
        [5.1, 'armed.driving', DRIVE],
      ],
    },
    {
      it: 'signal lost and the drive held: the battery still cuts off',
      with: { ...rule(true), 'signal-loss': { after: '300 ms', then: 'hold' } },
      pulses: [armed, [2, 3, 1800]],
      supply: [
        [0, 24],
        [4, 20],
      ],
      seen: [
        [3.9, 'signal-lost', DRIVE],
        [4.6, 'cut-off', 0],
      ],
    },
  ]);

  test('the buzzer sounds below the warning and stops above it', () => {
    const supply = [
      [0, 24],
      [3, 22.1],
      [4, 22.3],
    ] as const;
    const result = run({ it: '', with: rule(true), pulses: driven, supply, seen: [[5, '']] });
    expect([2.9, 3.1, 4.1].map((at) => result.at('left.buzzer', at))).toEqual([0, 1, 0]);
  });
});
