import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { csvOf } from '../../sim/trace/csv.ts';
import type { SignalInfo } from '../../sim/trace/signal.ts';
import { Trace } from '../../sim/trace/trace.ts';

const pulse: SignalInfo = { name: 'left.pulse', dimension: 'time', shape: 'held', means: 'pulse' };
const voltage: SignalInfo = { name: 'battery.voltage', dimension: 'voltage', shape: 'linear', means: 'voltage' };
const mode: SignalInfo = {
  name: 'left.mode',
  dimension: 'count',
  shape: 'held',
  modes: ['off', 'armed.driving'],
  means: 'mode',
};

function traceOf(signals: readonly SignalInfo[], samples: readonly (readonly [number, number, number])[]): Trace {
  const trace = new Trace(signals);
  for (const [index, seconds, value] of samples) trace.append(index, seconds, value);
  return trace;
}

/** Records and fields by the grammar of RFC 4180 section 2, and nothing looser. */
function parseCsv(text: string): string[][] {
  const records: string[][] = [];
  let record: string[] = [];
  let rest = text;
  while (rest !== '') {
    const quoted = /^"((?:[^"]|"")*)"/.exec(rest);
    const bare = /^[^",\r\n]*/.exec(rest)!;
    record.push(quoted ? quoted[1]!.replaceAll('""', '"') : bare[0]);
    rest = rest.slice((quoted ?? bare)[0].length);
    if (rest.startsWith(',')) rest = rest.slice(1);
    else if (rest.startsWith('\r\n')) {
      records.push(record);
      record = [];
      rest = rest.slice(2);
    } else throw new Error(`neither comma nor CRLF at ${JSON.stringify(rest.slice(0, 20))}`);
  }
  return records;
}

describe('csv: form (RFC 4180)', () => {
  test('one row an instant, held values kept, lines followed, fields empty before the first sample', () => {
    const trace = traceOf(
      [pulse, voltage, mode],
      [
        [1, 0, 24],
        [0, 1, 0.0015],
        [2, 1, 1],
        [1, 2, 22],
        [0, 3, 0.002],
      ],
    );
    expect([...csvOf(trace.columns)].join('')).toBe(
      [
        'time (s),left.pulse (s),battery.voltage (V),left.mode',
        '0,,24,',
        '1,0.0015,23,armed.driving',
        '2,0.0015,22,armed.driving',
        '3,0.002,22,armed.driving',
        '',
      ].join('\r\n'),
    );
  });

  test('a step of a linear signal has a row before and a row after', () => {
    const trace = traceOf(
      [voltage, pulse],
      [
        [0, 0, 24],
        [1, 0, 1],
        [0, 2, 22],
        [0, 2, 12],
        [1, 2, 3],
      ],
    );
    expect(parseCsv([...csvOf(trace.columns)].join(''))).toEqual([
      ['time (s)', 'battery.voltage (V)', 'left.pulse (s)'],
      ['0', '24', '1'],
      ['2', '22', '1'],
      ['2', '12', '3'],
    ]);
  });

  test('fields with comma, quote or line end are quoted', () => {
    const odd: SignalInfo = { ...mode, name: 'a,"b"\r\n', modes: ['x,y', '"'] };
    const trace = traceOf(
      [odd],
      [
        [0, 0, 0],
        [0, 1, 1],
      ],
    );
    expect(parseCsv([...csvOf(trace.columns)].join(''))).toEqual([
      ['time (s)', 'a,"b"\r\n'],
      ['0', 'x,y'],
      ['1', '"'],
    ]);
  });

  test('no signals, or none with samples, leave the header', () => {
    expect([...csvOf([])].join('')).toBe('time (s)\r\n');
    expect([...csvOf(new Trace([mode]).columns)].join('')).toBe('time (s),left.mode\r\n');
  });

  test('a long trace comes in chunks of bounded size', () => {
    const trace = new Trace([pulse]);
    for (let count = 0; count < 50_000; count += 1) trace.append(0, count / 1000, count);
    const chunks = [...csvOf(trace.columns)];
    expect(chunks.length).toBeGreaterThan(5);
    expect(Math.max(...chunks.map((chunk) => chunk.length))).toBeLessThan(70_000);
    expect(parseCsv(chunks.join('')).length).toBe(50_001);
  });
});

test('csv: law: every sample comes back to the last bit', () => {
  const samples = fc.array(
    fc.tuple(fc.double({ min: 0, max: 1e4, noNaN: true }), fc.double({ noNaN: true, noDefaultInfinity: true })),
    { maxLength: 20 },
  );
  fc.assert(
    fc.property(samples, samples, (first, second) => {
      const trace = new Trace([pulse, voltage]);
      [first, second].forEach((list, index) => {
        for (const [seconds, value] of [...list].sort((a, b) => a[0] - b[0])) trace.append(index, seconds, value);
      });
      const rows = parseCsv([...csvOf(trace.columns)].join('')).slice(1);
      trace.columns.forEach((column, index) => {
        for (const { seconds, value } of column) {
          expect(
            rows.some((row) => Number(row[0]) === seconds && row[index + 1] !== '' && Number(row[index + 1]) === value),
          ).toBe(true);
        }
      });
    }),
    { seed: 20261125, numRuns: 300 },
  );
});
