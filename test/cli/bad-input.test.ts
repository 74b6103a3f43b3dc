/**
 * Mistakes that people make in the two kinds of files, and what they are told: where, what, what is allowed, what is near.
 * One row a mistake; the lines below the place are those printed, the excerpt of the file left out.
 */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { call, folderWith } from './capture.ts';

type Row = readonly [mistake: string, find: string, put: string, told: readonly string[]];

/** What is told of one change, without folder and excerpt. */
async function toldOf(file: string, find: string, put: string): Promise<{ status: number; told: string[] }> {
  const folder = folderWith({
    [file]: (text) => {
      if (!text.includes(find)) throw new Error(`${file} does not hold ${find}`);
      return text.replace(find, put);
    },
  });
  const { status, err } = await call(['check', join(folder, file)]);
  const lines = err.replaceAll(`${folder}/`, '').split('\n');
  return { status, told: lines.filter((line) => line !== '' && !/^ *\d+ \|/.test(line) && !/^ *\^+$/.test(line)) };
}

/** Lists of what is allowed and what is near grow with the parts: a row may leave the former out and cut the latter. */
function expectTold(told: readonly string[], wanted: readonly string[]): void {
  const counted = told.filter((line) => wanted.includes(line) || !line.startsWith('  allowed'));
  expect(
    counted.map((line, index) => line.slice(0, line.startsWith('  nearest') ? wanted[index]?.length : undefined)),
  ).toEqual(wanted);
}

const times = 'ns, us, ms, s, min, h';

const benchRows: readonly Row[] = [
  [
    'a typo in a key',
    'neutral: 1500 us',
    'nuetral: 1500 us',
    [
      'bench.yaml:19:14: controllers.left.pulse.nuetral: there is no such key; did you mean `neutral`?',
      '  allowed: neutral, full, reverse, dead, valid, period, clock, resolution',
    ],
  ],
  [
    'a unit of another kind',
    'neutral: 1500 us',
    'neutral: 1500 V',
    [
      'bench.yaml:19:23: controllers.left.pulse.neutral: `1500 V` is a voltage; a time is wanted',
      `  allowed: ${times}`,
    ],
  ],
  [
    'no unit',
    'neutral: 1500 us',
    'neutral: 1500',
    [
      'bench.yaml:19:23: controllers.left.pulse.neutral: `1500` has no unit; a time needs one',
      `  allowed: ${times}     nearest: 1500 us`,
    ],
  ],
  [
    'a required value left out',
    'neutral: 1500 us, ',
    '',
    [
      'bench.yaml:19:5: controllers.left.pulse.neutral is missing (pulse at which the motor stands; above 0 s; at most 20 ms, such as `1500 us`)',
    ],
  ],
  [
    'rest above full',
    'rest: 0.91 V',
    'rest: 4.5 V',
    [
      'bench.yaml:9:30: warning: pedal.rest is 4.5 V ± 40 mV; rest (4.5 V) is above full (4.08 V): a falling pedal; swap them if that is not meant',
    ],
  ],
  [
    'a sensor above its supply',
    'full: 4.08 V',
    'full: 5.4 V',
    ['bench.yaml:9:52: pedal.full is 5.4 V ± 60 mV; a sensor cannot give more than its supply of 5 V'],
  ],
  [
    'a window wider than the valid pulses',
    'window: ± 20 us',
    'window: ± 900 us',
    [
      'bench.yaml:19:38: controllers.left.pulse.full is 2000 us; full lies inside the dead band about neutral',
      'bench.yaml:20:23: controllers.left.arming.window is ± 900 us; the window of 600 us to 2400 us is wider than the valid pulses',
      '  allowed: within 700 us to 2400 us',
    ],
  ],
  [
    'a divider that no timer has',
    'prescaler: 256',
    'prescaler: 200',
    [
      'bench.yaml:14:42: board.pwm.prescaler is 200; there is no such choice',
      '  allowed: 1, 8, 32, 64, 128, 256, 1024     nearest: 256',
    ],
  ],
  [
    'frames too fast to arm',
    'prescaler: 256',
    'prescaler: 64',
    [
      'bench.yaml:14:42: warning: board.pwm.prescaler is 64; a frame lasts 2048 us, outside the 4000 us to 25 ms of left and right: no arming',
    ],
  ],
  [
    'a compare that the timer cannot hold',
    'output: [46, 62]',
    'output: [46, 300]',
    [
      'bench.yaml:15:71: board.firmware.output is [46, 300]; compare 300 lies outside what the timer can hold',
      '  allowed: 0 to 255',
    ],
  ],
  [
    'a copy of nobody',
    'right: { like: left }',
    'right: { like: lef }',
    [
      'bench.yaml:24:18: controllers.right.like is lef; there is no map of that name beside it',
      '  allowed: left     nearest: left',
    ],
  ],
  [
    'a range from high to low',
    'valid: [700 us, 2400 us]',
    'valid: [2400 us, 700 us]',
    ['bench.yaml:19:72: controllers.left.pulse.valid: [2400 us, 700 us] does not go from low to high'],
  ],
  [
    'an unknown choice',
    'kind: hall',
    'kind: hal',
    ['bench.yaml:9:18: pedal.kind is hal; there is no such choice', '  allowed: hall, pot, switch     nearest: hall'],
  ],
  [
    'no number at all',
    'capacity: 18 Ah',
    'capacity: .nan',
    ['bench.yaml:6:55: battery.capacity is .nan, which is no number that can be used'],
  ],
  [
    'a number without end',
    'capacity: 18 Ah',
    'capacity: 1e999 Ah',
    ['bench.yaml:6:55: battery.capacity: `1e999 Ah` is too large; the greatest that can be read is 1e+15 C'],
  ],
];

const scenarioRows: readonly Row[] = [
  [
    'a bench that is not there',
    'bench: bench.yaml',
    'bench: bnech.yaml',
    ['cold-start.yaml:3:8: there is no such file', '  nearest: bench.yaml'],
  ],
  [
    'a scenario for its bench',
    'bench: bench.yaml',
    'bench: signal-lost.yaml',
    ['signal-lost.yaml:3:1: this is a scenario; a bench is wanted here'],
  ],
  [
    'an unknown signal',
    'that: left.pulse < 2.1 ms',
    'that: left.pluse < 2.1 ms',
    ['cold-start.yaml:15:13: expect[4].that: there is no signal `left.pluse`', '  nearest: left.pulse'],
  ],
  [
    'a limit of another kind',
    'left.pulse < 2.1 ms',
    'left.pulse < 2.1 V',
    [
      'cold-start.yaml:15:26: expect[4].that: left.pulse: `2.1 V` is a voltage; a time is wanted',
      `  allowed: ${times}`,
    ],
  ],
  [
    'metres for minutes',
    'until: 3 s',
    'until: 3 m',
    [
      'cold-start.yaml:13:50: expect[2].until: `3 m` is a length; a time is wanted',
      `  allowed: ${times}     nearest: 3 min`,
    ],
  ],
  [
    'a word that the part does not know',
    'pedal: release',
    'pedal: relase',
    [
      'cold-start.yaml:9:23: steps[2].pedal is relase; there is no such choice',
      '  allowed: release     nearest: release',
    ],
  ],
  [
    'an override of nothing',
    'seed: 7',
    'with: { board.firmware.ouptut: [46, 62] }',
    ['cold-start.yaml:4:24: board.firmware.ouptut: there is no such key; did you mean `output`?'],
  ],
  [
    'a step after the end',
    'at: 5 s',
    'at: 50 s',
    ['cold-start.yaml:9:11: warning: steps[2].at: the scenario ends before this, after 6 s'],
  ],
  [
    'a step before the start',
    'at: 5 s',
    'at: -5 s',
    ['cold-start.yaml:9:11: steps[2].at: `-5 s` must be at least 0 s'],
  ],
  [
    'no duration',
    'duration: 6 s\n',
    '',
    ['cold-start.yaml:2:1: duration is missing (how long it runs; above 0 s; at most 1000000 s, such as `6 s`)'],
  ],
  [
    'a bracket that is not closed',
    'steps:',
    'steps: [',
    [
      'cold-start.yaml:7:3: inside of { } or [ ] a comma must stand before this, or brackets around it',
      'cold-start.yaml:10:1: a ] is missing, or stands too far to the left',
    ],
  ],
];

describe('bad input: a bench with', () => {
  test.each(benchRows)('%s', async (_mistake, find, put, wanted) => {
    const { status, told } = await toldOf('bench.yaml', find, put);
    const isWarning = wanted.every((line) => line.includes(': warning: ') || line.startsWith('  '));
    expectTold(told, wanted);
    expect(status).toBe(isWarning ? 0 : 2);
  });
});

describe('bad input: a scenario with', () => {
  test.each(scenarioRows)('%s', async (_mistake, find, put, wanted) => {
    const { status, told } = await toldOf('cold-start.yaml', find, put);
    const isWarning = wanted.every((line) => line.includes(': warning: '));
    expectTold(told, wanted);
    expect(status).toBe(isWarning ? 0 : 2);
  });
});

describe('bad input: files', () => {
  test.each([
    ['not there', 'nothere.yaml', 'there is no such file'],
    ['named nearly right', 'cold-strat.yaml', 'nearest: '],
    ['a bench for `run`', 'bench.yaml', 'this is a bench; a scenario is wanted here'],
  ])('%s', async (_name, file, says) => {
    const { status, out, err } = await call(['run', join(folderWith(), file)]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain(says);
  });

  test.each([
    ['empty', ''],
    ['binary', '\u0000\u0001\ufffd\u0007'],
    ['a list', '- 1\n- 2\n'],
    ['a number', '7'],
    ['two documents', 'scenario: x\n---\nscenario: y\n'],
  ])('%s: one problem or a few, at a place, and status 2', async (_name, text) => {
    const folder = folderWith({ 'odd.yaml': text });
    const { status, out, err } = await call(['run', join(folder, 'odd.yaml')]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toMatch(/odd\.yaml(:\d+:\d+)?: \S/);
    expect(err).not.toMatch(/\bat \S+ \(|Error:/);
  });
});
