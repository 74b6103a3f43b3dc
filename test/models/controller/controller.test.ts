/** The controller's rules, one row a case: what reaches it, and in which mode and with what drive it is when. */
import { describe, expect, test } from 'vitest';
import { controller } from '../../../models/controller/controller.ts';
import { FLOATING } from '../../../models/pwm-timer.ts';
import { assemble } from '../../../sim/bench/assemble.ts';
import { actsIn, type Doing, type RigRun, rig, rigParts, train } from '../rig.ts';

type Seen = readonly [atSeconds: number, mode: string, drive?: number, brake?: number];

interface Case {
  readonly it: string;
  /** Laid over the section of `plain`. */
  readonly with?: object;
  readonly pulse?: object;
  readonly arming?: object;
  /** Stretches of pulses: from, until, width in us, period in ms (20 if not given). */
  readonly pulses: readonly (readonly [from: number, until: number, microseconds: number, milliseconds?: number])[];
  /** Supply from an instant on; 24 V from 0 s where not given. */
  readonly supply?: readonly (readonly [at: number, volts: number])[];
  readonly more?: readonly Doing[];
  readonly seen: readonly Seen[];
}

const pulse = {
  neutral: '1500 us',
  full: '2000 us',
  reverse: '1000 us',
  valid: ['700 us', '2400 us'],
  period: ['4 ms', '25 ms'],
};
const arming = { window: '± 20 us', hold: '1 s' };
const plain = { boot: '0.3 s', 'least-voltage': '5 V', 'signal-loss': { after: '300 ms', then: 'coast' } };
/** (300 - 20) / (500 - 20): the drive of 1800 us, and of 1200 us backwards. */
const DRIVE = 280 / 480;

function run(one: Case): RigRun {
  const section = { ...plain, pulse: { ...pulse, ...one.pulse }, arming: { ...arming, ...one.arming }, ...one.with };
  const supply = one.supply ?? [[0, 24]];
  const script: Doing[] = [
    ...supply.map(([at, to]): Doing => ({ at, feed: 'left.supply', to })),
    ...one.pulses.flatMap(([from, until, width, period = 20]) =>
      train('left.line', from, until, width / 1e6, period / 1e3),
    ),
    ...(one.more ?? []),
  ];
  const last = Math.max(...one.seen.map(([at]) => at));
  return rig({ left: [controller, section] }, script, last + 0.1);
}

function check(one: Case): void {
  const result = run(one);
  for (const [at, mode, drive, brake] of one.seen) {
    const found = result.word('left.mode', at);
    const isThere = found === mode || found.startsWith(`${mode}.`);
    expect(isThere ? mode : found, `mode at ${at} s`).toBe(mode);
    if (drive !== undefined) expect(result.at('left.drive', at), `drive at ${at} s`).toBeCloseTo(drive, 9);
    if (brake !== undefined) expect(result.at('left.brake', at), `brake at ${at} s`).toBeCloseTo(brake, 9);
  }
}
const table = (cases: readonly Case[]): void => {
  test.each(cases.map((one) => [one.it, one] as const))('%s', (_name, one) => check(one));
};

/** Neutral until it is armed (1.3 s after power-on) and a little longer. */
const armed = [0, 2, 1500] as const;

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
