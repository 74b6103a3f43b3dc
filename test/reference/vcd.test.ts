/**
 * The value change dump against the grammar of IEEE 1364-2005 section 18.2.1: declaration commands, then simulation
 * commands; `#` and a decimal number for time; scalar changes without a blank before the identifier code, reals with
 * one; identifier codes of printable characters 33 to 126; time scales 1, 10 or 100 of s to fs. Types and scope kinds
 * are those of its syntax tables. The one thing beyond it, `string` variables with `s` values, is read apart.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';
import { identifierCode, vcdOf } from '../../sim/trace/vcd.ts';

interface Dump {
  readonly timescale: string;
  readonly variables: readonly {
    readonly type: string;
    readonly size: string;
    readonly code: string;
    readonly path: string;
  }[];
  readonly changes: readonly { readonly time: number; readonly code: string; readonly value: string }[];
  readonly lastTime: number;
}

function parseVcd(text: string): Dump {
  const tokens = text.split(/\s+/).filter((token) => token !== '');
  const variables: Dump['variables'][number][] = [];
  const changes: Dump['changes'][number][] = [];
  const path: string[] = [];
  let timescale = '';
  let index = 0;
  const body = (): string[] => {
    const end = tokens.indexOf('$end', index);
    if (end < 0) throw new Error('no $end');
    const found = tokens.slice(index, end);
    index = end + 1;
    return found;
  };
  for (let isDeclaring = true; isDeclaring; ) {
    const command = tokens[index++];
    const words = body();
    if (command === '$timescale') timescale = words.join('');
    else if (command === '$scope') {
      expect(['begin', 'fork', 'function', 'module', 'task']).toContain(words[0]);
      path.push(simpleIdentifier(words[1]!));
    } else if (command === '$upscope') {
      expect(words).toEqual([]);
      expect(path.pop()).toBeDefined();
    } else if (command === '$var') {
      const [type, size, code, name] = words as [string, string, string, string];
      expect(words.length).toBe(4);
      expect(['wire', 'real', 'string']).toContain(type);
      expect(code).toMatch(/^[!-~]+$/);
      variables.push({ type, size, code, path: [...path, simpleIdentifier(name)].join('.') });
    } else if (command === '$enddefinitions') isDeclaring = false;
    else expect(['$version', '$comment', '$date']).toContain(command);
  }
  expect(path).toEqual([]);
  expect(timescale).toMatch(/^(1|10|100)(s|ms|us|ns|ps|fs)$/);
  expect(new Set(variables.map(({ code }) => code)).size).toBe(variables.length);
  expect(new Set(variables.map((variable) => variable.path)).size).toBe(variables.length);

  const types = new Map(variables.map(({ code, type }) => [code, type]));
  let time = -1;
  let isDumping = false;
  for (; index < tokens.length; index += 1) {
    const token = tokens[index]!;
    if (token.startsWith('#')) {
      expect(token).toMatch(/^#\d+$/);
      expect(Number(token.slice(1))).toBeGreaterThan(time);
      time = Number(token.slice(1));
    } else if (token === '$dumpvars') isDumping = true;
    else if (token === '$end') {
      expect(isDumping).toBe(true);
      isDumping = false;
    } else if (/^[01xXzZ]/.test(token)) {
      expect(types.get(token.slice(1))).toBe('wire');
      changes.push({ time, code: token.slice(1), value: token[0]! });
    } else {
      const code = tokens[++index]!;
      expect(types.get(code)).toBe(token.startsWith('s') ? 'string' : 'real');
      if (token.startsWith('r')) expect(token.slice(1)).toMatch(/^[-+]?\d+(\.\d+)?(e[-+]?\d+)?$/);
      else expect(token).toMatch(/^s/);
      changes.push({ time, code, value: token.slice(1) });
    }
  }
  return { timescale, variables, changes, lastTime: time };
}

function simpleIdentifier(name: string): string {
  // Annex of the standard: a letter or underscore, then letters, digits, $ and underscores.
  expect(name).toMatch(/^[A-Za-z_][A-Za-z0-9_$]*$/);
  return name;
}

const signals: readonly SignalInfo[] = [
  { name: 'pwm.level', dimension: 'count', shape: 'held', means: 'level' },
  { name: 'motors.left.speed', dimension: 'angular-speed', shape: 'linear', means: 'speed' },
  {
    name: 'left.mode',
    dimension: 'count',
    shape: 'held',
    modes: ['waiting for neutral', 'armed.driving'],
    means: 'mode',
  },
  { name: 'left.signal-loss', dimension: 'time', shape: 'held', means: 'time' },
  { name: 'left.signal_loss', dimension: 'time', shape: 'held', means: 'time' },
  { name: '2nd.pulse', dimension: 'time', shape: 'held', means: 'pulse' },
];

function dump(trace: Trace): Dump {
  return parseVcd([...vcdOf(trace.columns, { version: 'jackstand 0.1.0', endSeconds: trace.endSeconds })].join(''));
}

describe('vcd: IEEE 1364-2005 clause 18', () => {
  test('scopes follow the dots, names become identifiers, no two alike', () => {
    const { variables, timescale } = dump(new Trace(signals));
    expect(timescale).toBe('1ns');
    expect(variables.map(({ type, size, path }) => `${type} ${size} ${path}`).sort()).toEqual(
      [
        'real 64 _2nd.pulse',
        'real 64 left.signal_loss',
        'real 64 left.signal_loss_2',
        'real 64 motors.left.speed',
        'string 1 left.mode',
        'wire 1 pwm.level',
      ].sort(),
    );
  });

  test('changes carry their instants in nanoseconds; a level is x before its first sample', () => {
    const trace = new Trace(signals);
    trace.append(1, 0, 0.1);
    trace.append(2, 0, 0);
    trace.append(0, 0.001, 1);
    trace.append(0, 0.0025, 0);
    trace.append(2, 0.0025, 1);
    trace.finish(0.02);
    const { changes, lastTime, variables } = dump(trace);
    const name = (code: string) => variables.find((variable) => variable.code === code)!.path;
    expect(changes.map(({ time, code, value }) => [time, name(code), value])).toEqual([
      [0, 'pwm.level', 'x'],
      [0, 'motors.left.speed', '0.1'],
      [0, 'left.mode', 'waiting_for_neutral'],
      [1_000_000, 'pwm.level', '1'],
      [2_500_000, 'pwm.level', '0'],
      [2_500_000, 'left.mode', 'armed.driving'],
    ]);
    expect(lastTime).toBe(20_000_000);
  });

  test('of changes within one nanosecond the last counts', () => {
    const trace = new Trace(signals);
    for (const [seconds, value] of [
      [0, 0],
      [1e-9, 1],
      [1.2e-9, 0],
      [1.3e-9, 1],
    ] as const)
      trace.append(0, seconds, value);
    expect(dump(trace).changes.map(({ time, value }) => [time, value])).toEqual([
      [0, '0'],
      [1, '1'],
    ]);
  });

  test('identifier codes go from ! to ~ and on with two characters, each once', () => {
    expect([0, 93, 94, 187, 188].map(identifierCode)).toEqual(['!', '~', '!!', '~!', '!"']);
    expect(new Set(Array.from({ length: 20_000 }, (_, index) => identifierCode(index))).size).toBe(20_000);
  });

  test('an empty trace is a dump that ends at its end', () => {
    const trace = new Trace(signals);
    trace.finish(2);
    expect(dump(trace)).toMatchObject({ changes: [], lastTime: 2_000_000_000 });
  });

  test('law: from the changes every signal can be rebuilt, numbers to the last bit', () => {
    const samples = fc.array(
      fc.tuple(
        fc.integer({ min: 0, max: 50 }),
        fc.integer({ min: 0, max: 5 }),
        fc.double({ noNaN: true, noDefaultInfinity: true }),
      ),
      { maxLength: 60 },
    );
    fc.assert(
      fc.property(samples, (unsorted) => {
        const trace = new Trace(signals);
        for (const [milliseconds, signal, value] of [...unsorted].sort((a, b) => a[0] - b[0])) {
          const modes = signals[signal]!.modes;
          trace.append(
            signal,
            milliseconds / 1000,
            modes ? Math.abs(Math.trunc(value)) % 2 : signal === 0 ? (value > 0 ? 1 : 0) : value,
          );
        }
        trace.finish(1);
        const { changes } = dump(trace);
        trace.columns.forEach((column, index) => {
          for (const { seconds } of column) {
            const last = changes
              .filter(({ code, time }) => code === identifierCode(index) && time <= Math.round(seconds * 1e9))
              .at(-1)!;
            const value = column.at(seconds);
            const modes = column.signal.modes?.map((word) => word.replaceAll(' ', '_'));
            if (modes) expect(last.value).toBe(modes[value]);
            else expect(Number(last.value)).toBe(value + 0);
          }
        });
      }),
      { seed: 20261125, numRuns: 300 },
    );
  });
});
