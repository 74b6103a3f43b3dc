/** `jackstand check` and `jackstand schema`: what files hold, and the forms that editors are given. */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { call, folderWith, shipped } from './capture.ts';

const scenarios = readdirSync(shipped, { encoding: 'utf8', recursive: true }).filter(
  (file) => file.endsWith('.yaml') && file !== 'bench.yaml',
);

describe('check', () => {
  test('says of each file what it is', async () => {
    const { status, out } = await call(['check', shipped]);
    expect(status).toBe(0);
    expect(out).toContain(`${shipped}/bench.yaml: a bench of `);
    expect(out.match(/a scenario of \d+ parts, no errors\n/g)).toHaveLength(scenarios.length);
  });

  test('tells all mistakes of all files at once, each file in its turn', async () => {
    const folder = folderWith({
      'bench.yaml': (text) => text.replace('neutral:', 'nuetral:').replace('rest: 0.91 V', 'rest: 0.91 A'),
      'extra.yaml': 'scenario: extra\nbench: bnech.yaml\nduration: 1\n',
    });
    const { status, err } = await call(['check', join(folder, 'bench.yaml'), join(folder, 'extra.yaml')]);
    expect(status).toBe(2);
    expect(err.match(/^\S+\.yaml:\d+:\d+: /gm)).toEqual([
      `${folder}/bench.yaml:9:30: `,
      `${folder}/bench.yaml:19:14: `,
      `${folder}/extra.yaml:2:8: `,
      `${folder}/extra.yaml:3:11: `,
    ]);
  });

  test('--signals lists every signal with unit and meaning', async () => {
    const { out } = await call(['check', `${shipped}/bench.yaml`, '--signals']);
    expect(out).toMatch(/^ {2}left\.pulse +us +\S/m);
    expect(out).toMatch(/^ {2}left\.mode +word +\S/m);
    expect(out).toMatch(/^ {2}pedal\.voltage +V +\S/m);
  });
});

describe('schema', () => {
  const compiled = async (of: string) =>
    new Ajv2020({ strict: false, allErrors: true }).compile(JSON.parse((await call(['schema', of])).out));
  const read = (file: string): unknown => parse(readFileSync(join(shipped, file), 'utf8'));

  test('of a bench takes the shipped bench, with its copies by `like`', async () => {
    const validate = await compiled('bench');
    const bench = read('bench.yaml') as { controllers: Record<string, object> };
    expect(validate(bench), JSON.stringify(validate.errors)).toBe(true);
    const own = { like: 'left', pulse: { neutral: '1510 us' } };
    expect(validate({ ...bench, controllers: { ...bench.controllers, right: own } })).toBe(true);
    expect(validate({ ...bench, controllers: { ...bench.controllers, right: { ...own, puls: {} } } })).toBe(false);
    expect(validate({ ...bench, controllers: { ...bench.controllers, right: { pulse: own.pulse } } })).toBe(false);
  });

  test.each(scenarios)('of a scenario takes %s', async (file) => {
    const validate = await compiled('scenario');
    expect(validate(read(file)), JSON.stringify(validate.errors)).toBe(true);
  });

  test('refuses what the tool refuses: an unknown key, a number without unit, a step with an unknown word', async () => {
    const scenario = await compiled('scenario');
    const good = read('cold-start.yaml') as Record<string, unknown>;
    expect(scenario({ ...good, durration: '6 s' })).toBe(false);
    expect(scenario({ ...good, duration: 6 })).toBe(false);
    expect(scenario({ ...good, steps: [{ at: '0 s', battery: 'conect' }] })).toBe(false);
    const bench = await compiled('bench');
    expect(bench({ ...(read('bench.yaml') as object), pedal: { kind: 'hal' } })).toBe(false);
  });
});
