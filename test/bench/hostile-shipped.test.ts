/**
 * The shipped files broken by chance, through the whole way of a scenario: reading, bench, script, expectations, and
 * where all that is still right, a short run. Never an exception, never a hang, and each problem at a place of its file.
 */
import { cpSync, mkdtempSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { printProblems } from '../../sim/bench/print.ts';
import type { Problem } from '../../sim/bench/problem.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';

const seed = 20261125;
const shipped = 'scenarios/orchard-cart';
const benchBytes = readFileSync(join(shipped, 'bench.yaml'));
const scenarioBytes = readdirSync(shipped)
  .filter((file) => file.endsWith('.yaml') && file !== 'bench.yaml')
  .sort()
  .map((file) => readFileSync(join(shipped, file)));

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
  // With all that the files name, such as images.
  cpSync(shipped, folder, { recursive: true });
});

/** What a run that starts at all may take of simulated time: some mutations ask for hours. */
const RUN_SECONDS = 0.15;
/** Guards against hanging, in processor time; the figures are in test/speed. */
const LOAD_MILLISECONDS = 1000;
const RUN_MILLISECONDS = 5000;

const counts = { loaded: 0, refused: 0 };

/** Loads a pair of files and, where it is still one, runs it. */
function tried(bench: Uint8Array, scenario: Uint8Array): readonly Problem[] {
  writeFileSync(join(folder, 'bench.yaml'), bench);
  writeFileSync(join(folder, 'scenario.yaml'), scenario);
  const before = process.cpuUsage();
  const { value, problems } = loadScenario(join(folder, 'scenario.yaml'));
  const printed = printProblems(problems);
  expect(millisecondsSince(before)).toBeLessThan(LOAD_MILLISECONDS);
  expect(printed).not.toMatch(/[^\P{Cc}\n]/u);
  placesAreInside(problems, { 'bench.yaml': bench, 'scenario.yaml': scenario });
  if (value === undefined) {
    counts.refused += 1;
    expect(problems.some(({ severity }) => severity === 'error')).toBe(true);
    return problems;
  }
  counts.loaded += 1;
  const start = process.cpuUsage();
  const run = runScenario({ ...value, durationSeconds: Math.min(value.durationSeconds, RUN_SECONDS) });
  expect(millisecondsSince(start)).toBeLessThan(RUN_MILLISECONDS);
  expect(run.digest).toMatch(/\S/);
  return problems;
}

function millisecondsSince(start: NodeJS.CpuUsage): number {
  const { user, system } = process.cpuUsage(start);
  return (user + system) / 1000;
}

function placesAreInside(problems: readonly Problem[], files: Readonly<Record<string, Uint8Array>>): void {
  for (const { file, line, column, excerpt } of problems) {
    if (excerpt === undefined) continue;
    const bytes = Object.entries(files).find(([name]) => file.endsWith(name))?.[1];
    // A mutation may name another bench, which is then not there.
    if (bytes === undefined) continue;
    const lines = new TextDecoder().decode(bytes).split('\n');
    expect(line).toBeLessThanOrEqual(lines.length);
    expect(lines[line - 1]).toContain(excerpt.text);
    expect(column).toBeLessThanOrEqual(lines[line - 1]!.length + 1);
  }
}

const numbers = [
  '0',
  '-1',
  '1e308',
  '1e999',
  '-1e-300',
  '.nan',
  '.inf',
  '9007199254740993',
  '0x10',
  '1_000',
  '٣',
  '1,5',
];
const words = [
  'null',
  'true',
  '~',
  '""',
  '[]',
  '{}',
  '[[1]]',
  'left',
  'x',
  '__proto__',
  'constructor',
  '*a',
  '&a',
  '!!str',
  '|',
  '>-',
];
const units = ['V', 'us', 'ms', 's', 'h', 'A', '%', 'm', 'Hz', 'kg', 'ohm', '± 300 %', '± 1 V', '+/- 5'];

type Change = (text: Buffer, at: number, extra: number) => Buffer;

const splice = (text: Buffer, at: number, length: number, put: string | Buffer): Buffer =>
  Buffer.concat([text.subarray(0, at), typeof put === 'string' ? Buffer.from(put) : put, text.subarray(at + length)]);

/** The `index`-th match of a pattern, counted round. */
function replacedMatch(text: Buffer, pattern: RegExp, index: number, put: string): Buffer {
  const body = text.toString('latin1');
  const matches = [...body.matchAll(pattern)];
  const match = matches[index % Math.max(1, matches.length)];
  if (match === undefined) return text;
  return splice(text, match.index, match[0].length, put);
}

const pick = <T>(list: readonly T[], index: number): T => list[index % list.length]!;

const changes: Readonly<Record<string, Change>> = {
  flip: (text, at, extra) => splice(text, at, 1, Buffer.from([extra % 256])),
  cut: (text, at, extra) => splice(text, at, extra % 40, ''),
  end: (text, at) => text.subarray(0, at),
  'swap lines': (text, at, extra) => {
    const lines = text.toString('latin1').split('\n');
    const [one, other] = [at % lines.length, extra % lines.length];
    [lines[one], lines[other]] = [lines[other]!, lines[one]!];
    return Buffer.from(lines.join('\n'), 'latin1');
  },
  'repeat a line': (text, at) => {
    const lines = text.toString('latin1').split('\n');
    lines.splice(at % lines.length, 0, lines[at % lines.length]!);
    return Buffer.from(lines.join('\n'), 'latin1');
  },
  'another number': (text, at, extra) => replacedMatch(text, /\d+(\.\d+)?/g, at, pick(numbers, extra)),
  'a slightly different number': (text, at, extra) =>
    replacedMatch(
      text,
      /\d+(\.\d+)?/g,
      at,
      pick(['1', '2', '7', '40', '63', '255', '900', '4096', '0.5', '0.01'], extra),
    ),
  'another unit': (text, at, extra) => replacedMatch(text, /(?<=\d )[A-Za-z%]+/g, at, pick(units, extra)),
  'another value': (text, at, extra) => replacedMatch(text, /(?<=: )[^,{}[\]\n]+/g, at, pick(words, extra)),
  'an entry left out': (text, at) => replacedMatch(text, /, [a-z-]+: [^,{}[\]\n]+(?=[,}])/g, at, ''),
  'another key': (text, at, extra) => replacedMatch(text, /[a-z-]+(?=:)/g, at, pick(words, extra)),
  'deep nesting': (text, at, extra) => splice(text, at, 0, pick(['{a: ', '[', '- '], extra).repeat(extra % 3000)),
  'copies of copies': (text, _at, extra) => {
    const lines = Array.from(
      { length: 12 },
      (_, index) => `l${index + 1}: &l${index + 1} [${Array(9).fill(`*l${index}`).join(', ')}]`,
    );
    return Buffer.concat([text, Buffer.from(`\nl0: &l0 x\n${lines.slice(0, extra % 13).join('\n')}\n`)]);
  },
  bytes: (text, at, extra) =>
    splice(text, at, 0, Buffer.from([extra % 256, 0xff, 0x00, 0xc0, 0x80].slice(0, 1 + (extra % 5)))),
};

const change = fc.record({
  kind: fc.constantFrom(...Object.keys(changes)),
  at: fc.nat(4000),
  extra: fc.nat(100_000),
});
type Chosen = typeof change extends fc.Arbitrary<infer Each> ? Each : never;

const applied = (bytes: Buffer, list: readonly Chosen[]): Buffer =>
  list.reduce((text, { kind, at, extra }) => changes[kind]!(text, Math.min(at, text.length), extra), bytes);

describe('hostile: the shipped files', () => {
  test('unbroken, all of them load and run', () => {
    for (const scenario of scenarioBytes)
      expect(tried(benchBytes, scenario).filter(({ severity }) => severity === 'error')).toEqual([]);
  });

  const several = fc.array(change, { minLength: 1, maxLength: 4 });
  const whichScenario = fc.nat(scenarioBytes.length - 1);

  test('law: whatever becomes of the scenario, it is refused at a place or it runs', () => {
    const law = fc.property(whichScenario, several, (which, list) => {
      tried(benchBytes, applied(scenarioBytes[which]!, list));
    });
    fc.assert(law, { seed, numRuns: 1000 });
  }, 120_000);

  test('law: whatever becomes of the bench, it is refused at a place or it runs', () => {
    const law = fc.property(whichScenario, several, (which, list) => {
      tried(applied(benchBytes, list), scenarioBytes[which]!);
    });
    fc.assert(law, { seed, numRuns: 1000 });
  }, 120_000);

  test('law: one number changed, which most often still is a bench, is refused or runs', () => {
    const one = fc.record({
      kind: fc.constantFrom('a slightly different number', 'another unit', 'another number'),
      at: fc.nat(4000),
      extra: fc.nat(100_000),
    });
    const law = fc.property(whichScenario, one, (which, chosen) => {
      tried(applied(benchBytes, [chosen]), scenarioBytes[which]!);
    });
    fc.assert(law, { seed, numRuns: 600 });
  }, 120_000);

  afterAll(() => {
    // Were nearly all refused at the first look, or nearly none, the laws would say little.
    expect(counts.loaded).toBeGreaterThan(200);
    expect(counts.refused).toBeGreaterThan(800);
  });
});
