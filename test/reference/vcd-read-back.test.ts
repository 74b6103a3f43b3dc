/**
 * The value change dump as an independent reader sees it: the wave viewer's own converters read it into their format
 * and write it out again (Debian's package gtkwave: vcd2fst, fst2vcd). All scopes, types, instants and values come back.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { call, shipped } from '../cli/capture.ts';

const hasReader = ['vcd2fst', 'fst2vcd'].every((name) => spawnSync(name, ['-h']).error === undefined);
if (!hasReader) process.stderr.write('vcd: not read back, as vcd2fst and fst2vcd (Debian: gtkwave) are not here\n');

interface Change {
  readonly nanoseconds: number;
  readonly value: string;
}

/** By full name: type and changes. A plain reader of what the converter writes, one change a line. */
function read(text: string): Map<string, { readonly type: string; readonly changes: Change[] }> {
  const byCode = new Map<string, { readonly type: string; readonly changes: Change[] }>();
  const byName: typeof byCode = new Map();
  const scopes: string[] = [];
  let nanoseconds = 0;
  for (const line of text.split('\n')) {
    const declared = /^\$var (\S+) \S+ (\S+) (\S+) \$end/.exec(line);
    const scope = /^\$scope \S+ (\S+) \$end/.exec(line);
    if (scope !== null) scopes.push(scope[1]!);
    else if (line.startsWith('$upscope')) scopes.pop();
    else if (declared !== null) {
      const signal = { type: declared[1]!, changes: [] };
      byCode.set(declared[2]!, signal);
      byName.set([...scopes, declared[3]!].join('.'), signal);
    } else if (line.startsWith('#')) nanoseconds = Number(line.slice(1));
    else {
      const change = /^[rs](\S*) (\S+)$/.exec(line) ?? /^([01xz])(\S+)$/.exec(line);
      if (change !== null) byCode.get(change[2]!)!.changes.push({ nanoseconds, value: change[1]! });
    }
  }
  return byName;
}

function ran(command: string, args: readonly string[]): string {
  const { status, stdout, stderr } = spawnSync(command, args, { encoding: 'utf8', maxBuffer: 1 << 28 });
  expect({ command, status, stderr: status === 0 ? '' : stderr }).toEqual({ command, status: 0, stderr: '' });
  return stdout;
}

/** What is shown at instants that only go forth; it starts with nothing. */
function walkOver(changes: readonly Change[]): (nanoseconds: number) => string | undefined {
  let passed = 0;
  return (nanoseconds) => {
    while (passed < changes.length && changes[passed]!.nanoseconds <= nanoseconds) passed += 1;
    return changes[passed - 1]?.value;
  };
}

/** Whether the converter's text stands for this value; it writes numbers with 16 digits, one short of all. */
function isShown(
  shown: string | undefined,
  value: number,
  type: string,
  modes: readonly string[] | undefined,
): boolean {
  if (type === 'wire') return shown === '01z'[value];
  if (modes) return shown === modes[value];
  if (!Number.isFinite(value)) return shown === (value < 0 ? '-inf' : 'inf');
  return shown !== undefined && Math.abs(Number(shown) - value) <= 1e-15 * Math.abs(value);
}

describe.runIf(hasReader)('vcd: read back by another program', () => {
  test.each(['cold-start', 'reverse-brake-first'])('%s: every signal, instant, mode and number', async (name) => {
    const file = `${shipped}/${name}.yaml`;
    const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
    const [vcd, fst] = [join(folder, 'run.vcd'), join(folder, 'run.fst')];
    expect((await call(['run', file, '--trace', vcd, '--signals', 'all'])).status).toBe(0);
    ran('vcd2fst', [vcd, fst]);
    const signals = read(ran('fst2vcd', [fst]));

    const { trace } = runScenario(loadScenario(file).value!, { record: 'all', isThinned: true });
    expect(trace.columns.length).toBeGreaterThan(60);
    const counted = { wire: 0, string: 0, real: 0 };
    for (const column of trace.columns) {
      const { signal } = column;
      const found = signals.get(signal.name.replaceAll('-', '_'));
      expect(found, signal.name).toBeDefined();
      const { type, changes } = found!;
      counted[type as keyof typeof counted] += 1;
      const isLine = signal.modes?.join() === 'low,high,floating';
      if (signal.modes) expect(type, signal.name).toBe(isLine ? 'wire' : 'string');
      const samples = [...column];
      const shownAt = walkOver(changes);
      const wrong = samples.flatMap(({ seconds, value }, index) => {
        const nanoseconds = Math.round(seconds * 1e9);
        // Of changes that round to one nanosecond the last counts.
        const next = samples[index + 1];
        if (next !== undefined && Math.round(next.seconds * 1e9) === nanoseconds) return [];
        const shown = shownAt(nanoseconds);
        return isShown(shown, value, type, signal.modes) ? [] : [{ seconds, value, shown }];
      });
      expect(wrong, signal.name).toEqual([]);
    }
    expect(Math.min(counted.wire, counted.string, counted.real)).toBeGreaterThan(0);
  });
});
