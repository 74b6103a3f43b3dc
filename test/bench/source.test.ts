/** Reading YAML: what a file says, where it says it, and what becomes of files that are no benches at all. */
import { chmodSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { positionOf } from '../../sim/bench/place.ts';
import { parseSource, readSource } from '../../sim/bench/source.ts';
import { headPlace, nodeAt, plainOf } from '../../sim/bench/tree.ts';
import { placesOf, treeOfText, unmarked } from './sample.ts';

/** Codes and places of what is wrong with a marked text. */
function read(marked: string): { codes: string[]; places: string[]; expected: readonly string[] } {
  const { text, places } = unmarked(marked);
  const { problems } = parseSource('bench.yaml', text);
  return { codes: problems.map(({ code }) => code), places: placesOf(problems), expected: places };
}

function expectAt(marked: string, ...codes: string[]): void {
  const { codes: found, places, expected } = read(marked);
  expect(found).toEqual(codes);
  expect(places).toEqual(expected);
}

describe('source: values', () => {
  // Tag resolution of the core schema, YAML 1.2.2 section 10.3.2: `yes` and `on` are text there, `0o14` is octal.
  test('are those of the core schema', () => {
    const tree = treeOfText('a: 0o14\nb: 0x0C\nc: yes\nd: on\ne: True\nf: ~\ng: -1.5e-3\nh: "12"\ni:\n  - x\n  - {}\n');
    expect(plainOf(tree)).toEqual({
      a: 12,
      b: 12,
      c: 'yes',
      d: 'on',
      e: true,
      f: null,
      g: -1.5e-3,
      h: '12',
      i: ['x', {}],
    });
  });

  test('know where they and their keys are written', () => {
    const { text, places } = unmarked('board:\n  pwm: { bits: 8, «mode»: «fast» }\n');
    const node = nodeAt(treeOfText(text), ['board', 'pwm', 'mode'])!;
    const spans = [headPlace(node), node.place].map(positionOf);
    expect(spans.map(({ line, column, endColumn }) => `${line}:${column}-${endColumn}`)).toEqual(places);
  });

  test('of an alias are those of its anchor, under the alias’s key', () => {
    const { text, places } = unmarked('a: &m { x: 1 }\n«b»: *m\n');
    const tree = treeOfText(text);
    expect(plainOf(tree)).toEqual({ a: { x: 1 }, b: { x: 1 } });
    const { line, column, endColumn } = positionOf(headPlace(nodeAt(tree, ['b'])!));
    expect([`${line}:${column}-${endColumn}`]).toEqual(places);
  });

  test('a byte order mark and carriage returns change nothing', () => {
    const tree = treeOfText('\ufeffa: 1\r\nb: x\r\n');
    expect(plainOf(tree)).toEqual({ a: 1, b: 'x' });
    expect(positionOf(nodeAt(tree, ['b'])!.place)).toMatchObject({
      line: 2,
      column: 4,
      endColumn: 5,
      excerpt: { text: 'b: x' },
    });
  });

  test('under names of object members are plain entries', () => {
    const tree = treeOfText('constructor: 1\ntoString: 2\nhasOwnProperty: 3\n');
    expect(Object.entries(plainOf(tree) as object)).toEqual([
      ['constructor', 1],
      ['toString', 2],
      ['hasOwnProperty', 3],
    ]);
  });
});

describe('source: mistakes of YAML', () => {
  test.each([
    ['a bracket not closed', 'a: [1, 2\n«b: 3»\n', ']'],
    ['a quote not closed is shown where it opens', 'a: 1\nb: «"»x\nc: 2\n\n', '"'],
    ['a comma forgotten', 'a: { «b: 1 c: 2» }', undefined],
  ])('%s', (_, marked, missing) => {
    const { text, places } = unmarked(marked);
    const [problem] = parseSource('bench.yaml', text).problems;
    expect(problem!.code).toBe('yaml');
    expect(problem!.line).toBe(Number(places[0]!.split(':')[0]));
    if (missing !== undefined) expect(problem!.facts).toMatchObject({ missing });
  });

  test('a quote not closed is one mistake', () => expectAt('a: { b: «"»x, c: 2 }\nd: 1\n', 'yaml'));
  test('what is missing at the end is shown after the last thing written', () => {
    const [problem] = parseSource('bench.yaml', 'a: [1, 2\n\n  \n\n').problems;
    expect(problem).toMatchObject({ code: 'yaml', line: 1, column: 9, facts: { missing: ']' } });
  });
  test('a tab as indentation', () => expectAt('a:\n«\t»b: 1', 'yaml'));
  test('a text that begins with a reserved character', () => expectAt('a: «@»x', 'yaml'));
  test('a list as a key', () => expectAt('? «[»a]\n: 1\n', 'yaml'));
  test('each broken line is told once', () => {
    const { codes } = read('a: [1, ]]]\nb: ]]]\nc: }}}\n');
    expect(codes.length).toBeGreaterThan(1);
    expect(codes.length).toBeLessThanOrEqual(3);
  });
});

describe('source: what YAML allows and a bench does not', () => {
  test('a key twice', () => expectAt('a: 1\nb: 2\n«a»: 3\n', 'duplicate-key'));
  test('a second document', () => expectAt('a: 1\n---\n«b: »2\n', 'several-documents'));
  test('tags', () => expectAt('a: «!!str »1\nb: «!point »{}\n', 'tag', 'tag'));
  test('another version', () => expectAt('«%YAML» 1.1\n---\na: 1\n', 'yaml-version'));
  test('numbers that are none, or too large to keep their digits', () =>
    expectAt(
      'a: «.nan»\nb: [«-.inf»]\nc: «1e999»\nd: «99999999999999999999»\ne: 1e15\n',
      'not-a-number',
      'not-a-number',
      'number-too-large',
      'number-too-large',
    ));
  test('a key that would replace an object’s prototype', () => {
    expectAt('a: 1\n«__proto__»: { polluted: 1 }\n', 'unsafe-key');
    const { tree } = parseSource('bench.yaml', 'a: 1\n__proto__: { polluted: 1 }\n');
    expect((plainOf(tree!) as { polluted?: number }).polluted).toBeUndefined();
  });
  test('an alias of nothing, with the anchor that was meant', () => {
    expectAt('a: &rear 1\nb: «*raer»\n', 'unknown-alias');
    expect(parseSource('bench.yaml', 'a: &rear 1\nb: *raer\n').problems[0]!.facts).toEqual({
      alias: 'raer',
      nearest: 'rear',
    });
  });
  test('an alias within its own anchor', () => expectAt('a: &a [«*a»]\n', 'alias-in-itself'));
  test('a list or a text at the top', () => {
    expectAt('«-» 1\n- 2\n', 'not-a-map');
    expectAt('«h»ello\n', 'not-a-map');
  });
  test.each(['', '\n\n', '# only a comment\n', '---\n', '\ufeff'])('nothing at all: %j', (text) => {
    expect(parseSource('bench.yaml', text).problems.map(({ code }) => code)).toEqual(['empty-file']);
  });
});

describe('source: bytes that are no text', () => {
  test('not UTF-8, shown at the first bad byte', () => {
    const { problems } = parseSource('bench.yaml', Buffer.from('a: ±\nbé: \xe9t\n'.replace('±', 'x'), 'latin1'));
    expect(problems[0]).toMatchObject({ code: 'not-utf8', line: 2, column: 2 });
  });
  test('UTF-16', () => {
    expect(parseSource('bench.yaml', Buffer.from('\ufeffa: 1', 'utf16le')).problems[0]).toMatchObject({
      code: 'not-utf8',
      facts: { looksLike: 'UTF-16' },
    });
  });
  // Characters outside c-printable, YAML 1.2.2 section 5.1.
  test.each(['\0', '\x1b', '\x7f', '\x9b', '\ufffe'])('a control character: %j', (character) => {
    const { problems } = parseSource('bench.yaml', `a: 1\nb: x${character}y\n`);
    expect(problems[0]).toMatchObject({
      code: 'control-character',
      line: 2,
      column: 5,
      facts: { codePoint: character.codePointAt(0) },
    });
  });
});

describe('source: files', () => {
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
  afterAll(() => rmSync(folder, { recursive: true }));
  writeFileSync(join(folder, 'bench.yaml'), 'a: 1\n');
  mkdirSync(join(folder, 'sub'));

  test('one that is there', () => {
    const { tree, problems } = readSource(join(folder, 'bench.yaml'), 'bench.yaml');
    expect([plainOf(tree!), problems]).toEqual([{ a: 1 }, []]);
    expect(tree!.place.source.name).toBe('bench.yaml');
  });
  test('one that is not, with the nearest name beside it', () => {
    expect(readSource(join(folder, 'bnech.yaml')).problems[0]).toMatchObject({
      code: 'no-such-file',
      facts: { nearest: 'bench.yaml' },
    });
    expect(readSource(join(folder, 'none', 'x.yaml')).problems[0]).toMatchObject({ code: 'no-such-file', facts: {} });
  });
  test('a folder, a device, a path through a file, a path that cannot be', () => {
    const codeOf = (path: string): string => readSource(path).problems[0]!.code;
    expect(codeOf(join(folder, 'sub'))).toBe('not-a-file');
    expect(codeOf('/dev/zero')).toBe('not-a-file');
    expect(codeOf(join(folder, 'bench.yaml', 'x'))).toBe('unreadable');
    expect(codeOf(`${folder}/\0`)).toBe('unreadable');
    expect(codeOf(join(folder, 'x'.repeat(5000)))).toBe('unreadable');
  });
  // The superuser may read all files.
  test.skipIf(process.getuid?.() === 0)('one that may not be read', () => {
    const path = join(folder, 'locked.yaml');
    writeFileSync(path, 'a: 1\n');
    chmodSync(path, 0);
    expect(readSource(path).problems[0]).toMatchObject({ code: 'unreadable', facts: { reason: 'EACCES' } });
  });
  test('one above 1 MiB', () => {
    const path = join(folder, 'long.yaml');
    writeFileSync(path, `a: ${'x'.repeat(1024 * 1024)}`);
    expect(readSource(path).problems[0]).toMatchObject({
      code: 'too-long',
      facts: { bytes: 1024 * 1024 + 3, limitBytes: 1024 * 1024 },
    });
  });
});
