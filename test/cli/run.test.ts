/** `jackstand run`: verdicts, statuses, the object for programs, traces. */
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { traceNames } from '../../sim/cli/trace-files.ts';
import { resultSchema } from '../../sim/cli/verdict-json.ts';
import { call, folderWith, shipped, timeless } from './capture.ts';

const armsAtOnce = (text: string): string =>
  text.replace('left.mode is armed, within: 2 s', 'left.mode is armed, within: 1 s');

describe('run: status and streams', () => {
  test('0 when all hold, and nothing but verdicts on the results', async () => {
    const { status, out, err } = await call(['run', `${shipped}/cold-start.yaml`]);
    expect({ status, err }).toEqual({ status: 0, err: '' });
    expect(timeless(out)).toBe(
      'holds  cold start, foot off the pedal  (6 s in TIME)\n' +
        '       least margin 16 us: left.mode is armed, within 2 s\n\n' +
        '1 scenario: 1 hold, 0 fail\n',
    );
  });

  test('1 when an expectation fails, which is told with place and cause', async () => {
    const folder = folderWith({ 'cold-start.yaml': armsAtOnce });
    const { status, out, err } = await call(['run', join(folder, 'cold-start.yaml')]);
    expect({ status, err }).toEqual({ status: 1, err: '' });
    expect(out).toMatch(/^FAILS {2}cold start, foot off the pedal {2}\(/);
    expect(out).toContain('fails: left.mode is armed, within 1 s: never.');
    expect(out).toContain(`(${join(folder, 'cold-start.yaml')}:11)`);
    expect(out).toMatch(/ms {2}left sees 1504 us, inside its arming window 1480 us to 1520 us, and waits/);
    expect(out).toContain('1 scenario: 0 hold, 1 fail\n');
  });

  test('1 when a failure that was stated does not come, as nobody may rely on it any more', async () => {
    const folder = folderWith({
      'cold-start.yaml': (text) =>
        text.replace('left.mode is armed, within: 2 s', 'left.mode is armed, within: 2 s, fails: true'),
    });
    const { status, out } = await call(['run', join(folder, 'cold-start.yaml')]);
    expect(status).toBe(1);
    expect(out).toContain('fails: left.mode is armed, within 2 s: holds, but was expected to fail.');
  });

  test('2 with bad input, and then nothing is run and nothing is on the results', async () => {
    const folder = folderWith({ 'idle-one-too-high.yaml': (text) => text.replace('within', 'whitin') });
    const { status, out, err } = await call(['run', folder]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain('did you mean `within`?');
  });

  test('a folder is run with all scenarios in it, in the order of their names, telling which is being run', async () => {
    const { status, out, shown } = await call(['run', shipped]);
    const files = readdirSync(shipped, { encoding: 'utf8', recursive: true }).filter(
      (file) => file.endsWith('.yaml') && file !== 'bench.yaml',
    );
    expect(status).toBe(0);
    expect(out.match(/^holds /gm)).toHaveLength(files.length);
    expect(shown).toEqual([
      ...files.sort().map((file, index) => `running ${index + 1} of ${files.length}: ${shipped}/${file}`),
      '',
    ]);
  });

  test('a pattern is understood, and one that meets nothing is refused', async () => {
    expect((await call(['run', `${shipped}/pedal-*.yaml`])).out).toContain('3 scenarios: 3 hold');
    expect(await call(['run', `${shipped}/nothing-*.yaml`])).toMatchObject({
      status: 2,
      err: `${shipped}/nothing-*.yaml: there is no scenario file here\n`,
    });
  });

  test('one of several like causes is told once', async () => {
    const { out } = await call(['run', `${shipped}/idle-one-too-high.yaml`]);
    expect(out.match(/refuses the startup pulse/g)).toHaveLength(1);
    expect(out).toContain('right: the same cause as left.');
    expect(out.match(/expected/g)).toHaveLength(2);
  });
});

describe('run: --format json', () => {
  test('is one object that fits its schema, in zod and as printed', async () => {
    const { status, out, err } = await call(['run', shipped, '--format', 'json']);
    const result: unknown = JSON.parse(out);
    expect(status).toBe(0);
    expect(err).toMatch(/^\d+ warnings?; jackstand check shows (it|them)\n$/);
    expect(resultSchema.parse(result)).toEqual(result);
    const validate = new Ajv2020({ strict: false }).compile(JSON.parse((await call(['schema', 'result'])).out));
    expect(validate(result), JSON.stringify(validate.errors)).toBe(true);
    expect(validate({ ...(result as object), runs: 7 })).toBe(false);
  });

  test('holds the numbers of a refusal: 48 ticks of 32 us against a window of 20 us about 1500 us', async () => {
    const { out } = await call(['run', `${shipped}/idle-one-too-high.yaml`, '-f', 'json']);
    const [expectation] = resultSchema.parse(JSON.parse(out)).runs[0]!.expectations;
    expect(expectation).toMatchObject({
      text: 'left.mode is armed, within 2 s',
      line: 13,
      holds: true,
      expectedToFail: true,
      margin: -16,
      unit: 'us',
    });
    expect(expectation!.cause.map(({ signal }) => signal).slice(0, 3)).toEqual([
      'left.arming',
      'left.pulse',
      'pwm.pulse',
    ]);
    expect(expectation!.cause[1]).toMatchObject({ value: 1536, unit: 'us' });
  });

  test('is the same twice but for the time that it took', async () => {
    const timed = async (): Promise<string> =>
      (await call(['run', shipped, '-f', 'json'])).out.replaceAll(/"wallSeconds": [\d.e-]+/g, '');
    expect(await timed()).toBe(await timed());
  });
});

describe('run: --trace', () => {
  const scenario = `${shipped}/cold-start.yaml`;

  test.each(['csv', 'vcd'])('writes one whole .%s file', async (ending) => {
    const folder = folderWith();
    const file = join(folder, `out.${ending}`);
    expect((await call(['run', scenario, '--trace', file])).status).toBe(0);
    expect(readFileSync(file, 'utf8')).toContain(ending === 'csv' ? 'time (s),' : '$enddefinitions $end');
    expect(readdirSync(folder).filter((name) => name.endsWith('.part'))).toEqual([]);
  });

  test('with named signals writes these and those that the expectations read', async () => {
    const file = join(folderWith(), 'out.csv');
    await call(['run', scenario, '--trace', file, '--signals', 'rail.voltage, adc.count']);
    const [head] = readFileSync(file, 'utf8').split('\r\n');
    expect(head).toContain('rail.voltage');
    expect(head).toContain('adc.count');
    expect(head).toContain('left.mode');
    expect(head).not.toContain('battery.voltage');
  });

  test('of several scenarios writes one file each, named apart even if their files are named alike', async () => {
    const folder = folderWith();
    mkdirSync(join(folder, 'twin'));
    const text = readFileSync(scenario, 'utf8').replace('bench.yaml', '../bench.yaml');
    writeFileSync(join(folder, 'twin', 'cold-start.yaml'), text);
    const files = [
      join(folder, 'cold-start.yaml'),
      join(folder, 'twin', 'cold-start.yaml'),
      join(folder, 'signal-lost.yaml'),
    ];
    await call(['run', ...files, '--trace', join(folder, 'out.csv')]);
    const written = readdirSync(folder).filter((name) => name.startsWith('out-'));
    expect(written).toHaveLength(3);
    expect(written.find((name) => name.endsWith('-twin-cold-start.csv'))).toBeDefined();
  });

  test('names files by no more of a path than it takes to tell them apart', () => {
    expect(traceNames('out.vcd', ['s/a.yaml'])).toEqual(['out.vcd']);
    expect(traceNames('t/out.vcd', ['s/a.yaml', 's/b.c.yml'])).toEqual(['t/out-a.vcd', 't/out-b.c.vcd']);
    expect(traceNames('out.vcd', ['s/a.yaml', 't/a.yaml', 'b.yaml'])).toEqual([
      'out-s-a.vcd',
      'out-t-a.vcd',
      'out-b.vcd',
    ]);
  });

  test.each([
    ['nowhere/out.csv', 'there is no folder nowhere; make it first'],
    ['package.json/out.csv', 'package.json is not a folder'],
    ['out.txt', '.txt is no format that it writes'],
    ['out', 'the name has no ending'],
  ])('%s is refused before anything is run', async (file, says) => {
    const { status, out, err } = await call(['run', scenario, '--trace', file]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain(`--trace: ${says}`);
    expect(existsSync(file)).toBe(false);
  });

  test.each([
    [['--trace', 'x.csv', '--signals', 'left.puls'], 'there is no signal left.puls\n  nearest: left.pulse'],
    [
      ['--trace', 'x.csv', '--signals', 'left.pulse,zzz'],
      'there is no signal zzz; jackstand check --signals lists them',
    ],
    [['--trace', 'x.csv', '--signals', ' , '], 'it names no signal'],
    [['--signals', 'left.pulse'], 'it says what --trace and --report show; give one of them as well'],
  ])('%j is refused', async (args, says) => {
    const { status, out, err } = await call(['run', scenario, ...args]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain(`--signals: ${says}`);
    expect(existsSync('x.csv')).toBe(false);
  });
});
