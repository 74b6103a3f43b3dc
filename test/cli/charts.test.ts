/** `jackstand charts`: drawings and SCXML hold what the charts hold. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { partKinds } from '../../models/index.ts';
import { mermaidOf } from '../../sim/chart/mermaid.ts';
import { scxmlOf } from '../../sim/chart/scxml.ts';
import { tableOf } from '../../sim/chart/table.ts';
import { call, shipped } from '../cli/capture.ts';

const machines = [...new Map(partKinds.map(({ chart }) => [chart, chart])).values()];
const hasXmllint = spawnSync('xmllint', ['--version']).error === undefined;

/** The full names of states that have none in them, as another reader of XML sees them. */
function leavesBy(xpathText: string): string[] {
  const { stdout, stderr, status } = spawnSync(
    'xmllint',
    ['--xpath', '//*[local-name()="state"][not(*[local-name()="state"])]/@id', '-'],
    {
      input: xpathText,
      encoding: 'utf8',
    },
  );
  expect({ stderr, status }).toEqual({ stderr: '', status: 0 });
  return [...stdout.matchAll(/id="([^"]*)"/g)].map(([, id]) => id!);
}

describe.runIf(hasXmllint)('charts: SCXML', () => {
  test.each(machines.map((machine) => [machine.id, machine] as const))(
    '%s: well-formed, with the leaves of its chart',
    (_, machine) => {
      expect(leavesBy(scxmlOf(machine))).toEqual([...tableOf(machine).leaves]);
    },
  );

  test.each(machines.map((machine) => [machine.id, machine] as const))('%s: every target is a state', (_, machine) => {
    const text = scxmlOf(machine);
    const states = new Set([...text.matchAll(/<state id="([^"]*)"/g)].map(([, id]) => id));
    // `event` is a list separated by blanks (SCXML 3.12.1).
    expect(text).not.toMatch(/event="[^"]*\s/);
    expect(text.match(/<transition/g) ?? []).toHaveLength(tableOf(machine).transitions.length);
    for (const [, target] of text.matchAll(/(?:target|initial)="([^"]*)"/g)) expect(states).toContain(target);
  });
});

describe('charts: Mermaid', () => {
  test.each(machines.map((machine) => [machine.id, machine] as const))(
    '%s: each leaf once, each move an arrow',
    (_, machine) => {
      const text = mermaidOf(machine);
      const { leaves, transitions } = tableOf(machine);
      const ids = [...text.matchAll(/ as (\w+)$/gm)].map(([, id]) => id);
      expect(ids).toHaveLength(leaves.length);
      expect(new Set(ids).size).toBe(leaves.length);
      const moves = transitions.filter(({ to }) => to !== undefined);
      expect(text.match(/^ {2}s_\w+ --> s_\w+ : ./gm) ?? []).toHaveLength(moves.length);
    },
  );
});

describe('charts: command', () => {
  test('of scenarios, it says what was taken: the cold start arms both controllers', async () => {
    const { status, out, err } = await call(['charts', `${shipped}/cold-start.yaml`, '--part', 'left']);
    expect({ status, err }).toEqual({ status: 0, err: '' });
    expect(out).toMatch(
      /^## left, right\n\n\d+ of \d+ transitions taken in 1 scenario\.\n\n```mermaid\nstateDiagram-v2\n/,
    );
    expect(out).toMatch(/--> s_armed_neutral : .*\(2x\)/);
    expect(out).toContain('class s_armed_driving reached');
    expect(out).toContain('class s_cut_off missed');
  });

  test('SCXML of several charts is refused, and a part that is not there', async () => {
    const several = await call(['charts', `${shipped}/bench.yaml`, '--format', 'scxml']);
    expect({ status: several.status, out: several.out }).toEqual({ status: 2, out: '' });
    const { status, err } = await call(['charts', `${shipped}/bench.yaml`, '--part', 'lft']);
    expect(status).toBe(2);
    expect(err).toContain('left');
  });

  test('SVG of a suite: a file for each chart, with what was taken', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
    const { status, out, err } = await call([
      'charts',
      `${shipped}/cold-start.yaml`,
      '--format',
      'svg',
      '--into',
      folder,
    ]);
    expect({ status, err }).toEqual({ status: 0, err: '' });
    const files = out.trimEnd().split('\n');
    expect(files).toContain(join(folder, 'left-right.svg'));
    expect(readdirSync(folder).sort()).toEqual(files.map((file) => basename(file)).sort());
    const svg = readFileSync(join(folder, 'left-right.svg'), 'utf8');
    expect(svg).toMatch(/\d+ of \d+ transitions taken in 1 scenario</);
    expect(svg).toContain('class="state reached" data-state="armed.driving"');
    const refused = await call(['charts', `${shipped}/bench.yaml`, '--into', join(folder, 'not', 'there')]);
    expect({ status: refused.status, out: refused.out }).toEqual({ status: 2, out: '' });
  });
});
