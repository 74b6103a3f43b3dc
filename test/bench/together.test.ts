/** Values that are right each for itself, but not beside each other. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { printProblem } from '../../sim/bench/print.ts';
import type { Problem } from '../../sim/bench/problem.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';

const benchText = (more: string): string =>
  `bench: b\nboard: { clock: 8 MHz }\n${more}\ncontrollers:\n  left: { pulse: { neutral: 1500 us, full: 2000 us } }\n`;

/** Errors as they are shown, without their place's picture: line, column and what is said; then what is allowed. */
function printed(problems: readonly Problem[]): string[] {
  return problems
    .filter(({ severity }) => severity === 'error')
    .map((problem) => printProblem(problem, 200))
    .map((text) => text.split('\n').filter((line) => /yaml:|allowed/.test(line)))
    .map((lines) => lines.map((line) => line.replace(/^.*yaml:/, '').trim()).join(' | '));
}

/** The errors of a bench with `more` in it, as they are shown. */
function errorsOf(more: string): string[] {
  const file = join(mkdtempSync(join(tmpdir(), 'jackstand-')), 'bench.yaml');
  writeFileSync(file, benchText(more));
  return printed(loadBench(file).problems);
}

describe('bench: values beside each other', () => {
  test('a lever starts at a position that it has', () => {
    expect(errorsOf('selector: { positions: [reverse, neutral], start: forward }')).toEqual([
      '3:51: selector.start is forward; the lever has no position forward | allowed: reverse, neutral',
    ]);
    expect(errorsOf('selector: { positions: [reverse, neutral] }')).toEqual([]);
  });

  test('a lever has each position once', () => {
    expect(errorsOf('selector: { positions: [neutral, forward, neutral] }')[0]).toContain('passes neutral twice');
  });

  test('a step moves the lever to a position that this bench has', () => {
    const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
    writeFileSync(join(folder, 'bench.yaml'), benchText('selector: { positions: [reverse, neutral] }'));
    const file = join(folder, 'scenario.yaml');
    const text = (to: string): string =>
      `scenario: s\nbench: bench.yaml\nduration: 2 s\nsteps:\n  - { at: 1 s, selector: { to: ${to} } }\nexpect:\n  - { that: left.drive = 0, always: true }\n`;
    writeFileSync(file, text('forward'));
    const [problem] = printed(loadScenario(file).problems);
    expect(problem).toMatch(/^5:32: steps\[0\]\.selector\.to is forward.* \| allowed: reverse, neutral$/);
    writeFileSync(file, text('reverse'));
    expect(loadScenario(file).problems).toEqual([]);
  });

  test('a pulse of the receiver ends within its frame', () => {
    expect(errorsOf('receiver: { frame: 2 ms, full: 2.1 ms }')).toEqual([
      '3:32: receiver.full is 2.1 ms; a pulse of 2100 us does not end within a frame of 2000 us',
    ]);
    expect(errorsOf('receiver: { frame: 3 ms, full: 2.1 ms }')).toEqual([]);
  });
});
