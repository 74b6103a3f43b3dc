/** A capture in place of a pedal or a receiver: the same volts and edges at the same instants, and nothing beside them. */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { countOf } from '../../models/adc.ts';
import { travelTold } from '../../models/pedal-replay.ts';
import { assemble } from '../../sim/bench/assemble.ts';
import { benchFileSchema, loadBench } from '../../sim/bench/load-bench.ts';
import { printProblems } from '../../sim/bench/print.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { record } from '../../sim/trace/record.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { call, folderWith } from '../cli/capture.ts';

const START = 'steps: [{ at: 0 s, battery: connect }';
function scenario(laid: string, steps = '', seconds = 2): string {
  return `scenario: replay\nbench: bench.yaml\nwith: ${laid}\nseed: 7\nduration: ${seconds} s\n${START}${steps}]\n`;
}

/** Runs the shipped bench with this laid over it, the files beside it. */
function run(files: Readonly<Record<string, string>>, laid: string, steps = '', seconds = 2) {
  const folder = folderWith({ ...files, 'replay.yaml': scenario(laid, steps, seconds) });
  const { value, problems } = loadScenario(join(folder, 'replay.yaml'));
  if (value === undefined) throw new Error(printProblems(problems));
  const outcome = runScenario(value, { record: 'all' });
  const at = (signal: string, second: number): number => outcome.trace.column(signal)!.at(second);
  return { folder, outcome, at, column: (signal: string) => outcome.trace.column(signal)! };
}
/** Every change of a column after the start, as [seconds, value]. */
const changes = (column: Iterable<{ seconds: number; value: number }>): [number, number][] =>
  [...column].filter(({ seconds }) => seconds > 0).map(({ seconds, value }) => [seconds, value]);

const RADIO = '{ receiver: { replay: cap.csv } }';
const table = (rows: readonly (readonly [number, number])[], header = 'Time [s],D0'): string =>
  [header, ...rows.map((row) => row.join(','))].join('\n');

describe('replay: receiver', () => {
  test('a hand-made capture of an analyser in ms: its whole pulses at its very instants, low before and after', () => {
    // Begins high and ends high: what is cut is no pulse. Instants are decimals, so that equal means equal.
    const rows = [
      [0, 1],
      [0.4, 0],
      [100, 1],
      [101.5, 0],
      [120.25, 1],
      [122, 0],
      [140, 1],
    ] as const;
    const { column, at } = run({ 'cap.csv': table(rows, 'Time [ms],D0') }, RADIO);
    const from = changes(column('receiver.line')).filter(([seconds]) => seconds > 0.09);
    expect(from).toEqual([
      [0.1, 1],
      [0.1015, 0],
      [0.12025, 1],
      [0.122, 0],
    ]);
    expect(at('receiver.pulse', 0.11)).toBe(0.0015);
    expect(at('receiver.pulse', 2)).toBe(0.00175);
    expect(at('receiver.deflection', 2)).toBeCloseTo(0.5, 12);
  });

  test('offset says where on the bench the first sample stands, whatever the time of an oscilloscope', () => {
    // Times before its trigger are negative; 0.3 + 0.1 is not 0.4 in a float64, but it is here.
    const rows = [
      [-0.1, 0],
      [0, 1],
      [0.0015, 0],
      [0.02, 1],
      [0.0215, 0],
    ] as const;
    const { column } = run({ 'cap.csv': table(rows) }, '{ receiver: { replay: cap.csv, offset: 0.3 s } }');
    expect(changes(column('receiver.line')).filter(([seconds]) => seconds > 0.2)).toEqual([
      [0.4, 1],
      [0.4015, 0],
      [0.42, 1],
      [0.4215, 0],
    ]);
  });

  test.each(['csv', 'vcd'])('what this tool wrote as %s drives the bench as the receiver did', async (form) => {
    const steps = ', { at: 0.5 s, receiver: { stick: 40 % } }, { at: 1.2 s, receiver: { stick: -30 % } }';
    const before = run({}, '{ receiver: { frame: 20 ms, jitter: 2 us } }', steps);
    await call([
      'run',
      join(before.folder, 'replay.yaml'),
      '--trace',
      join(before.folder, `out.${form}`),
      '--signals',
      'receiver.line,pedal.travel',
    ]);
    const name = form === 'csv' ? 'receiver.line' : 'receiver.line';
    const after = run(
      { [`cap.${form}`]: readFileSync(join(before.folder, `out.${form}`), 'utf8') },
      `{ receiver: { replay: cap.${form}, column: ${name} } }`,
    );
    const [was, is] = [before, after].map(({ column }) => changes(column('receiver.line')).filter(([at]) => at > 0.06));
    expect(was!.length).toBeGreaterThan(180);
    // The last frame may be cut by the end of the capture.
    expect(Math.abs(is!.length - was!.length)).toBeLessThan(2);
    const off = is!.map(([at, value], index) => (value === was![index]![1] ? Math.abs(at - was![index]![0]) : 1));
    // A VCD of this tool has whole nanoseconds.
    expect(Math.max(...off)).toBeLessThanOrEqual(form === 'csv' ? 0 : 0.5e-9 + 1e-15);
  });

  test('a lost link: the last pulse again each frame, then the fail-safe pulse, then the capture where it is by then', () => {
    const rows = Array.from({ length: 200 }, (_, frame) => [
      [frame / 50, 1],
      [Number((frame / 50 + 0.001 + frame * 2e-6).toFixed(6)), 0],
    ]).flat() as [number, number][];
    const laid =
      '{ receiver: { replay: cap.csv, frame: 25 ms, loss: { after: 300 ms, then: fail-safe, pulse: 1700 us } } }';
    const steps = ', { at: 1.005 s, fault: { receiver: lost }, for: 995 ms }';
    const { column } = run({ 'cap.csv': table(rows) }, laid, steps, 3);
    const pulses = changes(column('receiver.line'));
    const widths = (from: number, until: number): number[] =>
      pulses.flatMap(([at, value], index) =>
        value === 1 && at > from && at < until && pulses[index + 1] !== undefined
          ? [Math.round((pulses[index + 1]![0] - at) * 1e6)]
          : [],
      );
    // Frame 50 rose at 1 s with 1100 us; repeated at 1.025 s and each 25 ms, until 300 ms are over.
    expect(
      pulses
        .filter(([at, value]) => value === 1 && at > 1.001)
        .slice(0, 2)
        .map(([at]) => at),
    ).toEqual([1.025, 1.05]);
    expect(new Set(widths(1.001, 1.3))).toEqual(new Set([1100]));
    expect(new Set(widths(1.31, 1.999))).toEqual(new Set([1700]));
    // Back at 2 s, which is where frame 100 of the capture rises: 1200 us, then 1202 us, ...
    expect(widths(1.999, 2.05)).toEqual([1200, 1202, 1204]);
  });
});

describe('replay: pedal', () => {
  const laid = (more = ''): string => `{ pedal: { replay: cap.csv${more} }, board.firmware.clamp: true }`;

  test('straight between samples, the first before it and the last after it, in the unit of its column', () => {
    const rows = [
      [10, 900],
      [10.5, 900],
      [11, 4100],
      [11.25, 4100],
    ] as const;
    const { at } = run({ 'cap.csv': table(rows, 'time (s),CH1 (mV)') }, laid(', offset: 0.5 s'));
    expect(at('pedal.voltage', 0.3)).toBeCloseTo(0.9, 12);
    expect(at('pedal.voltage', 1.25)).toBeCloseTo(2.5, 9);
    expect(at('pedal.voltage', 1.9)).toBeCloseTo(4.1, 12);
    // The shipped bench has rest 0.91 V and full 4.08 V: 0.9 V and 4.1 V lie beyond its ends, where travel stays.
    expect(at('pedal.travel', 1.25)).toBeCloseTo((2.5 - 0.91) / (4.08 - 0.91), 2);
    expect(at('pedal.travel', 1.9)).toBe(1);
  });

  test('a step is a step, and no signal lies outside of its supply', () => {
    const rows = [
      [0, 1],
      [1, 1],
      [1, 9],
      [2, 9],
    ] as const;
    const { at } = run({ 'cap.csv': table(rows) }, laid());
    expect(at('pedal.voltage', 0.999)).toBeCloseTo(1, 9);
    expect(at('pedal.voltage', 1.001)).toBeCloseTo(at('rail.voltage', 1.001), 12);
    expect(at('pedal.travel', 0.9995)).toBeCloseTo((1 - 0.91) / 3.17, 9);
    expect(at('pedal.travel', 1)).toBe(1);
  });

  test('law: travel between samples is what the line tells, however the capture is sampled', () =>
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 920, max: 4070 }), { minLength: 2, maxLength: 12 }), (volts) => {
        const rows = volts.map((value, index) => [index / 10, value / 1000] as const);
        const { at } = run({ 'cap.csv': table(rows) }, laid(), '', 1.5);
        volts.slice(1).forEach((value, index) => {
          const middle = (value + volts[index]!) / 2000;
          expect(at('pedal.travel', index / 10 + 0.05)).toBeCloseTo(travelTold(middle, 0.91, 4.08), 9);
        });
      }),
      { seed: 20261125, numRuns: 15 },
    ));

  test('a log of counts without times comes back as the same counts', () => {
    const counts = Array.from({ length: 90 }, (_, index) => 200 + 10 * Math.floor(index / 3));
    const step = 4.999 / 1024;
    const more = `, every: 20 ms, count: ${step} V`;
    const { column } = run({ 'cap.csv': `boot\n${counts.join('\n')}\n` }, laid(more));
    const seen = new Set([...column('adc.count')].map(({ value }) => value));
    // The middle of a step: the ADC of the bench reads the count that the log had.
    expect(countOf(200.5 * step, 4.999, 10)).toBe(200);
    for (const count of counts.slice(12)) expect(seen.has(count)).toBe(true);
  });

  test('what is captured has its noise in it: the 6 mV and the lag of the shipped bench are not added once more', () => {
    const rows = [
      [0, 2.001],
      [1, 2.001],
      [1, 3.001],
      [2, 3.001],
    ] as const;
    const { column } = run({ 'cap.csv': table(rows) }, laid());
    const counts = [...column('adc.count')].filter(({ seconds }) => seconds > 0.2).map(({ value }) => value);
    // Ratio of volts to the rail of 4.999 V, cut to a whole count.
    expect(counts).toEqual([countOf(3.001, 4.999, 10)]);
    expect(column('adc.count').at(0.5)).toBe(countOf(2.001, 4.999, 10));
  });

  test('faults are as they are of any pedal, and a foot moves nothing', () => {
    const rows = [
      [0, 0.91],
      [2, 0.91],
    ] as const;
    const steps = ', { at: 0.5 s, pedal: { press: 100 % } }, { at: 1 s, fault: { pedal: signal-open } }';
    const { at, outcome } = run({ 'cap.csv': table(rows) }, laid(), steps);
    expect(at('pedal.voltage', 0.9)).toBeCloseTo(0.91, 12);
    expect(at('pedal.impedance', 1.5)).toBe(Number.POSITIVE_INFINITY);
    expect(outcome.findings.map(({ says }) => says)).toContain('it replays cap.csv, so that a foot moves nothing');
  });
});

describe('replay: laws', () => {
  const pulses = Array.from({ length: 80 }, (_, frame) => [
    [frame / 50, 1],
    [frame / 50 + 0.0015, 0],
  ]).flat();
  const volts = Array.from({ length: 800 }, (_, index) => [index / 500, 0.91 + (index % 300) / 100]);
  const folder = folderWith({
    'radio.csv': table(pulses as [number, number][]),
    'foot.csv': table(volts as [number, number][]),
    'bench.yaml': (text) =>
      text
        .replace(
          /^pedal:.*$/m,
          'pedal: { replay: foot.csv, offset: 0.1 s }\nreceiver: { replay: radio.csv, offset: 0.05 s }',
        )
        .replace('right: { like: left }', 'right: { like: left, input: receiver }'),
  });
  const bench = loadBench(join(folder, 'bench.yaml')).value!;
  const acts = [
    { seconds: 0, part: 'battery', form: 'connect', contents: undefined },
    { seconds: 0.6, part: 'receiver', event: 'lost', amount: 0 },
    { seconds: 0.9, part: 'receiver', event: 'mend lost', amount: 0 },
  ];
  const started = () => assemble(settleParts(bench.parts), 7, acts);

  test('same files, same bytes', () => {
    const digest = (): string => {
      const assembly = started();
      assembly.kernel.run(2);
      return assembly.kernel.digestText();
    };
    expect(digest()).toBe(digest());
  });

  test('snapshot at any instant and continue equals straight through', () =>
    fc.assert(
      fc.property(fc.double({ min: 0.01, max: 1.9, noNaN: true }), (seconds) => {
        const whole = started();
        const all = record(whole, 'all');
        all.runTo(2);
        const first = started();
        first.kernel.run(seconds);
        const snapshot = first.kernel.save();
        first.kernel.run(2);
        for (const again of [first, started()]) {
          again.kernel.restore(snapshot);
          const rest = record(again, ['receiver.line', 'pedal.travel', 'right.mode', 'left.pulse']);
          rest.runTo(2);
          expect(again.kernel.digestText()).toBe(whole.kernel.digestText());
          for (const { signal, length } of rest.trace.columns)
            expect([signal.name, length > 0]).toEqual([signal.name, true]);
        }
      }),
      { seed: 20261125, numRuns: 12 },
    ));

  test('right listens to the replayed receiver and arms; the signals are listed as ever', async () => {
    const assembly = started();
    assembly.kernel.run(0.5);
    expect(assembly.kernel.values[assembly.signalIndex.get('right.pulse')!]).toBeCloseTo(0.0015, 12);
    const { status, out } = await call(['check', join(folder, 'bench.yaml'), '--signals']);
    expect(status).toBe(0);
    expect(out).toContain('receiver.line');
  });
});

describe('replay: what a file may say', () => {
  test('a scenario in another folder lays a capture of its own over the bench; the name is as seen from there', () => {
    const folder = folderWith();
    mkdirSync(join(folder, 'field'));
    writeFileSync(
      join(folder, 'field/foot.csv'),
      table([
        [0, 1],
        [1, 2],
      ]),
    );
    const text = scenario('{ pedal.replay: foot.csv }').replace('bench.yaml', '../bench.yaml');
    writeFileSync(join(folder, 'field/replay.yaml'), text);
    const { value, problems } = loadScenario(join(folder, 'field/replay.yaml'));
    expect(printProblems(problems)).toBe('');
    expect(
      runScenario(value!, { record: ['pedal.voltage'] })
        .trace.column('pedal.voltage')!
        .at(1.5),
    ).toBeCloseTo(2, 9);
  });

  test.each([
    ['pedal: { replay: gone.csv }', '9:18', 'there is no such file'],
    ['pedal: { replay: back.csv }', '9:18', 'line 3, column 1: this is no capture: its times go back'],
    ['pedal: { replay: two.csv }', '9:18', 'it has several columns; name one of them: a, b'],
    ['pedal: { replay: two.csv, column: c }', '9:35', 'it has no column of that name; it has: a, b'],
    ['pedal: { replay: log.csv }', '9:18', 'say with `every` how long'],
    ['pedal: { replay: log.csv, every: 10 ms }', '9:18', 'say with `count` what one is worth'],
    ['pedal: { replay: two.csv, column: a, every: 10 ms }', '9:45', 'it has times of its own'],
    ['pedal: { kind: hall, offset: 1 s }', '9:30', 'it has a meaning beside `replay` only'],
    ['pedal: { kind: switch, replay: two.csv }', '9:24', 'there is no such key'],
    ['pedal: { rest: 1 V }', '9:1', 'pedal.kind is missing'],
    ['receiver: { replay: log.csv }', '9:21', 'no column of times'],
    ['receiver: { replay: two.csv, column: b }', '9:21', 'has no whole pulse'],
  ])('%s: at %s, %s', (section, place, says) => {
    const folder = folderWith({
      'bench.yaml': (text) => text.replace(/^pedal:.*$/m, section),
      'back.csv': 'time,a\n2,1\n1,0\n',
      'two.csv': 'time,a,b\n0,0,1\n1,1,1\n2,0,1\n',
      'log.csv': '500\n501\n502\n',
    });
    const { problems } = loadBench(join(folder, 'bench.yaml'));
    const printed = printProblems(problems);
    expect(printed).toContain(`bench.yaml:${place}: `);
    expect(printed).toContain(says);
  });

  test('the JSON Schema takes what the tool takes', async () => {
    const { out } = await call(['schema', 'bench']);
    const validate = new Ajv2020({ strict: false }).compile(JSON.parse(out));
    const bench = (pedal: object) => ({
      bench: 'x',
      pedal,
      board: { firmware: { kind: 'mapping', input: [186, 828], output: [46, 62] } },
      controllers: { left: { pulse: { neutral: '1500 us', full: '2000 us' } } },
    });
    for (const [pedal, isTaken] of [
      [{ replay: 'a.csv' }, true],
      [{ kind: 'pot', replay: 'a.csv', column: 'x' }, true],
      [{ rest: '1 V' }, false],
      [{}, false],
      [{ kind: 'switch', replay: 'a.csv' }, false],
    ] as const) {
      const verdicts = [validate(bench(pedal)), benchFileSchema.safeParse(bench(pedal)).success];
      expect([pedal, ...verdicts]).toEqual([pedal, isTaken, isTaken]);
    }
  });
});
