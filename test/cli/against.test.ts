/** `jackstand run --against`: this tool's own traces, disturbed on purpose, and a capture written by hand. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { call, folderWith } from './capture.ts';

const folder = folderWith();
const cold = join(folder, 'cold-start.yaml');
async function traced(name: string, signals = 'pwm.line'): Promise<string> {
  const file = join(folder, name);
  await call(['run', cold, '--trace', file, '--signals', signals]);
  return file;
}
/** A copy of a capture with something done to it. */
function changed(file: string, name: string, change: (text: string) => string): string {
  const copy = join(folder, name);
  writeFileSync(copy, change(readFileSync(file, 'utf8')));
  return copy;
}

describe('against: own traces', () => {
  test.each(['csv', 'vcd'])('a %s of the same run agrees: status 0', async (form) => {
    const file = await traced(`same.${form}`);
    const { status, out } = await call(['run', cold, '--against', file]);
    expect(out).toContain('agrees  pwm.line and pwm.line of');
    expect(out).toContain('0 frames beyond ± 10 us');
    expect(out).toContain('o simulated  x recorded  # both');
    expect(status).toBe(0);
  });

  test('one frame later and longer: where they part, by how much, status 1', async () => {
    const file = await traced('base.csv');
    // The first fall after 2 s comes 24 us later.
    const late = changed(file, 'late.csv', (text) => {
      const lines = text.split('\r\n');
      const at = lines.findIndex((line) => Number(line.split(',')[0]) > 2 && line.includes(',low'));
      const cells = lines[at]!.split(',');
      lines[at] = [Number(cells[0]) + 24e-6, ...cells.slice(1)].join(',');
      return lines.join('\r\n');
    });
    const { status, out } = await call(['run', cold, '--against', late]);
    expect(status).toBe(1);
    expect(out).toContain('holds  cold start');
    expect(out).toContain('PARTS  pwm.line and pwm.line of');
    expect(out).toContain('1 frame beyond ± 10 us; they part at 2.');
    expect(out).toContain('at most +24 us (1504 us simulated, 1528 us recorded');
    expect((await call(['run', cold, '--against', late, '--tolerance', '24 us'])).status).toBe(0);
  });

  test('as json: the result with the comparison, by the published schema, nothing else on the stream', async () => {
    const file = await traced('json.vcd');
    const { status, out } = await call(['run', cold, '--against', file, '--format', 'json']);
    expect(status).toBe(0);
    const result = JSON.parse(out);
    const schema = JSON.parse((await call(['schema', 'result'])).out);
    expect(new Ajv2020({ strict: false }).compile(schema)(result)).toBe(true);
    expect(result.runs[0].against).toMatchObject({
      signal: 'pwm.line',
      holds: true,
      beyond: 0,
      parts: null,
      alignment: 'best-shift',
    });
    const other = await call(['run', join(folder, 'idle-one-too-high.yaml'), '--against', file, '--format', 'json']);
    expect(other.status).toBe(1);
    const parted = JSON.parse(other.out);
    expect(parted.holds).toBe(false);
    // Compare 47 instead of 46: one tick of 32 us (8 MHz / 256).
    expect(parted.runs[0].against.parts).toMatchObject({
      what: 'width',
      frame: { frame: 1, simulated: 1536e-6, recorded: 1504e-6 },
    });
  });
});

describe('against: a capture of an analyser, written by hand', () => {
  // 1504 us each 8192 us (8 MHz / 256, compare 46), from a trigger in the middle of the run, in ms, beside another channel.
  const rows = Array.from({ length: 60 }, (_, frame) => [
    `${(4 + frame * 8.192).toFixed(3)};1;0`,
    `${(5.504 + frame * 8.192).toFixed(3)};0;0`,
  ]).flat();
  const file = join(folder, 'hand.csv');
  writeFileSync(file, ['Session 4', 'Time [ms];D0;D1', '0;0;0', ...rows].join('\n'));

  test('the only column with pulses is taken, laid over by a shift that is told', async () => {
    const { status, out } = await call(['run', cold, '--against', file]);
    expect(out).toContain('agrees  pwm.line and D0 of');
    expect(out).toContain('aligned by the best shift: recorded instants less -71.2 ms');
    expect(out).toContain('60 frames in both, 0 simulated only, 0 recorded only');
    expect(status).toBe(0);
  });

  test('another signal of the bench', async () => {
    const { out } = await call([
      'run',
      join(folder, 'radio-override.yaml'),
      '--against',
      file,
      '--signal',
      'receiver.line',
    ]);
    expect(out).toContain('PARTS  receiver.line and D0 of');
    expect(out).toMatch(/only-|simulated only/);
  });

  test.each([
    [['--signal', 'pwm.lien'], '--signal: pwm.lien is no level of this bench', 'nearest: pwm.line'],
    [['--column', 'D7'], '--column: it has no column D7', 'allowed: D0, D1'],
    [['--column', 'D1'], '--column: its column D1 has no whole pulse', ''],
    [['--tolerance', '3 V'], '--tolerance: ', 'allowed: a time'],
    [['--format', 'tap'], '--against: it is told as text or as json only', ''],
  ])('%j: %s', async (more, says, allowed) => {
    const { status, err, out } = await call(['run', cold, '--against', file, ...more]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain(says);
    expect(err).toContain(allowed);
  });

  test('what cannot be compared is told before anything is run', async () => {
    expect((await call(['run', cold, join(folder, 'full-sweep.yaml'), '--against', file])).err).toContain(
      'and these are 2',
    );
    expect((await call(['run', cold, '--signal', 'pwm.line'])).err).toContain(
      '--signal: it is about the capture of --against',
    );
    expect((await call(['run', cold, '--against', join(folder, 'none.csv')])).err).toContain('there is no such file');
    writeFileSync(join(folder, 'back.csv'), 'time,a\n1,0\n0,1\n');
    expect((await call(['run', cold, '--against', join(folder, 'back.csv')])).err).toContain(
      'its times go back (line 3, column 1)',
    );
  });
});
