/** Captures as they come: what is no number spoils no more than itself, and a line that nothing drives is not high. */
import { describe, expect, test } from 'vitest';
import { edgesOf, pulsesBetween } from '../../sim/capture/edges.ts';
import { type Capture, readCapture } from '../../sim/capture/read-capture.ts';

function channels(text: string): Record<string, [number, number][]> {
  const capture = readCapture(text) as Capture;
  return Object.fromEntries(
    capture.channels.map(({ name, times, values }) => [name, [...times].map((at, index) => [at, values[index]!])]),
  );
}
const vcd = (declared: string, changes: string): string =>
  `$timescale 1 us $end $scope module a $end ${declared} $upscope $end $enddefinitions $end ${changes}`;

describe('read-capture: VCD', () => {
  test('levels in words, an extension that viewers read, are levels; other words are no samples', () => {
    const text = vcd(
      '$var string 1 ! line $end $var string 1 " mode $end',
      '#0 sfloating ! sready " #10 shigh ! #30 slow !',
    );
    expect(channels(text)).toEqual({
      'a.line': [
        [0, 0],
        [1e-5, 1],
        [3e-5, 0],
      ],
    });
  });
  test('a line that is let go while high is not high from there on; an unknown level is no sample', () => {
    expect(channels(vcd('$var wire 1 ! line $end', '#0 x! #5 0! #10 1! #20 z! #40 1! #50 0!'))).toEqual({
      'a.line': [
        [5e-6, 0],
        [1e-5, 1],
        [2e-5, 0],
        [4e-5, 1],
        [5e-5, 0],
      ],
    });
  });
  test('times that go back are told with line and column', () => {
    const text = `${vcd('$var wire 1 ! line $end', '')}\n#5\n1!\n  #4\n0!`;
    expect(readCapture(text)).toEqual({ says: 'its times go back', line: 4, column: 3 });
  });
});

describe('read-capture: tables', () => {
  test('of a table with modes and gaps each column keeps what numbers and levels it has', () => {
    const text =
      'time (s),left.mode,left.arming (s),pwm.line\r\n0,off,-Infinity,floating\r\n0.5,on,,high\r\n0.7,on,2,low\r\n';
    expect(channels(text)).toEqual({
      'left.arming (s)': [[0.7, 2]],
      'pwm.line': [
        [0, 0],
        [0.5, 1],
        [0.7, 0],
      ],
    });
  });
  test('a word that every object knows is no level', () => {
    expect(channels('time,a,b\n0,constructor,1\n1,toString,0\n')).toEqual({
      b: [
        [0, 1],
        [1, 0],
      ],
    });
  });
  test('instants are the decimals of the file: 100.2 ms is 0.1002 s, which 100.2 x 0.001 is not', () => {
    expect(100.2 * 1e-3).not.toBe(0.1002);
    expect(channels('time [ms],a\n100.2,1\n')).toEqual({ a: [[0.1002, 1]] });
  });
});

describe('edges: whole pulses only', () => {
  test('what the start or the end cuts is none', () => {
    const pulses = pulsesBetween(
      edgesOf({
        name: 'a',
        times: Float64Array.from([0, 1, 2, 3, 4]),
        values: Float64Array.from([1, 0, 1, 0, 1]),
      })!,
    );
    expect([[...pulses.riseSeconds], [...pulses.fallSeconds]]).toEqual([[2], [3]]);
  });
});
