/** The text of verdicts: fitted to a terminal, unbroken in a pipe, safe whatever the files hold. */
import { stripVTControlCharacters } from 'node:util';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { columnsOf } from '../../sim/bench/print.ts';
import { verdictText } from '../../sim/cli/verdict-text.ts';
import { wrapped } from '../../sim/cli/wrap.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { shipped, timeless } from './capture.ts';

function textOf(file: string, columns: number | undefined, isColoured = false): string {
  const { value } = loadScenario(`${shipped}/${file}`);
  return timeless(verdictText(runScenario(value!), 0.0123, { columns, isColoured }));
}

describe('verdict text: width', () => {
  test('law: no line is wider than asked but for a single word, and all words stay in their order', () => {
    const word = fc
      .string({ unit: 'grapheme', minLength: 1, maxLength: 12 })
      .map((text) => text.replaceAll(/\s/gu, '_'));
    const law = fc.property(
      fc.array(word, { minLength: 1, maxLength: 40 }),
      fc.integer({ min: 5, max: 60 }),
      (words, columns) => {
        const lines = wrapped(words.join(' '), '  - ', columns);
        expect(lines.map((line) => line.slice(4)).join(' ')).toBe(words.join(' '));
        for (const line of lines) {
          if (columnsOf(line) > columns) expect(line.slice(4)).not.toContain(' ');
        }
      },
    );
    fc.assert(law, { seed: 20261125, numRuns: 500 });
  });

  test.each([60, 80, 120])('%i columns hold every line of a long cause, paths apart', (columns) => {
    const lines = textOf('idle-one-too-high.yaml', columns).split('\n');
    expect(lines.filter((line) => line.length > columns && !/^ *\(\S+\)$/.test(line))).toEqual([]);
  });

  test('in a pipe each sentence has one line', () => {
    const lines = textOf('idle-one-too-high.yaml', undefined).split('\n');
    expect(lines[0]).toBe('holds  idle compare one too high  (6 s in TIME)');
    expect(lines.filter((line) => /^ +\S+ ms {2}/.test(line))).toHaveLength(8);
    expect(lines.filter((line) => line.startsWith('            cure  '))).toEqual([
      '            cure  compare 46 gives 1504 us; output low 46 instead of 47 would arm',
    ]);
  });

  test('the instants of a chain have one unit and equally many decimals', () => {
    for (const file of ['idle-one-too-high.yaml', 'pedal-shorted-to-supply.yaml', 'frame-too-fast.yaml']) {
      const forms = [...textOf(file, undefined).matchAll(/^ +(\d+)(\.\d+) (ms|s) {2}/gm)].map(
        ([, , decimals, unit]) => `${decimals!.length} ${unit}`,
      );
      expect(forms.length).toBeGreaterThan(1);
      expect(new Set(forms).size).toBe(1);
    }
  });
});

describe('verdict text: a chain over a second and a part of one', () => {
  test('is told in seconds throughout', () => {
    const { value } = loadScenario(`${shipped}/idle-one-too-high.yaml`);
    const run = runScenario(value!);
    const [expectation] = run.expectations;
    const [link] = expectation!.cause;
    const cause = [
      { ...link!, seconds: 12.5 },
      { ...link!, seconds: 0.075 },
    ];
    const text = verdictText({ ...run, expectations: [{ ...expectation!, cause }] }, 0, {
      columns: undefined,
      isColoured: false,
    });
    expect([...text.matchAll(/^ +(\d\S+ m?s) {2}left/gm)].map(([, instant]) => instant)).toEqual([
      '12.5000 s',
      '0.0750 s',
    ]);
  });
});

describe('verdict text: colour', () => {
  test('adds nothing but escape codes', () => {
    for (const columns of [undefined, 80])
      expect(stripVTControlCharacters(textOf('idle-one-too-high.yaml', columns, true))).toBe(
        textOf('idle-one-too-high.yaml', columns),
      );
  });
  test('a title cannot bring escape codes of its own', () => {
    const { value } = loadScenario(`${shipped}/cold-start.yaml`);
    const run = runScenario({ ...value!, title: 'red \u001b[31m\u202e' });
    expect(verdictText(run, 0, { columns: undefined, isColoured: false })).toMatch(/^holds {2}red \?\[31m\? {2}\(/);
  });
});
