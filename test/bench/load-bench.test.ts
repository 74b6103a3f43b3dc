import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { printProblems } from '../../sim/bench/print.ts';

describe('bench: what a part listens to must be there', () => {
  test('a controller fed by a receiver on a bench without one is refused at the controller', () => {
    const file = join(mkdtempSync(join(tmpdir(), 'jackstand-')), 'bench.yaml');
    writeFileSync(
      file,
      'bench: b\nboard: { clock: 8 MHz }\ncontrollers:\n  left: { input: receiver, pulse: { neutral: 1500 us, full: 2000 us } }\n',
    );
    const { value, problems } = loadBench(file);
    expect(value).toBeUndefined();
    expect(problems.map(({ line, column }) => [line, column])).toEqual([[4, 3]]);
    expect(printProblems(problems)).toContain('its line comes from receiver.line, and this bench has no receiver');
  });
});
