/** Reverse: each rule for a backward pulse, and a neutral at the low end, which leaves no room for one. */
import { describe } from 'vitest';
import { armed, DRIVE, table } from './cases.ts';

describe('controller: reverse', () => {
  table([
    {
      it: 'direct: from driving at once, and back at once',
      with: { reverse: 'direct' },
      pulses: [armed, [2, 3, 1800], [3, 4, 1200], [4, 5, 1800]],
      seen: [
        [2.9, 'armed.driving', DRIVE, 0],
        [3.1, 'armed.reversing', -DRIVE, 0],
        [4.1, 'armed.driving', DRIVE, 0],
      ],
    },
    {
      it: 'direct: from neutral at once',
      with: { reverse: 'direct' },
      pulses: [armed, [2, 3, 1200]],
      seen: [[2.1, 'armed.reversing', -DRIVE, 0]],
    },
    {
      it: 'brake first: out of driving it brakes as long as the stick is back; after neutral it reverses',
      with: { reverse: 'brake-first' },
      pulses: [armed, [2, 3, 1800], [3, 5, 1200], [5, 6, 1500], [6, 7, 1200]],
      seen: [
        [3.1, 'armed.braking', 0, DRIVE],
        [4.9, 'armed.braking', 0, DRIVE],
        [5.9, 'armed.neutral', 0, 0],
        [6.1, 'armed.reversing', -DRIVE, 0],
      ],
    },
    {
      it: 'brake first: out of arming the first backward pulse brakes, the second reverses',
      with: { reverse: 'brake-first' },
      pulses: [armed, [2, 3, 1200], [3, 3.2, 1500], [3.2, 4, 1200]],
      seen: [
        [2.9, 'armed.braking', 0, DRIVE],
        [3.3, 'armed.reversing', -DRIVE, 0],
      ],
    },
    {
      it: 'brake first: once it may reverse it may again, until it has driven forward',
      with: { reverse: 'brake-first' },
      pulses: [
        armed,
        [2, 2.5, 1200],
        [2.5, 3, 1500],
        [3, 3.5, 1200],
        [3.5, 4, 1500],
        [4, 4.5, 1200],
        [4.5, 5, 1800],
        [5, 5.5, 1500],
        [5.5, 6, 1200],
      ],
      seen: [
        [3.4, 'armed.reversing', -DRIVE],
        [4.4, 'armed.reversing', -DRIVE],
        [4.9, 'armed.driving', DRIVE],
        [5.9, 'armed.braking', 0, DRIVE],
      ],
    },
    {
      it: 'brake first: forward out of braking drives at once',
      with: { reverse: 'brake-first' },
      pulses: [armed, [2, 3, 1200], [3, 4, 1800]],
      seen: [[3.1, 'armed.driving', DRIVE, 0]],
    },
    {
      it: 'delayed: neutral for half a second is enough',
      with: { reverse: 'delayed', 'reverse-delay': '0.5 s' },
      pulses: [armed, [2, 3, 1800], [3, 3.6, 1500], [3.6, 4, 1200]],
      seen: [[3.7, 'armed.reversing', -DRIVE, 0]],
    },
    {
      it: 'delayed: too short a neutral brakes, and braking does not shorten the wait',
      with: { reverse: 'delayed', 'reverse-delay': '0.5 s' },
      pulses: [
        armed,
        [2, 3, 1800],
        [3, 3.3, 1500],
        [3.3, 4, 1200],
        [4, 4.2, 1500],
        [4.2, 5, 1200],
        [5, 5.6, 1500],
        [5.6, 6, 1200],
      ],
      seen: [
        [3.9, 'armed.braking', 0, DRIVE],
        [4.9, 'armed.braking', 0, DRIVE],
        [5.9, 'armed.reversing', -DRIVE, 0],
      ],
    },
    {
      it: 'none: it only ever brakes',
      with: { reverse: 'none' },
      pulses: [armed, [2, 3, 1200], [3, 4, 1500], [4, 5, 1200]],
      seen: [
        [2.9, 'armed.braking', 0, DRIVE],
        [4.9, 'armed.braking', 0, DRIVE],
      ],
    },
    {
      it: 'no reverse pulse: a backward pulse is neutral',
      pulse: { reverse: undefined },
      pulses: [armed, [2, 3, 1800], [3, 4, 1200]],
      seen: [
        [2.9, 'armed.driving', DRIVE],
        [3.1, 'armed.neutral', 0, 0],
      ],
    },
  ]);
});

describe('controller: neutral at the low end', () => {
  const low = { neutral: '1000 us', full: '2000 us', reverse: undefined };
  table([
    {
      it: 'arms at 1000 us and drives from there: 1510 us is half',
      pulse: low,
      pulses: [
        [0, 2, 1000],
        [2, 3, 1510],
        [3, 4, 2000],
        [4, 5, 900],
      ],
      seen: [
        [1.9, 'armed.neutral', 0],
        [2.9, 'armed.driving', 0.5],
        [3.9, 'armed.driving', 1],
        [4.9, 'armed.neutral', 0, 0],
      ],
    },
    {
      it: 'the middle does not arm it',
      pulse: low,
      pulses: [[0, 4, 1500]],
      seen: [[3.9, 'waiting-for-neutral.refusing', 0]],
    },
  ]);
});
