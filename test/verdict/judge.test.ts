import { describe, expect, test } from 'vitest';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';
import { expectationSchema, type Formula, parseExpectation, signalsRead } from '../../sim/verdict/expectation.ts';
import { type Judgement, judge } from '../../sim/verdict/judge.ts';

const signals: readonly SignalInfo[] = [
  {
    name: 'left.mode',
    dimension: 'count',
    shape: 'held',
    modes: ['starting', 'waiting-for-neutral', 'armed.neutral', 'armed.driving', 'locked-out'],
    gauges: { armed: 'left.to-neutral' },
    means: 'mode',
  },
  {
    name: 'left.to-neutral',
    dimension: 'time',
    shape: 'held',
    means: 'how far the pulse is inside the neutral window',
  },
  { name: 'left.pulse', dimension: 'time', shape: 'held', means: 'pulse width' },
  { name: 'left.drive', dimension: 'ratio', shape: 'held', means: 'drive' },
  { name: 'pedal.travel', dimension: 'ratio', shape: 'linear', means: 'travel' },
  { name: 'pedal.voltage', dimension: 'voltage', shape: 'linear', means: 'voltage' },
  { name: 'case.heat', dimension: 'temperature', shape: 'linear', means: 'temperature' },
];
const [MODE, TO_NEUTRAL, PULSE, DRIVE, TRAVEL, VOLTAGE, HEAT] = [0, 1, 2, 3, 4, 5, 6] as const;

type Samples = readonly (readonly [signal: number, seconds: number, value: number])[];

function traceOf(runSeconds: number, samples: Samples): Trace {
  const trace = new Trace(signals);
  for (const [signal, seconds, value] of samples) trace.append(signal, seconds, value);
  trace.finish(runSeconds);
  return trace;
}

function formulaOf(item: Record<string, unknown>): Formula {
  const names = signals.map((signal) => signal.name);
  const parsed = parseExpectation(
    expectationSchema.parse(item),
    (name) => signals.find((signal) => signal.name === name),
    names,
  );
  if ('mistakes' in parsed) throw new Error(JSON.stringify(parsed.mistakes));
  return parsed.formula;
}

function judged(item: Record<string, unknown>, runSeconds: number, samples: Samples): Judgement {
  return judge(formulaOf(item), traceOf(runSeconds, samples));
}

describe('judge: modes and gauges', () => {
  test('a pulse 16 us above the window never arms: margin -16 us at the closest approach, decided by the gauge', () => {
    // (47 + 1) x 32 us = 1536 us against a window of 1480 to 1520 us.
    const outcome = judged({ that: 'left.mode is armed', within: '2 s' }, 6, [
      [MODE, 0, 0],
      [MODE, 0.2, 1],
      [TO_NEUTRAL, 0, -1480e-6],
      [TO_NEUTRAL, 0.52, -16e-6],
      [TO_NEUTRAL, 1.2, -18e-6],
    ]);
    expect(outcome).toMatchObject({
      holds: false,
      truth: false,
      unit: 'time',
      atSeconds: 0.52,
      signal: 'left.to-neutral',
      judgedCount: 1,
      unjudgedCount: 0,
    });
    expect(outcome.margin).toBeCloseTo(-16e-6, 15);
    expect(outcome.note).toBeUndefined();
  });

  test('in the mode the margin is how far inside the gauge is; a nested mode counts', () => {
    const outcome = judged({ that: 'left.mode is armed', within: '2 s' }, 6, [
      [MODE, 0, 1],
      [TO_NEUTRAL, 0, 4e-6],
      [MODE, 1, 2],
      [TO_NEUTRAL, 1.5, 20e-6],
    ]);
    expect(outcome).toMatchObject({ truth: true, margin: 20e-6, atSeconds: 1.5, signal: 'left.to-neutral' });
  });

  test('where the gauge is met but the mode has not come, the mode decides at margin 0', () => {
    const outcome = judged({ that: 'left.mode is armed', within: '2 s' }, 6, [
      [MODE, 0, 1],
      [TO_NEUTRAL, 0, -9e-6],
      [TO_NEUTRAL, 1, 5e-6],
    ]);
    expect(outcome).toMatchObject({ truth: false, margin: 0, unit: 'time', atSeconds: 1, signal: 'left.mode' });
  });

  test('a mode without a gauge has no margin', () => {
    const outcome = judged({ that: 'left.mode is locked-out', never: true }, 6, [
      [MODE, 0, 0],
      [MODE, 3, 4],
    ]);
    expect(outcome).toMatchObject({ truth: false, margin: -Infinity, unit: null, atSeconds: 3, signal: 'left.mode' });
    expect(judged({ that: 'left.mode is not locked-out', always: true }, 6, [[MODE, 0, 0]])).toMatchObject({
      truth: true,
      margin: Infinity,
      unit: null,
    });
  });
});

describe('judge: strict and not strict', () => {
  const pulse: Samples = [
    [PULSE, 0, 0.0015],
    [PULSE, 1, 0.0021],
  ];
  test('a value on the bound has margin 0 either way; the comparison decides the truth', () => {
    expect(judged({ that: 'left.pulse < 2.1 ms', always: true }, 2, pulse)).toMatchObject({
      truth: false,
      margin: 0,
      atSeconds: 1,
    });
    expect(judged({ that: 'left.pulse <= 2.1 ms', always: true }, 2, pulse)).toMatchObject({
      truth: true,
      margin: 0,
      atSeconds: 1,
    });
    expect(judged({ that: 'left.pulse != 2.1 ms', always: true }, 2, pulse)).toMatchObject({ truth: false, margin: 0 });
    expect(judged({ that: 'left.pulse = 2.1 ms', within: '2 s' }, 2, pulse)).toMatchObject({
      truth: true,
      margin: 0,
      atSeconds: 1,
    });
  });

  test('a line that touches a bound for one instant is caught there', () => {
    const travel: Samples = [
      [TRAVEL, 0, 0],
      [TRAVEL, 1, 0.3],
      [TRAVEL, 2, 0],
    ];
    expect(judged({ that: 'pedal.travel < 30 %', always: true }, 2, travel)).toMatchObject({
      truth: false,
      margin: 0,
      atSeconds: 1,
    });
    expect(judged({ that: 'pedal.travel >= 30 %', within: '2 s' }, 2, travel)).toMatchObject({
      truth: true,
      margin: 0,
      atSeconds: 1,
    });
  });

  test('equal within a tolerance holds on both its ends', () => {
    const near = (microseconds: number) =>
      judged({ that: 'left.pulse = 1500 us ± 20 us', always: true }, 1, [[PULSE, 0, microseconds / 1e6]]);
    expect([1479, 1480, 1500, 1520, 1521].map((width) => near(width).truth)).toEqual([false, true, true, true, false]);
    expect(near(1512).margin).toBeCloseTo(8e-6, 15);
    expect(judged({ that: 'left.pulse != 1500 us ± 20 us', always: true }, 1, [[PULSE, 0, 0.00153]]).truth).toBe(true);
  });
});

describe('judge: between the samples', () => {
  const crossing: Samples = [
    [VOLTAGE, 0, 0],
    [VOLTAGE, 4, 4],
  ];

  test('the margin of a range is greatest in its middle', () => {
    expect(judged({ that: 'pedal.voltage between 1 V and 2 V', within: '4 s' }, 4, crossing)).toMatchObject({
      truth: true,
      margin: 0.5,
      atSeconds: 1.5,
    });
  });

  test('a gauge on a line passes 0 where it passes 0', () => {
    const signalsWithLine = signals.map((signal) =>
      signal.name === 'left.to-neutral' ? { ...signal, shape: 'linear' as const } : signal,
    );
    const trace = new Trace(signalsWithLine);
    trace.append(MODE, 0, 2);
    trace.append(TO_NEUTRAL, 0, -3);
    trace.append(TO_NEUTRAL, 4, 1);
    trace.finish(4);
    // In the mode, but the gauge is below 0 until 3 s: margin 0 up to there, 0.5 at 3.5 s, 1 at 4 s.
    const outcome = judge(formulaOf({ that: 'left.mode is armed', within: '4 s', for: '500 ms' }), trace);
    expect(outcome).toMatchObject({ truth: true, margin: 0.5, atSeconds: 3.5 });
  });

  test('a line that comes back up to its highest value rises again from there', () => {
    const dip: Samples = [
      [VOLTAGE, 0, 2],
      [VOLTAGE, 1, 0],
      [VOLTAGE, 5, 4],
    ];
    // Below 2 V by 2 t up to 1 s and by 3 - t up to 3 s: for 1 s on end by 4/3 V at best, from 2/3 s to 5/3 s.
    const outcome = judged({ that: 'not pedal.voltage rises', within: '5 s', for: '1 s' }, 5, dip);
    expect(outcome.truth).toBe(true);
    expect(outcome.margin).toBeCloseTo(4 / 3, 12);
  });
});

describe('judge: when, then', () => {
  const item = { when: 'pedal.travel < 2 %', then: 'left.drive = 0', within: '1 s' };

  test('an answer just in time, a closed window, holds; one later does not', () => {
    // The foot goes up from full at 3 s; travel passes 2 % at 3.98 s.
    const travel: Samples = [
      [TRAVEL, 0, 1],
      [TRAVEL, 3, 1],
      [TRAVEL, 4, 0],
    ];
    const stops = (seconds: number): Samples => [...travel, [DRIVE, 0, 1], [DRIVE, seconds, 0]];
    expect(judged(item, 9, stops(4.98))).toMatchObject({ truth: true, margin: 0, judgedCount: 1, unjudgedCount: 0 });
    expect(judged(item, 9, stops(5.5))).toMatchObject({
      truth: false,
      margin: -1,
      unit: 'ratio',
      signal: 'left.drive',
    });
  });

  test('instants that are equal on paper meet: 0.3 s and 0.1 s make 0.4 s, and 0.7 s and 0.1 s make 0.8 s', () => {
    for (const [trigger, delay] of [
      [0.3, 0.1],
      [0.7, 0.1],
      [0.1, 0.2],
      [1.1, 2.2],
    ] as const) {
      const answer = Number((trigger + delay).toFixed(6));
      const steps: Samples = [
        [PULSE, 0, 0.001],
        [PULSE, trigger, 0.002],
        [PULSE, trigger + 1e-4, 0.001],
        [DRIVE, 0, 1],
        [DRIVE, answer, 0],
      ];
      expect(
        judged({ when: 'left.pulse > 1.5 ms', then: 'left.drive = 0', within: `${delay} s` }, 5, steps),
      ).toMatchObject({ truth: true });
      const span = { that: 'left.drive = 0', within: `${delay} s`, from: `${trigger} s` };
      expect(judged(span, 5, steps)).toMatchObject({ truth: true });
    }
  });

  test('it is asked at every instant of the premise, so that a drive that comes back late is seen', () => {
    const outcome = judged(item, 9, [
      [TRAVEL, 0, 0],
      [DRIVE, 0, 0],
      [DRIVE, 2, 0.4],
      [DRIVE, 6, 0],
    ]);
    expect(outcome).toMatchObject({ truth: false, margin: -0.4, signal: 'left.drive' });
  });

  test('a trigger whose window the run cuts short is counted as unjudged, not taken for either', () => {
    const outcome = judged(item, 3, [
      [TRAVEL, 0, 1],
      [TRAVEL, 2.5, 1],
      [TRAVEL, 2.5, 0],
      [DRIVE, 0, 1],
    ]);
    expect(outcome).toMatchObject({ truth: true, margin: Infinity, unit: null, judgedCount: 0, unjudgedCount: 1 });
    expect(outcome.note).toContain('nothing was judged');
    const twice = judged(item, 3, [
      [TRAVEL, 0, 0],
      [TRAVEL, 1, 0],
      [TRAVEL, 1, 1],
      [TRAVEL, 2.5, 1],
      [TRAVEL, 2.5, 0],
      [DRIVE, 0, 0],
      [DRIVE, 1.5, 1],
    ]);
    expect(twice).toMatchObject({ truth: true, judgedCount: 1, unjudgedCount: 1 });
    expect(twice.note).toContain('not judged');
  });

  test('a premise that never holds judges nothing, and says so', () => {
    const outcome = judged(item, 3, [
      [TRAVEL, 0, 1],
      [DRIVE, 0, 1],
    ]);
    expect(outcome).toMatchObject({ truth: true, judgedCount: 0, unjudgedCount: 0 });
    expect(outcome.note).toContain('premise never held');
  });

  test('the premise counts as truth only: the margin is that of the answer', () => {
    const outcome = judged({ when: 'pedal.voltage > 1 V', then: 'left.pulse < 2.1 ms', always: true }, 3, [
      [VOLTAGE, 0, 1.000001],
      [PULSE, 0, 0.002],
    ]);
    expect(outcome).toMatchObject({ truth: true, unit: 'time', signal: 'left.pulse' });
    expect(outcome.margin).toBeCloseTo(1e-4, 12);
  });
});

describe('judge: the span and the end of the run', () => {
  test('from and until bound it, both included', () => {
    const pulse: Samples = [
      [PULSE, 0, 0.003],
      [PULSE, 1, 0.001],
      [PULSE, 2, 0.003],
    ];
    expect(judged({ that: 'left.pulse < 2 ms', always: true, from: '1 s', until: '1.9 s' }, 3, pulse).truth).toBe(true);
    expect(judged({ that: 'left.pulse < 2 ms', always: true, from: '1 s', until: '2 s' }, 3, pulse)).toMatchObject({
      truth: false,
      atSeconds: 2,
    });
  });

  test('within counts from the start of the span', () => {
    const mode: Samples = [
      [MODE, 0, 0],
      [MODE, 4, 2],
    ];
    expect(judged({ that: 'left.mode is armed.neutral', within: '2 s', from: '2 s' }, 6, mode).truth).toBe(true);
    expect(judged({ that: 'left.mode is armed.neutral', within: '1.9 s', from: '2 s' }, 6, mode).truth).toBe(false);
  });

  test('what did not happen in a run that is too short fails with a note', () => {
    const outcome = judged({ that: 'left.mode is armed.neutral', within: '10 s' }, 6, [[MODE, 0, 0]]);
    expect(outcome).toMatchObject({ truth: false, holds: false });
    expect(outcome.note).toBe('the run ended before the time was up');
  });

  test('a span that passes the end is judged as far as the run goes, with a note', () => {
    expect(judged({ that: 'left.pulse < 2 ms', always: true, until: '9 s' }, 6, [[PULSE, 0, 0.001]])).toMatchObject({
      truth: true,
      note: expect.stringContaining('as far as the run went'),
    });
    expect(judged({ that: 'left.pulse > 2 ms', never: true, until: '9 s' }, 6, [[PULSE, 0, 0.001]]).note).toContain(
      'as far as the run went',
    );
    expect(
      judged({ that: 'left.pulse < 2 ms', always: true, until: '6 s' }, 6, [[PULSE, 0, 0.001]]).note,
    ).toBeUndefined();
  });

  test('a span that starts after the end judges nothing; what was to happen in it has not', () => {
    expect(judged({ that: 'left.pulse < 2 ms', always: true, from: '7 s' }, 6, [[PULSE, 0, 1]])).toMatchObject({
      truth: true,
      judgedCount: 0,
      unjudgedCount: 1,
      unit: null,
    });
    expect(judged({ that: 'left.pulse < 2 ms', within: '1 s', from: '7 s' }, 6, [[PULSE, 0, 1]])).toMatchObject({
      truth: false,
      holds: false,
      note: expect.stringContaining('before 7 s'),
    });
    expect(judged({ that: 'left.pulse > 2 ms', always: true, from: '6 s' }, 6, [[PULSE, 0, 1]])).toMatchObject({
      truth: true,
      judgedCount: 1,
    });
  });
});

describe('judge: for', () => {
  const blip: Samples = [
    [PULSE, 0, 0.001],
    [PULSE, 1, 0.003],
    [PULSE, 1.2, 0.001],
  ]; // above 2 ms in [1 s, 1.2 s)

  test('within, for: it must go on holding for that long; the end of the stretch is included', () => {
    expect(judged({ that: 'left.pulse > 2 ms', within: '3 s', for: '190 ms' }, 6, blip).truth).toBe(true);
    expect(judged({ that: 'left.pulse > 2 ms', within: '3 s', for: '200 ms' }, 6, blip).truth).toBe(false);
  });

  test('never, for: shorter stretches are allowed', () => {
    expect(judged({ that: 'left.pulse > 2 ms', never: true, for: '200 ms' }, 6, blip).truth).toBe(true);
    expect(judged({ that: 'left.pulse > 2 ms', never: true, for: '190 ms' }, 6, blip).truth).toBe(false);
  });

  test('always, for: it holds in the span and that long after it', () => {
    expect(judged({ that: 'left.pulse < 2 ms', always: true, until: '0.9 s', for: '50 ms' }, 6, blip).truth).toBe(true);
    expect(judged({ that: 'left.pulse < 2 ms', always: true, until: '0.9 s', for: '100 ms' }, 6, blip)).toMatchObject({
      truth: false,
      atSeconds: 1,
    });
  });

  test('a stretch that the run cuts short: never leaves it unjudged, within does not accept it', () => {
    const late: Samples = [
      [PULSE, 0, 0.001],
      [PULSE, 5.9, 0.003],
    ];
    expect(judged({ that: 'left.pulse > 2 ms', never: true, for: '200 ms' }, 6, late)).toMatchObject({
      truth: true,
      judgedCount: 1,
      unjudgedCount: 1,
      note: expect.stringContaining('not yet for 200 ms'),
    });
    expect(judged({ that: 'left.pulse > 2 ms', within: '6 s', for: '200 ms' }, 6, late)).toMatchObject({
      truth: false,
      note: expect.stringContaining('not yet for 200 ms'),
    });
    expect(judged({ that: 'left.pulse > 2 ms', within: '6 s', for: '100 ms' }, 6, late)).toMatchObject({ truth: true });
    expect(judged({ that: 'left.pulse > 2 ms', never: true, for: '7 s' }, 6, [[PULSE, 0, 1]])).toMatchObject({
      truth: true,
      judgedCount: 0,
      unjudgedCount: 1,
    });
    expect(judged({ that: 'left.pulse > 2 ms', within: '6 s', for: '7 s' }, 6, [[PULSE, 0, 1]])).toMatchObject({
      truth: false,
      margin: -Infinity,
    });
  });

  test('the instant that decides lies inside the stretch', () => {
    const dips: Samples = [
      [PULSE, 0, 0.003],
      [PULSE, 1, 0.0025],
      [PULSE, 1.1, 0.003],
      [PULSE, 2, 0.001],
    ];
    expect(judged({ that: 'left.pulse > 2 ms', within: '1 s', for: '1.5 s' }, 6, dips)).toMatchObject({
      truth: true,
      atSeconds: 1,
    });
  });
});

describe('judge: rises and falls', () => {
  test('never below what it was since the start of the span; the margin is the deepest drop', () => {
    const sweep: Samples = [
      [VOLTAGE, 0, 5],
      [VOLTAGE, 1, 1],
      [VOLTAGE, 2, 3],
      [VOLTAGE, 3, 2.5],
      [VOLTAGE, 4, 4],
    ];
    expect(judged({ that: 'pedal.voltage rises', always: true, from: '1 s', until: '2 s' }, 4, sweep)).toMatchObject({
      truth: true,
      margin: 0,
    });
    expect(judged({ that: 'pedal.voltage rises', always: true, from: '1 s' }, 4, sweep)).toMatchObject({
      truth: false,
      margin: -0.5,
      atSeconds: 3,
      unit: 'voltage',
    });
    expect(judged({ that: 'pedal.voltage falls', always: true, until: '1 s' }, 4, sweep)).toMatchObject({
      truth: true,
      margin: 0,
    });
    expect(judged({ that: 'pedal.voltage falls', always: true }, 4, sweep)).toMatchObject({
      truth: false,
      margin: -3,
      atSeconds: 4,
    });
  });

  test('a slow slide is as bad as a step', () => {
    const slide = Array.from({ length: 11 }, (_, index): [number, number, number] => [
      PULSE,
      index,
      0.002 - index * 1e-5,
    ]);
    expect(judged({ that: 'left.pulse rises', always: true }, 10, slide).margin).toBeCloseTo(-1e-4, 12);
  });
});

describe('judge: odd values', () => {
  test('a signal without a value makes every comparison false, without margin', () => {
    expect(judged({ that: 'left.pulse < 2 ms', always: true }, 3, [[PULSE, 1, 0.001]])).toMatchObject({
      truth: false,
      margin: -Infinity,
      atSeconds: 0,
    });
    expect(judged({ that: 'left.pulse < 2 ms', always: true, from: '1 s' }, 3, [[PULSE, 1, 0.001]]).truth).toBe(true);
    expect(judged({ that: 'left.pulse < 2 ms', within: '3 s' }, 3, []).truth).toBe(false);
    expect(judged({ that: 'not left.pulse < 2 ms', always: true }, 3, []).truth).toBe(true);
    expect(judged({ that: 'left.pulse = 2 ms or left.pulse != 2 ms', always: true }, 3, [[PULSE, 0, NaN]]).truth).toBe(
      false,
    );
  });

  test('an infinite value compares as such', () => {
    expect(judged({ that: 'left.pulse > 2 ms', always: true }, 3, [[PULSE, 0, Infinity]])).toMatchObject({
      truth: true,
      margin: Infinity,
      unit: null,
    });
    expect(
      judged({ that: 'left.pulse <= left.to-neutral', always: true }, 3, [
        [PULSE, 0, Infinity],
        [TO_NEUTRAL, 0, Infinity],
      ]),
    ).toMatchObject({ truth: true, margin: 0 });
  });

  test('a run of no length is one instant', () => {
    expect(judged({ that: 'left.pulse < 2 ms', always: true }, 0, [[PULSE, 0, 0.001]])).toMatchObject({
      truth: true,
      judgedCount: 1,
    });
    expect(
      judged({ when: 'left.pulse < 2 ms', then: 'left.drive = 0', within: '1 s' }, 0, [
        [PULSE, 0, 0.001],
        [DRIVE, 0, 1],
      ]),
    ).toMatchObject({ judgedCount: 0, unjudgedCount: 1 });
  });

  test('the margin of a temperature is a difference of temperatures', () => {
    expect(judged({ that: 'case.heat < 90 degC', always: true }, 1, [[HEAT, 0, 20]])).toMatchObject({
      margin: 70,
      unit: 'temperature-difference',
    });
  });
});

describe('judge: fails', () => {
  test('turns the outcome round and leaves truth and margin', () => {
    const samples: Samples = [[PULSE, 0, 0.003]];
    expect(judged({ that: 'left.pulse < 2 ms', always: true, fails: true }, 1, samples)).toMatchObject({
      holds: true,
      truth: false,
      margin: expect.closeTo(-0.001, 12),
    });
    expect(judged({ that: 'left.pulse > 2 ms', always: true, fails: true }, 1, samples)).toMatchObject({
      holds: false,
      truth: true,
    });
  });
});

test('judge: the signals that a formula reads are those of premise and body, gauges included, each once', () => {
  const formula = formulaOf({
    when: 'pedal.travel < 2 % and left.mode is armed',
    then: 'left.pulse < left.to-neutral or not left.mode is armed',
    within: '1 s',
  });
  expect(signalsRead(formula)).toEqual(['pedal.travel', 'left.mode', 'left.to-neutral', 'left.pulse']);
});
