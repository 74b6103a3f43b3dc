/** Learning of end points: how it is entered, what it moves, and how long that lasts. */
import { describe, expect, test } from 'vitest';
import { controller } from '../../../models/controller/controller.ts';
import { assemble } from '../../../sim/bench/assemble.ts';
import { actsIn, rigParts, train } from '../rig.ts';
import { armed, arming, plain, pulse, run, table } from './cases.ts';

describe('controller: learning of end points', () => {
  const learning = { learning: { hold: '2 s' } };
  const taught = [
    [0, 4, 1950],
    [4, 9, 1550],
    [9, 10, 1950],
  ] as const;
  table([
    {
      it: 'powered up at full: full is learned, then neutral; afterwards it arms and drives by them',
      with: learning,
      pulses: taught,
      seen: [
        [0.4, 'learning.full', 0],
        [2.4, 'learning.low', 0],
        [4.1, 'learning.neutral', 0],
        [6.1, 'waiting-for-neutral', 0],
        [7.2, 'armed.neutral', 0],
        [9.5, 'armed.driving', 1],
      ],
    },
    {
      it: 'without learning the same is refused',
      pulses: taught,
      seen: [
        [3.9, 'waiting-for-neutral.refusing'],
        [8.9, 'waiting-for-neutral.refusing', 0],
      ],
    },
    {
      it: 'less than full at power-on (80 %): refused',
      with: learning,
      pulses: [[0, 4, 1900]],
      seen: [[3.9, 'waiting-for-neutral.refusing']],
    },
    {
      it: 'neutral at power-on: it arms as usual',
      with: learning,
      pulses: [[0, 3, 1500]],
      seen: [[2, 'armed.neutral']],
    },
    {
      it: 'the foot goes before full was held: refused, nothing learned',
      with: learning,
      pulses: [
        [0, 1, 1950],
        [1, 5, 1500],
      ],
      seen: [
        [0.9, 'learning.full'],
        [1.02, 'waiting-for-neutral.refusing'],
        [2.2, 'armed.neutral'],
      ],
    },
    {
      it: 'full again while neutral is learned: it waits for neutral anew',
      with: learning,
      pulses: [
        [0, 4, 1950],
        [4, 5, 1550],
        [5, 6, 1950],
        [6, 9, 1550],
      ],
      seen: [
        [4.9, 'learning.neutral'],
        [5.5, 'learning.low'],
        [7.9, 'learning.neutral'],
        [8.5, 'waiting-for-neutral'],
      ],
    },
    {
      it: 'pulses stop: given up, and full pulses that come back do not start it again',
      with: learning,
      pulses: [
        [0, 1, 1950],
        [2, 6, 1950],
      ],
      seen: [
        [1.9, 'waiting-for-neutral.silent'],
        [5.9, 'waiting-for-neutral.refusing', 0],
      ],
    },
    {
      it: 'signal lost at full and back: that is no power-on, nothing is learned',
      with: learning,
      pulses: [armed, [2, 3, 2000], [4, 8, 2000]],
      seen: [
        [3.9, 'signal-lost', 0],
        [7.9, 'waiting-for-neutral.refusing', 0],
      ],
    },
    {
      it: 'cut off at full and the battery recovers: nothing is learned',
      with: { ...learning, cutoff: { cut: '21 V', delay: '500 ms', latched: true } },
      pulses: [armed, [2, 8, 2000]],
      supply: [
        [0, 24],
        [3, 20],
        [4, 24],
      ],
      seen: [[7.9, 'cut-off', 0]],
    },
  ]);

  test('the constants move to what was learned, and outlast a power cycle', () => {
    const supply = [
      [0, 24],
      [9.5, 0],
      [10, 24],
    ] as const;
    const result = run({ it: '', with: learning, pulses: taught, supply, seen: [[12, '']] });
    expect(result.at('left.neutral', 3)).toBe(1.5e-3);
    for (const at of [6.1, 12]) {
      expect(result.at('left.neutral', at)).toBeCloseTo(1.55e-3, 12);
      expect(result.at('left.full', at)).toBeCloseTo(1.95e-3, 12);
    }
  });

  test('a snapshot carries them: a fresh run that goes on from there drives as this one does', () => {
    const parts = rigParts({ left: [controller, { ...plain, pulse, arming, ...learning }] });
    const script = [
      { at: 0, feed: 'left.supply', to: 24 },
      ...taught.flatMap(([from, until, width]) => train('left.line', from, until, width / 1e6)),
    ];
    const straight = assemble(parts, 7, actsIn(parts, script));
    straight.kernel.run(8);
    const snapshot = straight.kernel.save();
    const fresh = assemble(parts, 7, actsIn(parts, script));
    fresh.kernel.restore(snapshot);
    for (const { kernel, signalIndex } of [straight, fresh]) {
      kernel.run(9.9);
      expect(kernel.values[signalIndex.get('left.drive')!]).toBeCloseTo(1, 9);
    }
  });

  test('a slow release does not make it learn less than full', () => {
    const pulses = [
      [0, 4, 1950],
      [4, 4.2, 1900],
      [4.2, 4.4, 1930],
      [4.4, 9, 1550],
    ] as const;
    const result = run({ it: '', with: learning, pulses, seen: [[9, '']] });
    expect(result.at('left.full', 8)).toBeCloseTo(1.95e-3, 12);
  });
});
