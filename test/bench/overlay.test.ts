/** Overrides of a scenario laid over a bench. */
import { describe, expect, test } from 'vitest';
import { resolveLikes } from '../../sim/bench/like.ts';
import { overlay } from '../../sim/bench/overlay.ts';
import { plainOf, type TreeMap } from '../../sim/bench/tree.ts';
import { mistakesIn, placesOf, sampleText, treeOfText, unmarked } from './sample.ts';

function laidOver(bench: string, overrides: string): unknown {
  const { tree, problems } = overlay(treeOfText(bench), treeOfText(overrides));
  expect(problems).toEqual([]);
  return plainOf(resolveLikes(tree).tree);
}

/** Mistakes of overrides over the sample, after checking that all are told in the scenario, at its marks. */
function inScenario(marked: string): string[] {
  const { text, places } = unmarked(marked);
  const problems = mistakesIn(sampleText, text);
  expect(placesOf(problems)).toEqual(places);
  expect(problems.every(({ file }) => file === 'scenario.yaml')).toBe(true);
  return problems.map(({ code }) => code);
}

describe('overlay: values', () => {
  test('replace values and lists, and merge maps', () => {
    expect(laidOver('a: { b: 1, c: [1, 2], d: { e: 1, f: 2 } }', 'a.b: 9\na.c: [3]\na.d: { e: 5 }\n')).toEqual({
      a: { b: 9, c: [3], d: { e: 5, f: 2 } },
    });
  });
  test('are added where nothing was, down to any depth', () => {
    expect(laidOver('a: 1\nb:\n', 'x.y.z: 2\nb.c: 3\n')).toEqual({ a: 1, b: { c: 3 }, x: { y: { z: 2 } } });
  });
  test('reach into a list by index', () => {
    expect(laidOver('a: [1, { b: 2 }]', 'a.1.b: 3\na.0: 7\n')).toEqual({ a: [7, { b: 3 }] });
  });
  test('of an original reach its copies; those of a copy stay with it', () => {
    expect(laidOver('left: { p: { n: 1, f: 2 } }\nright: { like: left }\n', 'left.p.f: 8\nright.p.n: 9\n')).toEqual({
      left: { p: { n: 1, f: 8 } },
      right: { p: { n: 9, f: 8 } },
    });
  });
  test('leave the bench itself as it was', () => {
    const bench = treeOfText('a: { b: 1 }');
    overlay(bench, treeOfText('a.b: 2'));
    expect(plainOf(bench)).toEqual({ a: { b: 1 } });
  });
  test('another kind replaces the whole map', () => {
    expect(laidOver('f: { kind: law, every: 1 }', 'f: { kind: image, file: x }')).toEqual({
      f: { kind: 'image', file: 'x' },
    });
  });
});

describe('overlay: mistakes are shown in the scenario', () => {
  test('a value that the schema refuses', () =>
    expect(inScenario('with: { board.clock: «1500» }\n')).toEqual(['quantity']));
  test('a part’s own rule', () => expect(inScenario('with:\n  board.pwm.prescaler: «200»\n')).toEqual(['refused']));
  test('an item of a list', () => expect(inScenario('with: { board.output: [47, «x»] }\n')).toEqual(['wrong-type']));
  test('a key that the schema does not know, at its step of the path', () => {
    expect(inScenario('with: { controllers.right.pulse.«nuetral»: 1500 us }\n')).toEqual(['unknown-key']);
    expect(inScenario('with: { "board.«bosrd».x": 1 }\n')).toEqual(['unknown-key']);
  });
  test('a path through a value', () =>
    expect(inScenario('with: { board.clock.«fast».x: 1 }\n')).toEqual(['override-into-value']));
  test('an item that is not there', () =>
    expect(inScenario('with: { board.output.«2»: 1, board.output.«first»: 1 }\n')).toEqual([
      'override-item',
      'override-item',
    ]));
  test('a path that is none', () =>
    expect(inScenario('with: { «board..clock»: 1, «.»: 2, «a.__proto__.b»: 3 }\n')).toEqual([
      'override-path',
      'override-path',
      'override-path',
    ]));
  test('a thousand levels', () =>
    expect(inScenario(`with: { «${'a.'.repeat(400)}a»: 1 }\n`)).toEqual(['override-path']));
});

describe('overlay: a gap in a merged map', () => {
  test('is the bench’s, though the scenario spoke of the map', () => {
    const { text, places } = unmarked(sampleText.replace('    pulse', '    «pulse»').replace('full: 2000 us, ', ''));
    const problems = mistakesIn(text, 'with: { controllers.left.pulse: { neutral: 1510 us } }\n');
    expect(problems.map(({ file, code }) => [file, code])).toEqual([['bench.yaml', 'missing-key']]);
    expect(placesOf(problems)).toEqual(places);
  });
});

describe('overlay: size', () => {
  test('what would be too deep with the bench’s own levels is refused, and the bench stays', () => {
    const bench = treeOfText('a: 1');
    const deep = `${'x.'.repeat(40)}x: ${'['.repeat(40)}${']'.repeat(40)}\n`;
    const { tree, problems } = overlay(bench, treeOfText(deep));
    expect(problems.map(({ code }) => code)).toEqual(['too-deep']);
    expect(tree).toBe(bench);
  });
  test('what would grow past the limit is refused', () => {
    const wide = Array.from({ length: 1001 }, (_, index) => `k${index}: 1`).join('\n');
    expect(overlay(treeOfText('a: 1') as TreeMap, treeOfText(wide)).problems.map(({ code }) => code)).toEqual([
      'too-much',
    ]);
  });
});
