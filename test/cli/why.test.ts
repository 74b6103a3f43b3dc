/** `jackstand why` as its user meets it: what it says, where, and with which exit status. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { jackstand } from '../../sim/cli/program.ts';
import type { Streams } from '../../sim/cli/streams.ts';

async function run(args: readonly string[], more: Partial<Streams> = {}) {
  const written = { out: '', err: '', status: 0 };
  written.status = await jackstand(args, {
    out: (text) => {
      written.out += text;
    },
    err: (text) => {
      written.err += text;
    },
    isColoured: false,
    columns: undefined,
    ...more,
  });
  return written;
}

const REFUSAL = 'scenarios/orchard-cart/idle-one-too-high.yaml';

describe('why: text', () => {
  test('a refusal: the cause in numbers, the margins, the single changes, and what also changes', async () => {
    const { out, status } = await run(['why', REFUSAL, '--only', 'board.firmware']);
    expect(status).toBe(0);
    expect(out).toContain('pulse 1536 us = 48 ticks');
    expect(out).toMatch(/line 13 +not true +-16 us +left\.arming at 306\.1 ms/);
    expect(out).toMatch(/board\.firmware\.output\.0 +47 -> 46 +-2\.13 % +all +turns back by 45; also changes line 15/);
    expect(out).toContain('Nothing else alone does');
    expect(out).toContain('from a tenth of it to ten times it');
  });
  test('a pass: how far the values are from breaking it', async () => {
    const { out, status } = await run([
      'why',
      'scenarios/orchard-cart/cold-start.yaml',
      '--only',
      'controllers.*.arming.window',
    ]);
    expect(status).toBe(0);
    expect(out).toContain('How far each value is from breaking it');
    expect(out).toMatch(/arming\.window \(left, right together\) +\+\/- 20 us -> \+\/- 3\.\d+ us +-8\d\.\d %/);
  });
});

describe('why: json', () => {
  test('values in their unit, expectations by their line', async () => {
    const { out } = await run(['why', REFUSAL, '--only', 'controllers.*.arming.window', '--format', 'json']);
    const report = JSON.parse(out);
    expect(report).toMatchObject({ holds: true, question: 'mend', asked: [13, 14], interrupted: false });
    expect(report.changes).toMatchObject([
      {
        path: 'controllers.*.arming.window',
        members: ['left', 'right'],
        symmetric: true,
        unit: 'us',
        turns: [13, 14],
        alsoTurns: [15],
      },
    ]);
    expect(report.changes[0].from).toBeCloseTo(20, 9);
    expect(report.changes[0].to).toBeCloseTo(36, 9);
    expect(report.expectations[0]).toMatchObject({ line: 13, truth: false, unit: 'us' });
    expect(report.expectations[0].margin).toBeCloseTo(-16, 6);
  });
});

describe('why: what it refuses', () => {
  test('a path below which there is nothing, with the nearest', async () => {
    const { out, err, status } = await run(['why', REFUSAL, '--only', 'board.firmwre']);
    expect([out, status]).toEqual(['', 2]);
    expect(err).toContain('nearest: board.firmware');
  });
  test('a file that is not there', async () => {
    const { err, status } = await run(['why', 'nowhere.yaml']);
    expect(status).toBe(2);
    expect(err).toContain('nowhere.yaml');
  });
  test('a scenario that fails: status 1', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'why-'));
    const file = join(folder, 'failing.yaml');
    const bench = resolve('scenarios/orchard-cart/bench.yaml');
    writeFileSync(
      file,
      `scenario: failing\nbench: ${bench}\nduration: 1 s\nsteps: [{ at: 0 s, battery: connect }]\nexpect: [{ that: left.pulse < 1.5 ms, always: true }]\n`,
    );
    const { out, status } = await run(['why', file, '--only', 'board.firmware.output.0']);
    rmSync(folder, { recursive: true });
    expect(status).toBe(1);
    expect(out).toMatch(/46 -> 45/);
  });
});

describe('why: Ctrl-C', () => {
  test('shows what was found so far, status 130', async () => {
    let seen = 0;
    const { out, err, status } = await run(['why', REFUSAL], {
      // The signal arrives while the search is at work, as from a keyboard.
      status: (line) => {
        if (line.includes('board.firmware.output.1')) process.kill(process.pid, 'SIGINT');
        seen += 1;
      },
    });
    expect(seen).toBeGreaterThan(0);
    expect([status, err]).toEqual([130, 'jackstand: interrupted; this is what had been found\n']);
    expect(out).toMatch(/board\.firmware\.output\.0 +47 -> 46/);
    expect(out).not.toContain('Nothing else alone does');
    // What was not tried is not claimed.
    expect(out).toMatch(/Interrupted: \d+ of 133 numbers and choices had been tried; the others may be nearer\./);
    expect(out).not.toContain('each choice was tried');
  });
});
