/** `jackstand tune` as its user meets it: table, registers, constants, picture, what it writes, and exit statuses. */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { jackstand } from '../../sim/cli/program.ts';
import { call } from './capture.ts';

const folder = mkdtempSync(join(tmpdir(), 'tune-'));
afterAll(() => rmSync(folder, { recursive: true }));
const BENCH = 'scenarios/orchard-cart/bench.yaml';

async function run(...args: string[]) {
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
  });
  return written;
}

function benchFile(name: string, change: (text: string) => string): string {
  const file = join(folder, name);
  writeFileSync(file, change(readFileSync(BENCH, 'utf8')));
  return file;
}

describe('tune: text', () => {
  test('table, registers by the names of the datasheet, constants with their type, picture, cautions', async () => {
    const { out, status } = await run('tune', BENCH);
    expect(status).toBe(0);
    expect(out).toContain('as it is: fails by 35.64 us (left, pulse at full pedal');
    expect(out).toMatch(/ 1 +Timer1 +14 fast/);
    expect(out).toContain('TCCR1A  = (1 << COM1A1) | (1 << WGM11);  /* 0x82');
    expect(out).toMatch(/ICR1 +=/);
    expect(out).toContain('computed in int32_t');
    expect(out).toContain('written as uint16_t');
    expect(out).toContain('full drive 2000 us');
    expect(out).toContain('rest: at least 1480 us');
    expect(out).toContain('wheels off the ground');
    expect(out).toContain('a fuse and a disconnect within reach');
    expect(out).toContain('cannot prove one safe');
    expect(out).toContain('board.adc.offset (a converter is typically 2 counts off)');
  });
  test('another row is told in full when asked for', async () => {
    const { out } = await run('tune', BENCH, '--row', '7');
    expect(out).toContain('Row 7: Timer1');
    expect(out).toContain('tried by simulation in both corners of the tolerances: it arms');
  });
  test('json holds the same, with null for an open end', async () => {
    const { out } = await run('tune', BENCH, '--format', 'json');
    const report = JSON.parse(out);
    expect(report).toMatchObject({ fits: true, unit: 'us', interrupted: false });
    expect(report.settings[0].confirmation).toEqual({ holds: true, failed: [] });
    const full = report.settings[0].margins.find(({ need }: { need: string }) => need === 'full');
    expect(full.wanted).toEqual([2000, null]);
  });
});

describe('tune: --write', () => {
  test('writes a scenario that run confirms, from another folder', async () => {
    const file = join(folder, 'tuned.yaml');
    const written = await run('tune', BENCH, '--write', file);
    expect([written.status, written.err]).toEqual([0, `written: ${file}; try it with \`jackstand run ${file}\`\n`]);
    expect(readFileSync(file, 'utf8')).toContain('wheels off the ground');
    const confirmed = await run('run', file);
    expect(confirmed.status).toBe(0);
    expect(confirmed.out).toContain('1 hold');
  });
  test('a folder that is not there is an error of the caller, and nothing is left behind', async () => {
    const { err, status } = await run('tune', BENCH, '--write', join(folder, 'no', 'such.yaml'));
    expect(status).toBe(2);
    expect(err).toContain('ENOENT');
  });
});

describe('tune: what does not fit', () => {
  test('says what is nearest, which need fails by how much, and what to relax: status 1', async () => {
    const file = benchFile('narrow.yaml', (text) => text.replace('window: ± 20 us', 'window: ± 10 us'));
    const { out, status } = await run('tune', file);
    expect(status).toBe(1);
    expect(out).toContain('No timer setting arms and drives');
    expect(out).toMatch(
      /To relax, one of:\n +left: a neutral window \(and dead band\) of 148\d us to 151\d us, which is 5\.\d+ us more/,
    );
    expect(out).toMatch(/\+9\.\d+ us +with board\.clock exact \(it is 8 MHz ± 1 %\)/);
    const written = await run('tune', file, '--write', join(folder, 'none.yaml'));
    expect([written.status, written.err]).toEqual([2, expect.stringContaining('nothing to write')]);
  });
  test.each([
    ['0', '`0` is no row of the table'],
    ['x', '`x` is no row of the table'],
    ['999', 'the table has'],
  ])('row %s is refused', async (row, says) => {
    const { err, status } = await run('tune', BENCH, '--row', row);
    expect([status, err]).toEqual([2, expect.stringContaining(says)]);
  });
  test('a scenario is not a bench', async () => {
    const { status } = await run('tune', resolve('scenarios/orchard-cart/cold-start.yaml'));
    expect(status).toBe(2);
  });
});

describe('tune: Ctrl-C', () => {
  const interrupted = (at: string) => {
    // The signal arrives while the search is at work, as from a keyboard.
    const status = (line: string): void => {
      if (line.includes(at)) process.kill(process.pid, 'SIGINT');
    };
    return call(['tune', BENCH], { status });
  };

  test('ranks what was looked at, and says that it was not all', async () => {
    const { status, out, err } = await interrupted('12 of 108');
    expect([status, err]).toEqual([130, 'jackstand: interrupted; this is what had been found\n']);
    expect(out).toMatch(/interrupted: 1\d of 108 ways to set up a timer had been looked at; the others may be better/);
    expect(out).toContain('not tried by simulation');
    expect(out).toMatch(/^ {2}1 +Timer0/m);
  });

  test('before anything fits, it does not say that nothing does', async () => {
    const { out } = await interrupted('0 of 108');
    expect(out).toContain('No timer setting so far arms and drives');
  });
});
