/** Arming: what a controller must see before it drives, how it tells why it does not, and when it locks itself. */
import { describe, expect, test } from 'vitest';
import { armed, arming, DRIVE, run, table } from './cases.ts';

describe('controller: arming', () => {
  table([
    {
      it: 'steady neutral, from the first pulse after its start, for the hold time: armed then and not before',
      pulses: [[0, 3, 1500]],
      seen: [
        [0.29, 'starting'],
        [0.32, 'waiting-for-neutral.holding'],
        [1.29, 'waiting-for-neutral.holding'],
        [1.31, 'armed.neutral', 0],
      ],
    },
    { it: 'on the upper edge of the window it arms', pulses: [[0, 3, 1520]], seen: [[2, 'armed.neutral', 0]] },
    { it: 'on the lower edge of the window it arms', pulses: [[0, 3, 1480]], seen: [[2, 'armed.neutral', 0]] },
    { it: '1 us above the window: refused', pulses: [[0, 5, 1521]], seen: [[4, 'waiting-for-neutral.refusing', 0]] },
    { it: '1 us below the window: refused', pulses: [[0, 5, 1479]], seen: [[4, 'waiting-for-neutral.refusing', 0]] },
    {
      it: 'an unlike window: 30 us below is accepted, 30 us above is not',
      arming: { window: ['-40 us', '10 us'] },
      pulses: [
        [0, 2, 1530],
        [2, 4, 1470],
      ],
      seen: [
        [1.9, 'waiting-for-neutral.refusing'],
        [3.2, 'armed.neutral'],
      ],
    },
    {
      it: 'a pulse outside in the middle of the hold: the hold begins anew',
      pulses: [
        [0, 1, 1500],
        [1, 1.1, 1600],
        [1.1, 3, 1500],
      ],
      seen: [
        [1.05, 'waiting-for-neutral.refusing'],
        [2.05, 'waiting-for-neutral.holding'],
        [2.15, 'armed.neutral'],
      ],
    },
    {
      it: 'foot down at power-on: nothing moves, and it arms once neutral has lasted',
      pulses: [
        [0, 4, 2000],
        [4, 6, 1500],
      ],
      seen: [
        [3.9, 'waiting-for-neutral.refusing', 0],
        [4.9, 'waiting-for-neutral.holding', 0],
        [5.1, 'armed.neutral', 0],
      ],
    },
    {
      it: 'no hold time: the first neutral pulse arms',
      arming: { hold: '0 s' },
      pulses: [[0, 1, 1500]],
      seen: [[0.32, 'armed.neutral']],
    },
    { it: 'no pulse at all: it listens', pulses: [], seen: [[3, 'waiting-for-neutral.listening', 0]] },
    {
      it: 'pulses that stop in the middle of the hold: it is silent and does not arm',
      pulses: [[0, 0.6, 1500]],
      seen: [
        [0.7, 'waiting-for-neutral.holding'],
        [2, 'waiting-for-neutral.silent'],
      ],
    },
    {
      it: 'too little supply: off, and its start begins when there is enough',
      supply: [
        [0, 4.9],
        [1, 24],
      ],
      pulses: [[0, 4, 1500]],
      seen: [
        [0.9, 'unpowered', 0],
        [1.2, 'starting'],
        [2.2, 'waiting-for-neutral.holding'],
        [2.35, 'armed'],
      ],
    },
    {
      it: 'a break of the supply while driving: off, and from the start again with the foot still down',
      pulses: [armed, [2, 6, 1800]],
      supply: [
        [0, 24],
        [3, 0],
        [3.1, 24],
      ],
      seen: [
        [2.5, 'armed.driving', DRIVE],
        [3.05, 'unpowered', 0],
        [3.3, 'starting', 0],
        [5.9, 'waiting-for-neutral.refusing', 0],
      ],
    },
  ]);
});

describe('controller: refusals are named', () => {
  test.each([
    ['pulse-off-neutral', [[0, 3, 1600]], {}],
    ['pulse-width', [[0, 3, 699]], {}],
    ['pulse-width', [[0, 3, 2401]], {}],
    ['frame-period', [[0, 3, 1500, 3.9]], {}],
    ['frame-period', [[0, 3, 1500, 26]], {}],
    ['no-pulse', [], {}],
    ['no-pulse', [], { boot: '1 s' }],
    ['none', [[0, 3, 1500]], {}],
  ] as const)('%s for %j %o', (word, pulses, section) => {
    expect(run({ it: '', pulses, with: section, seen: [[2.9, '']] }).word('left.refusal', 2.9)).toBe(word);
  });

  test.each([
    [700, 20],
    [2400, 20],
    [1500, 4],
    [1500, 25],
  ])('%i us every %i ms is taken: the ranges have their ends in', (microseconds, milliseconds) => {
    const result = run({ it: '', pulses: [[0, 3, microseconds, milliseconds]], seen: [[2.9, '']] });
    expect(['none', 'pulse-off-neutral']).toContain(result.word('left.refusal', 2.9));
  });
});

describe('controller: lock-out', () => {
  const lockOut = { ...arming, refuse: { then: 'lock-out', after: '2 s' } };
  table([
    {
      it: 'a wrong pulse for longer than it watches: locked out, and neutral does not help',
      arming: lockOut,
      pulses: [
        [0, 3, 2000],
        [3, 6, 1500],
      ],
      seen: [
        [2.2, 'waiting-for-neutral.refusing', 0],
        [2.4, 'locked-out', 0],
        [5.9, 'locked-out', 0],
      ],
    },
    {
      it: 'neutral in time: it arms',
      arming: lockOut,
      pulses: [
        [0, 2, 2000],
        [2, 4, 1500],
      ],
      seen: [[3.9, 'armed.neutral', 0]],
    },
    {
      it: 'a power cycle ends it',
      arming: lockOut,
      pulses: [
        [0, 3, 2000],
        [3, 7, 1500],
      ],
      supply: [
        [0, 24],
        [4, 0],
        [4.5, 24],
      ],
      seen: [
        [3.9, 'locked-out'],
        [4.2, 'unpowered'],
        [6, 'armed.neutral'],
      ],
    },
    {
      it: 'rule wait: it never locks itself out',
      arming: { ...arming, refuse: { then: 'wait', after: '2 s' } },
      pulses: [
        [0, 8, 2000],
        [8, 10, 1500],
      ],
      seen: [
        [7.9, 'waiting-for-neutral.refusing'],
        [9.5, 'armed.neutral'],
      ],
    },
  ]);

  test('locked out, it does not look near to arming, and keeps telling why', () => {
    const one = {
      it: '',
      arming: lockOut,
      pulses: [
        [0, 3, 2000],
        [3, 6, 1500],
      ] as const,
      seen: [[5.9, ''] as const],
    };
    const result = run(one);
    expect(result.at('left.arming', 5.9)).toBe(Number.NEGATIVE_INFINITY);
    expect(result.word('left.refusal', 5.9)).toBe('pulse-off-neutral');
  });
});
