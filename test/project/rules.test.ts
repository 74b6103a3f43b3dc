/** What the sources must not hold: chance and clocks that no seed rules, parts named by the machinery, default exports. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import ts from 'typescript';
import { describe, expect, test } from 'vitest';
import { partKinds } from '../../models/index.ts';
import { TOOL_VERSION } from '../../sim/cli/version.ts';
import { filesBelow, nodesOf, parse, placed, root } from './sources.ts';

const forbidden: Readonly<Record<string, readonly string[]>> = {
  Date: ['now'],
  performance: ['now', 'timeOrigin'],
  Math: ['random'],
  crypto: ['randomUUID', 'getRandomValues', 'randomBytes'],
  process: ['hrtime'],
};

/** Reads of clocks and of chance that no seed rules. */
function unruled(source: ts.SourceFile): string[] {
  return [...nodesOf(source)].flatMap((node) => {
    if (ts.isNewExpression(node) && node.expression.getText(source) === 'Date')
      return [placed(source, node, 'new Date')];
    if (!ts.isPropertyAccessExpression(node)) return [];
    const names = forbidden[node.expression.getText(source)];
    return names?.includes(node.name.text) ? [placed(source, node, node.getText(source))] : [];
  });
}

const kindNames = new Set(partKinds.flatMap(({ kind, at }) => [kind, ...at.split('.')]).filter((name) => name !== '*'));

/** Properties whose texts are words for people, and steer nothing. */
const wordsForPeople = new Set(['short', 'does', 'shown', 'means', 'says']);

/** Texts in the code that name a part, or a signal of one. */
function namedParts(source: ts.SourceFile): string[] {
  return [...nodesOf(source)].flatMap((node) => {
    if (!ts.isStringLiteralLike(node)) return [];
    const { parent } = node;
    if (ts.isPropertyAssignment(parent) && wordsForPeople.has(parent.name.getText(source))) return [];
    const [name, ...rest] = node.text.split('.');
    const isSignal = rest.every((word) => /^[a-z][a-z0-9-]*$/.test(word));
    return kindNames.has(name!) && isSignal ? [placed(source, node, node.getText(source))] : [];
  });
}

function defaultExports(source: ts.SourceFile): string[] {
  return [...nodesOf(source)].flatMap((node) => {
    const isDefault =
      (ts.isExportAssignment(node) && node.isExportEquals !== true) ||
      (ts.isExportSpecifier(node) && node.name.text === 'default') ||
      (ts.canHaveModifiers(node) &&
        ts.getModifiers(node)?.some(({ kind }) => kind === ts.SyntaxKind.DefaultKeyword) === true);
    return isDefault ? [placed(source, node, 'default export')] : [];
  });
}

const sim = filesBelow('sim');
const models = filesBelow('models');

describe('project: chance and clocks', () => {
  // Commands say how long a run took, and the dashboard plays in real time; neither changes what a run gives.
  const ruled = [...sim.filter((file) => !/^sim\/(cli|dashboard)\//.test(file)), ...models];

  test('nothing that a run depends on reads a clock or draws without a seed', () => {
    expect(ruled.flatMap((file) => unruled(parse(file)))).toEqual([]);
  });
  test.each(['Date.now()', 'new Date()', 'performance.now()', 'Math.random()', 'crypto.randomUUID()'])(
    'the rule sees %s',
    (text) => expect(unruled(parse('models/adc.ts', `const x = ${text};`))).toHaveLength(1),
  );
});

describe('project: parts', () => {
  // Commands and files for people may speak of parts; see sim/cli/schema.ts.
  const machinery = sim.filter((file) => !/^sim\/(cli|report)\//.test(file) && file !== 'sim/index.ts');

  test('the machinery names no part', () => {
    expect(machinery.flatMap((file) => namedParts(parse(file)))).toEqual([]);
  });
  test.each(["kind === 'pedal'", '`controllers`', "read('battery.voltage')", "x['pwm-timer']"])(
    'the rule sees %s',
    (text) => expect(namedParts(parse('sim/bench/schema.ts', `const x = ${text};`))).toHaveLength(1),
  );
  test('the rule lets words in sentences pass', () => {
    expect(namedParts(parse('sim/bench/schema.ts', "const says = 'the pedal is down'; // 'pedal'"))).toEqual([]);
    expect(namedParts(parse('sim/dashboard/keys.ts', "const key = { short: 'pedal' };"))).toEqual([]);
    expect(namedParts(parse('sim/dashboard/keys.ts', "const key = { part: 'pedal' };"))).toHaveLength(1);
  });
});

describe('project: exports', () => {
  test('there are named ones only', () => {
    expect([...sim, ...models].flatMap((file) => defaultExports(parse(file)))).toEqual([]);
  });
  test.each(['export default 1;', 'export default function f() {}', 'const a = 1; export { a as default };'])(
    'the rule sees %s',
    (text) => expect(defaultExports(parse('sim/a.ts', text))).toHaveLength(1),
  );
  test('the public index writes each name out', () => {
    expect(readFileSync(join(root, 'sim/index.ts'), 'utf8')).not.toContain('export *');
  });
});

describe('project: files that stand beside the code', () => {
  test.each(['README.md', 'DEVELOPERS.md', 'CHANGELOG.md', 'LICENSE', '.ci/run'])('%s exists', (file) => {
    expect(existsSync(join(root, file))).toBe(true);
  });
  test.each(['sim', 'models', 'scenarios', 'test'])('%s/README.md exists and says what lives there', (folder) => {
    expect(readFileSync(join(root, folder, 'README.md'), 'utf8').length).toBeGreaterThan(300);
  });
  test('the version of the tool is that of the package, and the log of changes has it', () => {
    const { version } = JSON.parse(readFileSync(join(root, 'package.json'), 'utf8')) as { version: string };
    expect(TOOL_VERSION).toBe(version);
    expect(readFileSync(join(root, 'CHANGELOG.md'), 'utf8')).toContain(`## ${version}`);
  });
});
