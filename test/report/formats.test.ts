/** Formats for CI: what servers and readers of their own make of them. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { annotationsOf, withoutCommands } from '../../sim/report/annotations.ts';
import { junitOf } from '../../sim/report/junit.ts';
import { summaryOf } from '../../sim/report/summary.ts';
import { tapOf } from '../../sim/report/tap.ts';
import { call, folderWith, shipped } from '../cli/capture.ts';
import { failing, holding, hostile } from './runs.ts';

const context = { startedAt: new Date('2026-05-04T03:02:01.5Z'), hostname: 'bench-pc' };

/** Names that mean something to XML, YAML, TAP, Markdown, workflow commands or a terminal. */
const names = [
  ']]> <b a="1">&amp; \'"',
  '# SKIP # TODO \\#',
  '%0A::error::x,file=y:z\n::error::no',
  '##[error]no ::add-mask::x',
  '| a | ![x](http://x) <script>alert(1)</script> `code` $x$ @all',
  '\u0000\u001b[31m\u202e\ufffe\ud800 é 試 🚜',
  '\n  ---\n  ...\nok 9 - x',
];

const xmllint = spawnSync('xmllint', ['--version']).error === undefined;
if (!xmllint) process.stderr.write('junit: not validated, as xmllint (Debian: libxml2-utils) is not here\n');

describe.runIf(xmllint)('junit: schemas', () => {
  const file = join(mkdtempSync(join(tmpdir(), 'jackstand-')), 'verdicts.xml');
  const said = (text: string, schema: string): string => {
    writeFileSync(file, text);
    return spawnSync('xmllint', ['--noout', '--schema', `test/report/schema/${schema}.xsd`, file], {
      encoding: 'utf8',
    }).stderr.replace(`${file} validates\n`, '');
  };

  test.each(['ant', 'ci-server'])('holding, failing and hostile runs are valid (%s)', (schema) => {
    const text = junitOf([holding(), failing(), ...names.map(hostile), hostile('')], context);
    expect(said(text, schema)).toBe('');
    expect(said(junitOf([], context), schema)).toBe('');
  });

  test.each(['ant', 'ci-server'])('the schema does refuse what is not in it (%s)', (schema) => {
    const text = junitOf([failing()], context);
    expect(said(text.replace(' tests="', ' tried="'), schema)).toContain('tried');
    expect(said(text.replace('<failure', '<fault').replace('</failure', '</fault'), schema)).toContain('fault');
  });
});

describe('junit: contents', () => {
  test('a case an expectation, the failure with its place and cause', () => {
    const text = junitOf([failing()], context);
    expect(text).toContain('timestamp="2026-05-04T03:02:01" hostname="bench-pc" tests="7" failures="1" errors="0"');
    expect(text.match(/<testcase /g)).toHaveLength(7);
    expect(text).toMatch(/<failure message="left.mode is armed, within 1 s: never\./);
    expect(text).toMatch(/cold-start\.yaml:11\n/);
    expect(text).toContain('inside its arming window 1480 us to 1520 us');
  });
});

/**
 * Reads TAP 14 by the rules of its grammar (testanything.org, "TAP 14 specification"): version, plan, points, escapes of
 * `\` and `#`, YAML blocks indented by two, subtests by four.
 */
function readTap(lines: readonly string[]): { ok: boolean; name: string; directive: string; block?: unknown }[] {
  const plan = lines.find((line) => /^1\.\.\d+$/.test(line))!;
  const points: { ok: boolean; name: string; directive: string; block?: unknown }[] = [];
  lines.forEach((line, index) => {
    const point = /^(not )?ok (\d+) - (.*)$/.exec(line);
    if (point === null) return;
    expect(Number(point[2])).toBe(points.length + 1);
    const [, name = '', directive = ''] = /^((?:[^\\#]|\\.)*)(.*)$/.exec(point[3]!)!;
    const end = lines.indexOf('  ...', index);
    const block =
      lines[index + 1] === '  ---' ? { block: parse(lines.slice(index + 2, end).join('\n')) as unknown } : {};
    points.push({ ok: point[1] === undefined, name: name.trim().replaceAll(/\\(.)/g, '$1'), directive, ...block });
  });
  expect(plan).toBe(`1..${points.length}`);
  return points;
}

describe('tap: version 14', () => {
  test('one point a scenario, one of its own an expectation, with a block below a failure', () => {
    const lines = tapOf([holding(), failing()]).split('\n');
    expect(lines[0]).toBe('TAP version 14');
    expect(readTap(lines).map(({ ok }) => ok)).toEqual([true, false]);
    const from = lines.findLastIndex((line) => line.startsWith('# Subtest: '));
    const points = readTap(lines.slice(from).flatMap((line) => (line.startsWith('    ') ? [line.slice(4)] : [])));
    expect(points.map(({ ok }) => ok)).toEqual([false, true, true, true, true, true, true]);
    expect(points[0]!.block).toMatchObject({ severity: 'fail', at: { line: 11 } });
  });

  test.each(names)('a name stays a name: %j', (name) => {
    const points = readTap(tapOf([holding(), hostile(name)]).split('\n'));
    expect(points.map(({ ok }) => ok)).toEqual([true, false]);
    expect(points[1]!.directive).toMatch(/^(# time=.*)?$/);
  });

  test('law: whatever the name, the scenarios are counted and judged as they are', () => {
    const outcome = hostile('x');
    const rename = (title: string) => ({
      ...outcome,
      run: { ...outcome.run, scenario: { ...outcome.run.scenario, title } },
    });
    fc.assert(
      fc.property(fc.string({ unit: 'binary' }), (title) => {
        expect(readTap(tapOf([rename(title)]).split('\n')).map(({ ok }) => ok)).toEqual([false]);
      }),
      { seed: 20261125, numRuns: 200 },
    );
  });
});

describe('github: workflow commands', () => {
  test('one command a failure, at its line of the file', () => {
    const text = annotationsOf([holding(), failing()], { workspace: undefined });
    expect(text.split('\n')).toHaveLength(2);
    expect(text).toMatch(
      /^::error file=[^,:]*cold-start\.yaml,line=11,title=cold start%2C foot off the pedal::left\.mode/,
    );
  });

  test('paths count from the checkout', () => {
    const text = annotationsOf([failing()], { workspace: tmpdir() });
    expect(text).toMatch(/^::error file=jackstand-[^/]*\/cold-start\.yaml,/);
  });

  test.each(names)('a name makes no command of its own and ends none: %j', (name) => {
    const lines = annotationsOf([hostile(name)], { workspace: undefined })
      .trimEnd()
      .split('\n');
    for (const line of lines) {
      expect(line).toMatch(/^::(error|warning) file=[^,:]*(,line=\d+)?,title=[^,:]*::/);
      expect(line).not.toContain('##[');
    }
    expect(withoutCommands(`${name}\n`)).not.toMatch(/##\[|^\s*::/m);
  });
});

describe('summary: Markdown', () => {
  test('a row a scenario, and below what failed', () => {
    const text = summaryOf([holding(), failing()]);
    expect(text).toContain('## jackstand: 1 of 2 scenarios hold');
    expect(text.match(/^\| (holds|\*\*FAILS\*\*) \|/gm)).toHaveLength(2);
    expect(text).toContain('arming window 1480 us to 1520 us');
  });

  test.each(names)('a name is neither cell, link, tag nor code: %j', (name) => {
    const text = summaryOf([hostile(name)]);
    const row = text.split('\n').find((line) => line.startsWith('| **FAILS**'))!;
    expect(row.match(/(?<!\\)\|/g)).toHaveLength(6);
    const bare = text
      .replaceAll('<details>', '')
      .replaceAll('</details>', '')
      .replaceAll(/<\/?summary>/g, '');
    expect(bare).not.toMatch(/(?<!\\)[<`[\]]/);
  });
});

describe('run: formats and pages', () => {
  test.each(['junit', 'tap', 'github'])(
    '%s alone on standard output, with the status of the verdict',
    async (format) => {
      const folder = folderWith({
        'cold-start.yaml': (text) => text.replace('left.mode is armed, within: 2 s', 'left.mode is armed, within: 1 s'),
      });
      const { status, out, err } = await call(['run', join(folder, 'cold-start.yaml'), '--format', format]);
      expect({ status, err }).toEqual({ status: 1, err: '' });
      expect(out).toMatch({ junit: /^<\?xml/, tap: /^TAP version 14\n/, github: /\n::error file=/ }[format]!);
    },
  );

  test('the summary is written anew, and added to where a job collects summaries', async () => {
    const file = join(mkdtempSync(join(tmpdir(), 'jackstand-')), 'out.md');
    const args = ['run', `${shipped}/cold-start.yaml`, '--summary', file];
    const count = (): number => readFileSync(file, 'utf8').match(/^## /gm)!.length;
    await call(args);
    await call(args);
    expect(count()).toBe(1);
    process.env.GITHUB_STEP_SUMMARY = file;
    try {
      await call(args);
    } finally {
      delete process.env.GITHUB_STEP_SUMMARY;
    }
    expect(count()).toBe(2);
  });

  test('a summary that cannot be written is told before anything is run', async () => {
    const { status, out, err } = await call(['run', `${shipped}/cold-start.yaml`, '--summary', '/no/such/out.md']);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain('there is no folder /no/such');
  });
});
