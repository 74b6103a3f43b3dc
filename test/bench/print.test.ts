/** Problems in a terminal: nothing from a file may act on it, and the carets stand under what is meant. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { sourceText } from '../../sim/bench/place.ts';
import { printable, printProblem, printProblems } from '../../sim/bench/print.ts';
import { type Problem, problemAt, sortProblems } from '../../sim/bench/problem.ts';

function refusal(text: string, start: number, end: number, says = 'no'): Problem {
  return problemAt({ source: sourceText('a.yaml', text), start, end }, 'refused', { path: 'x', says });
}

describe('print: the line and its carets', () => {
  test('a warning says so', () => {
    const problem = problemAt(
      { source: sourceText('a.yaml', 'x: 1'), start: 0, end: 1 },
      'refused',
      { path: 'x', says: 'odd' },
      'warning',
    );
    expect(printProblem(problem, 80)).toBe('a.yaml:1:1: warning: x: odd\n    1 | x: 1\n        ^');
  });
  test('a mistake of a file as a whole has no line', () => {
    expect(printProblem(problemAt('a.yaml', 'empty-file', {}), 80)).toBe('a.yaml: the file is empty');
  });
  test('letters of two columns and marks of none shift the carets as they shift the text', () => {
    // 果樹園 is three letters of two columns; é is written as e and a combining accent.
    const text = 'n: 果樹園 e\u0301 bad';
    const [, line, carets] = printProblem(refusal(text, text.indexOf('bad'), text.length), 80).split('\n');
    expect(line).toBe(`    1 | ${text}`);
    expect(carets).toBe(`${' '.repeat(8 + 3 + 6 + 1 + 1 + 1)}^^^`);
  });
  test('a tab before the mark is one column', () => {
    const [, line, carets] = printProblem(refusal('a:\t\tbad', 4, 7), 80).split('\n');
    expect([line, carets]).toEqual(['    1 | a:  bad', '            ^^^']);
  });
  test.each([0, 500, 5000, 99_990])('a long line is cut round the mark at %d', (start) => {
    const text = 'x'.repeat(start) + 'BAD'.padEnd(100_000 - start, 'y');
    const [, line, carets] = printProblem(refusal(text, start, start + 3), 60).split('\n');
    const from = carets!.indexOf('^');
    expect(line!.slice(from, from + 3)).toBe('BAD');
    expect(carets!.trim()).toBe('^^^');
    expect(line!.length).toBeLessThanOrEqual(8 + 60 + 6);
    expect(line!.endsWith('...')).toBe(start < 99_000);
    expect(line!.includes(' ...')).toBe(start > 0);
  });
  test('a mark longer than the line’s cut ends with it', () => {
    const [, line, carets] = printProblem(refusal('x'.repeat(1000), 0, 1000), 60).split('\n');
    expect(carets!.length).toBeLessThanOrEqual(line!.length);
  });
});

describe('print: order and number', () => {
  test('by file, line and column; the rest is counted', () => {
    const text = Array.from({ length: 30 }, () => 'x').join('\n');
    const problems = Array.from({ length: 30 }, (_, index) => refusal(text, 2 * (29 - index), 2 * (29 - index) + 1));
    const printed = printProblems(problems, { limit: 3 });
    expect(printed.split('\n\n').map((block) => block.split('\n')[0])).toEqual([
      'a.yaml:1:1: x: no',
      'a.yaml:2:1: x: no',
      'a.yaml:3:1: x: no',
      'and 27 more',
    ]);
  });
  test('the same mistake met twice is told once; two at one place are two', () => {
    const problems = [refusal('abc', 0, 1), refusal('abc', 0, 1), refusal('abc', 0, 1, 'other'), refusal('abc', 1, 2)];
    expect(sortProblems(problems)).toHaveLength(3);
  });
  test('nothing of nothing', () => expect(printProblems([])).toBe(''));
});

describe('print: safety', () => {
  test('escape sequences, carriage returns, direction marks and hidden characters become visible', () => {
    expect(printable('a\x1b[31mb\rc\u202Ed\u200be\u2028f\x9bg\ud800h\ttab')).toBe('a?[31mb?c?d?e?f?g?h tab');
  });
  test('law: no line of output holds a character that acts, wherever the text came from', () => {
    const nasty = fc.string({ unit: 'binary', maxLength: 80 });
    const law = fc.property(nasty, nasty, nasty, fc.nat(80), (file, text, says, start) => {
      const problem = problemAt({ source: sourceText(file, text), start, end: start + 4 }, 'refused', {
        path: says,
        written: text,
        says,
        nearest: file,
      });
      const lines = printProblem(problem, 40).split('\n');
      expect(lines.length).toBe(4);
      for (const line of lines) expect(line).not.toMatch(/[\p{Cc}\p{Cf}\p{Cs}\p{Zl}\p{Zp}]/u);
    });
    fc.assert(law, { seed: 20261125, numRuns: 2000 });
  });
});
