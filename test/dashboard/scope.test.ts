/**
 * The scope's rasteriser. Dots of braille patterns: The Unicode Standard, block 2800: dots 1, 2, 3 and 7 down the left column
 * are bits 0, 1, 2, 6; dots 4, 5, 6, 8 down the right one are bits 3, 4, 5, 7.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { Canvas } from '../../sim/dashboard/canvas.ts';
import { asciiGlyphs, isUtf8, unicodeGlyphs } from '../../sim/dashboard/glyphs.ts';
import { textOf, widthOf } from '../../sim/dashboard/line.ts';
import { cursorWords, neighbouringChange } from '../../sim/dashboard/measure-cursors.ts';
import { GUTTER, laneRows, roundStep, scopeLines } from '../../sim/dashboard/scope.ts';
import type { SignalInfo } from '../../sim/kernel/signal.ts';
import { Column } from '../../sim/trace/trace.ts';

const line: SignalInfo = {
  name: 'pwm.line',
  dimension: 'count',
  shape: 'held',
  modes: ['low', 'high', 'floating'],
  means: '',
};
const width: SignalInfo = { name: 'left.pulse', dimension: 'time', shape: 'held', means: '' };

function columnOf(signal: SignalInfo, samples: readonly (readonly [number, number])[]): Column {
  const column = new Column(signal);
  for (const [seconds, value] of samples) column.append(seconds, value);
  return column;
}

const view = {
  fromSeconds: 0,
  untilSeconds: 0.01,
  nowSeconds: 0.01,
  cursors: [],
  width: GUTTER + 1 + 50,
  glyphs: unicodeGlyphs,
};
const neutral = { name: 'neutral', least: 1480e-6, most: 1520e-6, role: 'aim' } as const;

describe('canvas: dots', () => {
  test.each([
    [0, 0, '\u2801'],
    [0, 3, '\u2840'],
    [1, 0, '\u2808'],
    [1, 3, '\u2880'],
  ])('dot column %d, row %d is %s', (dotColumn, dotRow, expected) => {
    const canvas = new Canvas(1, 1, unicodeGlyphs);
    canvas.column(dotColumn, dotRow, dotRow, true);
    expect(textOf(canvas.lines()[0]!)).toBe(expected);
  });

  test('what lies outside is left out', () => {
    const canvas = new Canvas(2, 1, unicodeGlyphs);
    canvas.column(-1, 0, 3, true);
    canvas.column(4, 0, 3, true);
    canvas.column(0, -7, -5, true);
    expect(textOf(canvas.lines()[0]!)).toBe('  ');
  });

  test('ASCII has one dot a cell', () => {
    const canvas = new Canvas(2, 2, asciiGlyphs);
    canvas.column(1, 1, 1, true);
    expect(canvas.lines().map(textOf)).toEqual(['  ', ' *']);
  });
});

describe('scope: a pulse against the window', () => {
  /** Rows of the plot, without gutter and time scale. */
  const plot = (pulseSeconds: number): string[] =>
    scopeLines(
      [{ column: columnOf(width, [[0, pulseSeconds]]), present: pulseSeconds, bands: [neutral], isChosen: false }],
      9,
      view,
    )
      .slice(0, -1)
      .map((row) => textOf(row).slice(GUTTER + 1));

  test('a miss of 16 us lies above both edges of the window, a hit between them', () => {
    const rowOf = (rows: string[], isCurve: (row: string) => boolean): number[] =>
      rows.flatMap((row, index) => (isCurve(row) ? [index] : []));
    // A curve fills every dot column, an edge every second one: U+28xx with both columns set against the left one alone.
    const both = (row: string): boolean =>
      [...row].some((cell) => ((cell.codePointAt(0)! - 0x2800) & 0xb8) !== 0 && cell !== ' ');
    const edge = (row: string): boolean => row.trim() !== '' && !both(row);
    const missed = plot(1536e-6);
    const hit = plot(1504e-6);
    expect(Math.max(...rowOf(missed, both))).toBeLessThan(Math.min(...rowOf(missed, edge)));
    const [curve] = rowOf(hit, both);
    const edges = rowOf(hit, edge);
    expect(Math.min(...edges)).toBeLessThan(curve!);
    expect(Math.max(...edges)).toBeGreaterThan(curve!);
  });

  test('0 before the first pulse does not squeeze the rest', () => {
    const rows = scopeLines(
      [
        {
          column: columnOf(width, [
            [0, 0],
            [0.005, 1504e-6],
          ]),
          present: 1504e-6,
          bands: [neutral],
          isChosen: false,
        },
      ],
      5,
      view,
    ).map(textOf);
    expect(rows[0]).toContain('1530 us');
    expect(rows[3]).toContain('1470 us');
  });
});

describe('scope: a level', () => {
  test('each rise has its window shaded where the fall must come', () => {
    const column = columnOf(line, [
      [0, 0],
      [0.002, 1],
      [0.003, 0],
    ]);
    const rows = scopeLines([{ column, present: 0, bands: [neutral], isChosen: false }], 3, {
      ...view,
      untilSeconds: 0.004,
      nowSeconds: 0.004,
    });
    // 4 ms over 50 columns: the window from 3.48 to 3.52 ms lies in columns 43 and 44.
    const upper = textOf(rows[0]!).slice(GUTTER + 1);
    expect([...upper].flatMap((cell, index) => (cell === '░' ? [index] : []))).toEqual([43, 44]);
    // High from 2 to 3 ms: columns 25 to 37.
    expect(upper.slice(26, 37)).toBe('⠉'.repeat(11));
  });

  test('nothing is drawn after the present', () => {
    const column = columnOf(line, [[0, 0]]);
    const rows = scopeLines([{ column, present: 0, bands: [], isChosen: false }], 3, { ...view, nowSeconds: 0.005 });
    expect(
      textOf(rows[1]!)
        .slice(GUTTER + 1 + 26)
        .trim(),
    ).toBe('');
  });
});

test('scope: law: every row has the same width, whatever is shown', () => {
  const sample = fc.tuple(fc.double({ min: 0, max: 0.02, noNaN: true }), fc.constantFrom(0, 1, 2));
  fc.assert(
    fc.property(
      fc.array(sample, { maxLength: 60 }),
      fc.integer({ min: 40, max: 200 }),
      fc.integer({ min: 4, max: 20 }),
      (samples, columns, height) => {
        const sorted = [...samples].sort((a, b) => a[0] - b[0]);
        const lanes = [line, width, { ...line, modes: ['off', 'starting', 'armed.neutral'] }].map((signal) => ({
          column: columnOf(signal, sorted),
          present: sorted.at(-1)?.[1] ?? Number.NaN,
          bands: [neutral],
          isChosen: false,
        }));
        for (const glyphs of [unicodeGlyphs, asciiGlyphs]) {
          const rows = scopeLines(lanes, height, { ...view, width: columns, glyphs });
          expect(rows.length).toBe(height);
          for (const row of rows) expect([0, columns]).toContain(widthOf(row));
        }
      },
    ),
    { seed: 20261125, numRuns: 200 },
  );
});

test.each([
  [0.13, 0.2],
  [0.2, 0.2],
  [3, 5],
  [6e-4, 1e-3],
])('scope: marks at least %d apart are %d apart', (least, expected) => {
  expect(roundStep(least)).toBeCloseTo(expected, 12);
});

test('scope: lanes that find no room are left out from the end', () => {
  const lane = { column: columnOf(width, []), present: 0, bands: [], isChosen: false };
  expect(laneRows([lane, lane, lane], 7)).toEqual([4, 3, 0]);
});

describe('cursors: on a pulse train of 1504 us every 8192 us', () => {
  // The timer of the orchard cart: 47 and 256 ticks of 256 / 8 MHz. Duty 47 / 256 = 18.36 %.
  const frames = Array.from({ length: 5 }, (_, frame): [number, number][] => [
    [(frame * 256 * 32) / 1e6, 1],
    [(frame * 256 * 32 + 47 * 32) / 1e6, 0],
  ]).flat();
  const column = columnOf(line, [[-0.001, 2], ...frames]);

  test('A on a rise and B on the fall after it: the width', () => {
    const rise = neighbouringChange(column, 0.001, 1) === 1504e-6 ? 0 : Number.NaN;
    expect(cursorWords(column, rise, neighbouringChange(column, rise, 1))).toContain('width 1504 us');
  });

  test('over three frames: width, period, duty', () => {
    const words = cursorWords(column, 0, (3 * 256 * 32) / 1e6);
    expect(words).toEqual(expect.arrayContaining(['period 8192 us', 'duty 18.36 %']));
    expect(words.some((word) => word.startsWith('width 1504 us'))).toBe(true);
  });

  test('law: edge by edge forth and back is the same edges', () => {
    const walk = (from: number, direction: 1 | -1): number[] => {
      const next = neighbouringChange(column, from, direction);
      return next === from || next < 0 ? [from] : [from, ...walk(next, direction)];
    };
    const forth = walk(0, 1);
    expect(forth.length).toBe(10);
    expect(walk(forth.at(-1)!, -1).reverse()).toEqual(forth);
  });
});

test('cursors: on a curve, the difference', () => {
  const column = columnOf(width, [
    [0, 1504e-6],
    [1, 2016e-6],
  ]);
  expect(cursorWords(column, 0.5, 1.5)).toEqual(
    expect.arrayContaining(['A 1504 us', 'B 2016 us', 'B - A 512 us', 'mean 1760 us']),
  );
});

// POSIX.1-2017, section 8.2: LC_ALL overrides LC_CTYPE overrides LANG; an empty one counts as not set.
test.each([
  [{ LANG: 'C' }, false],
  [{ LANG: 'en_GB.UTF-8' }, true],
  [{ LANG: 'en_GB.UTF-8', LC_ALL: 'C' }, false],
  [{ LANG: 'C', LC_ALL: '', LC_CTYPE: 'C.utf8' }, true],
  [{}, false],
])('terminal: %o promises UTF-8: %s', (environment, expected) => {
  expect(isUtf8(environment)).toBe(expected);
});
