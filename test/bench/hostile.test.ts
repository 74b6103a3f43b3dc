/** Files that are broken by chance or on purpose: never an exception, never long, never a place outside of the file. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { resolveLikes } from '../../sim/bench/like.ts';
import { overlay } from '../../sim/bench/overlay.ts';
import { printProblems } from '../../sim/bench/print.ts';
import type { Problem } from '../../sim/bench/problem.ts';
import { parseSource } from '../../sim/bench/source.ts';
import { validate } from '../../sim/bench/validate.ts';
import { sampleSchema, sampleText } from './sample.ts';

// A guard against hanging, not a measurement; the figures are in test/speed.
const hangMilliseconds = 200;
const hangLargeMilliseconds = 5000;

const rich = `${sampleText}base: &base { a: 1, "b\\n": 'it''s', c: !!str x }
more: *base
text: |
  lines
    and lines
folded: >-
  x
? odd
: [1, {a: b}, "c"]
with: { board.clock: 16 MHz, controllers.right.pulse.full: 1900 us }
`;

/** All that reading finds; the scenario is the same file, so that its overrides are broken too. */
function mistakesInBytes(bytes: Uint8Array): readonly Problem[] {
  const { tree, problems } = parseSource('bench.yaml', bytes);
  if (tree === undefined) return problems;
  const overrides = tree.entries.get('with');
  const over = overrides?.shape === 'map' ? overlay(tree, overrides) : { tree, problems: [] };
  const like = resolveLikes(over.tree);
  const outcome = validate(sampleSchema, like.tree);
  return [...problems, ...over.problems, ...like.problems, ...('problems' in outcome ? outcome.problems : [])];
}

/**
 * What reading finds, done within the limit of processor time. What really takes long takes long each time; other work on
 * the machine and a garbage collection do not, so only the third miss counts.
 */
function withinLimit(bytes: Uint8Array, limitMilliseconds: number): { problems: readonly Problem[]; printed: string } {
  for (let attempt = 1; ; attempt += 1) {
    const start = process.cpuUsage();
    const problems = mistakesInBytes(bytes);
    const printed = printProblems(problems);
    const { user, system } = process.cpuUsage(start);
    const milliseconds = (user + system) / 1000;
    if (milliseconds < limitMilliseconds) return { problems, printed };
    if (attempt === 3) expect(milliseconds).toBeLessThan(limitMilliseconds);
  }
}

function holdsFor(bytes: Uint8Array, limitMilliseconds: number): void {
  const { problems, printed } = withinLimit(bytes, limitMilliseconds);
  expect(printed).not.toMatch(/[^\P{Cc}\n]/u);
  const lines = new TextDecoder().decode(bytes).split('\n');
  for (const { line, column, endColumn, excerpt } of problems) {
    expect(line).toBeGreaterThanOrEqual(1);
    expect(line).toBeLessThanOrEqual(lines.length);
    expect(column).toBeGreaterThanOrEqual(1);
    expect(endColumn).toBeGreaterThan(column);
    if (excerpt === undefined) continue;
    expect(excerpt.text.length).toBeLessThanOrEqual(400);
    expect(column).toBeLessThanOrEqual(lines[line - 1]!.length + 1);
    expect(lines[line - 1]).toContain(excerpt.text);
  }
}

const sampleBytes = Buffer.from(rich);
const position = fc.nat(sampleBytes.length - 1);
const lively = fc.constantFrom(
  ...'{}[],:&*!|>\'"%@`#?-~\\ \t\n\r\0<.0±',
  '__proto__',
  'like: left',
  '*base',
  '&base ',
  '\n---\n',
  '<<: *base',
  '.nan',
  '1e999',
  '{ ',
  '\ufeff',
);
const mutation = fc.oneof(
  fc.record({ kind: fc.constant('flip' as const), at: position, byte: fc.nat(255) }),
  fc.record({ kind: fc.constant('cut' as const), at: position, length: fc.nat(40) }),
  fc.record({
    kind: fc.constant('put' as const),
    at: position,
    text: fc.oneof(lively, fc.string({ unit: 'binary', maxLength: 8 })),
  }),
  fc.record({
    kind: fc.constant('repeat' as const),
    at: position,
    length: fc.integer({ min: 1, max: 60 }),
    times: fc.nat(20),
  }),
  fc.record({ kind: fc.constant('end' as const), at: position }),
);

type Mutation = typeof mutation extends fc.Arbitrary<infer Each> ? Each : never;

function mutated(bytes: Buffer, change: Mutation): Buffer {
  const at = Math.min(change.at, bytes.length);
  const head = bytes.subarray(0, at);
  switch (change.kind) {
    case 'flip':
      return Buffer.concat([head, Buffer.from([change.byte]), bytes.subarray(at + 1)]);
    case 'cut':
      return Buffer.concat([head, bytes.subarray(at + change.length)]);
    case 'put':
      return Buffer.concat([head, Buffer.from(change.text), bytes.subarray(at)]);
    case 'repeat':
      return Buffer.concat([
        head,
        ...Array.from({ length: change.times }, () => bytes.subarray(at, at + change.length)),
        bytes.subarray(at),
      ]);
    case 'end':
      return head;
  }
}

describe('hostile: mutations of a bench', () => {
  test('law: whatever is changed, problems at places within the file, soon', () => {
    const law = fc.property(fc.array(mutation, { minLength: 1, maxLength: 6 }), (changes) => {
      holdsFor(changes.reduce(mutated, sampleBytes), hangMilliseconds);
    });
    fc.assert(law, { seed: 20261125, numRuns: 4000 });
  });
  test('law: so with any bytes, and with any text of YAML’s own signs', () => {
    const signs = fc.string({ unit: fc.constantFrom(...'{}[],:&*!|>\'"%@#?- \n\tab'), maxLength: 60 });
    const anything = fc.oneof(
      fc.uint8Array({ maxLength: 200 }),
      signs.map((text) => Buffer.from(text)),
    );
    fc.assert(
      fc.property(anything, (bytes) => holdsFor(bytes, hangMilliseconds)),
      { seed: 20261125, numRuns: 4000 },
    );
  });
  test('the unbroken sample is among them: its mistakes are only those put in', () => {
    const codes = new Set(mistakesInBytes(sampleBytes).map(({ code }) => code));
    expect([...codes].sort()).toEqual(['tag', 'unknown-key']);
  });
});

describe('hostile: a megabyte of one thing', () => {
  const size = 1024 * 1024;
  const fill = (text: string): string => text.repeat(Math.floor(size / text.length));
  test.each([
    '[',
    '{',
    '- ',
    '? ',
    '{a: ',
    '[x\n',
    'a: ',
    ']',
    '[]',
    ',',
    '&a ',
    '!a ',
    '- *a\n',
    '---\n',
    '%a\n',
    '"',
    "'",
    ': ',
    '#\n',
    '\n',
    ' ',
    '\t',
    '\r',
    'k:\n',
    '? a\n',
    '"a" ',
    'x',
    '9',
    '\\',
    '- a\n',
    '<<: ',
    '\u{1F6D2}',
    '|\n ',
    '"\n',
  ])('%j', (text) => holdsFor(Buffer.from(fill(text)), hangLargeMilliseconds));

  test.each(['[', '{a: ', '"', "'", 'a: "', '- '])('%j and then that many of anything else', (opening) => {
    for (const text of ['[]', 'a,', '\\n', '9', ' ', '\n', 'x '])
      holdsFor(Buffer.from((opening + fill(text)).slice(0, size)), hangLargeMilliseconds);
  });

  test('as many different keys as fit', () => {
    const keys = Array.from({ length: size / 9 }, (_, index) => `k${String(index).padStart(6, '0')}:`).join('\n');
    holdsFor(Buffer.from(keys), hangLargeMilliseconds);
    const fewer = Array.from({ length: 15_000 }, (_, index) => `nuetral${index}: 1`).join('\n');
    holdsFor(
      Buffer.from(`controllers: { left: { pulse: { ${fewer.replaceAll('\n', ', ')} } } }\n`),
      hangLargeMilliseconds,
    );
  });
  test('as deep an indentation as fits', () => {
    holdsFor(
      Buffer.from(Array.from({ length: 1400 }, (_, index) => `${' '.repeat(index)}a:`).join('\n')),
      hangLargeMilliseconds,
    );
  });
});

describe('hostile: limits', () => {
  const codesOf = (text: string): string[] => [...new Set(mistakesInBytes(Buffer.from(text)).map(({ code }) => code))];
  const nested = (depth: number): string => `note: ${'['.repeat(depth)}${']'.repeat(depth)}\n`;

  test('sixty levels are read, more than 64 are not, shown where the last one opens', () => {
    expect(codesOf(nested(60))).not.toContain('too-deep');
    expect(codesOf(nested(65))).toEqual(['too-deep']);
    const [problem] = mistakesInBytes(Buffer.from(nested(1000)));
    expect(problem!.column).toBeGreaterThan(60);
    expect(problem!.column).toBeLessThan(75);
  });
  test('levels that come by aliases count as well', () => {
    const lines = Array.from({ length: 100 }, (_, index) => `l${index + 1}: &l${index + 1} [*l${index}]`);
    expect(codesOf(`l0: &l0 x\n${lines.join('\n')}\n`)).toEqual(['too-deep']);
  });
  test('levels that come by overrides count as well', () => {
    const path = Array.from({ length: 40 }, () => 'a').join('.');
    expect(codesOf(`a: 1\nwith: { x.${path}: { a: ${'['.repeat(40)}${']'.repeat(40)} } }\n`)).toContain('too-deep');
  });
  test('of broken lines twenty are told, of wrong values a thousand', () => {
    expect(mistakesInBytes(Buffer.from('a: ]\n'.repeat(100)))).toHaveLength(20);
    expect(mistakesInBytes(Buffer.from(`note: [${'1, '.repeat(5000)}]\n`))).toHaveLength(1000);
  });
});

describe('hostile: copies of copies', () => {
  test('aliases that would unfold to 10^30 values', () => {
    const lines = Array.from(
      { length: 30 },
      (_, index) => `l${index + 1}: &l${index + 1} [${Array(10).fill(`*l${index}`).join(', ')}]`,
    );
    const bomb = Buffer.from(`l0: &l0 x\n${lines.join('\n')}\n`);
    expect(mistakesInBytes(bomb).map(({ code }) => code)).toEqual(['too-much']);
    holdsFor(bomb, hangMilliseconds);
  });
  test('aliases that would nest to a depth of thousands', () => {
    const lines = Array.from({ length: 5000 }, (_, index) => `l${index + 1}: &l${index + 1} [*l${index}]`);
    const bomb = Buffer.from(`l0: &l0 x\n${lines.join('\n')}\n`);
    expect(mistakesInBytes(bomb).map(({ code }) => code)).toEqual(['too-much']);
  });
});
