/** `like: left`: copies of siblings. */
import { describe, expect, test } from 'vitest';
import { resolveLikes } from '../../sim/bench/like.ts';
import { plainOf } from '../../sim/bench/tree.ts';
import { changed, mistakesIn, placesOf, treeOfText, unmarked } from './sample.ts';

function resolved(text: string): unknown {
  const { tree, problems } = resolveLikes(treeOfText(text));
  expect(problems).toEqual([]);
  return plainOf(tree);
}

/** Codes of what is wrong with a marked text, after checking that it is wrong at the marks. */
function wrongAt(marked: string): string[] {
  const { text, places } = unmarked(marked);
  const { problems } = resolveLikes(treeOfText(text));
  expect(placesOf(problems)).toEqual(places);
  return problems.map(({ code }) => code);
}

describe('like: copies', () => {
  test('own keys win, maps are merged at each level, lists and values are replaced', () => {
    expect(
      resolved(
        'm:\n  left: { a: 1, deep: { x: 1, y: { p: 1, q: 2 } }, list: [1, 2] }\n  right: { like: left, b: 3, deep: { y: { p: 9 } }, list: [7] }\n',
      ),
    ).toMatchObject({ m: { right: { a: 1, b: 3, deep: { x: 1, y: { p: 9, q: 2 } }, list: [7] } } });
  });
  test('of a sibling further down, and of a copy', () => {
    expect(resolved('a: { like: b, n: 1 }\nb: { like: c, m: 2 }\nc: { m: 1, n: 0, o: 3 }\n')).toEqual({
      a: { n: 1, m: 2, o: 3 },
      b: { n: 0, m: 2, o: 3 },
      c: { n: 0, m: 1, o: 3 },
    });
  });
  test('within a copy find the siblings that were copied', () => {
    expect(resolved('left: { a: { n: 1 } }\nright: { like: left, b: { like: a } }\n')).toMatchObject({
      right: { a: { n: 1 }, b: { n: 1 } },
    });
  });
  test('a map of another kind below replaces, as the old keys would mean nothing in it', () => {
    expect(
      resolved('left: { f: { kind: law, every: 1 } }\nright: { like: left, f: { kind: image, file: x } }\n'),
    ).toMatchObject({
      right: { f: { kind: 'image', file: 'x' } },
    });
  });
  test('leave the tree as it is where nothing is copied', () => {
    const tree = treeOfText('a: { b: [{ c: 1 }] }\n');
    expect(resolveLikes(tree).tree).toBe(tree);
  });
});

describe('like: mistakes', () => {
  test('a sibling that is not there, with the nearest', () => {
    expect(wrongAt('m:\n  left: { a: 1 }\n  right: { like: «lfet» }\n  size: 3\n')).toEqual(['like-unknown']);
    const [problem] = resolveLikes(treeOfText('left: { a: 1 }\nright: { like: lfet }\nsize: 3\n')).problems;
    expect(problem!.facts).toEqual({ path: 'right.like', written: 'lfet', allowed: ['left'], nearest: 'left' });
  });
  test('a sibling that is no map', () =>
    expect(wrongAt('left: [1]\nright: { like: «left» }\n')).toEqual(['like-no-map']));
  test('something that is no name', () =>
    expect(wrongAt('left: {}\nright: { like: «[left]» }\n')).toEqual(['like-unknown']));
  test('itself', () => expect(wrongAt('left: { like: «left» }\n')).toEqual(['like-cycle']));
  test('a ring, told where it closes', () => {
    expect(wrongAt('a: { like: b }\nb: { like: c }\nc: { like: «a» }\n')).toEqual(['like-cycle']);
    const [problem] = resolveLikes(treeOfText('a: { like: b }\nb: { like: c }\nc: { like: a }\n')).problems;
    expect(problem!.facts).toEqual({ names: ['a', 'b', 'c', 'a'] });
  });
  test('do not make further ones of the keys that were not copied', () => {
    expect(mistakesIn(changed(['like: left', 'like: lfet'])).map(({ code }) => code)).toEqual(['like-unknown']);
    const ring = mistakesIn(changed(['{ like: left }', '{ like: rear }\n  rear: { like: right }']));
    expect(ring.map(({ code }) => code)).toEqual(['like-cycle']);
  });
});

describe('like: size', () => {
  test('doubling at each of 30 levels is refused without being carried out', () => {
    const nested = (depth: number): string =>
      depth === 0 ? '{ v: 1 }' : `{ y: ${nested(depth - 1)}, x: { like: y } }`;
    const { problems } = resolveLikes(treeOfText(`a: ${nested(30)}\n`));
    expect(problems.map(({ code }) => code)).toEqual(['too-much']);
  });
  test('many copies of a large map are refused', () => {
    const large = Array.from({ length: 3000 }, (_, index) => `  k${index}: 1`).join('\n');
    const copies = Array.from({ length: 3000 }, (_, index) => `c${index}: { like: a }`).join('\n');
    const { problems } = resolveLikes(treeOfText(`a:\n${large}\n${copies}\n`));
    expect(problems.map(({ code }) => code)).toEqual(['too-much']);
  });
  test('a chain of thousands is refused', () => {
    const chain = Array.from({ length: 3000 }, (_, index) => `c${index}: { like: c${index + 1} }`).join('\n');
    const { problems } = resolveLikes(treeOfText(`${chain}\nc3000: {}\n`));
    expect(problems[0]!.code).toBe('too-deep');
  });
});

describe('like: a mistake in what is copied', () => {
  test('is told once, where it is written', () => {
    const { text, places } = unmarked(changed(['1500 us', '«1500»']));
    expect(placesOf(mistakesIn(text))).toEqual(places);
  });
  test('a gap is told once, in the original', () => {
    const { text, places } = unmarked(changed(['    pulse', '    «pulse»'], ['full: 2000 us, ', '']));
    const problems = mistakesIn(text);
    expect(placesOf(problems)).toEqual(places);
    expect(problems[0]!.facts).toMatchObject({ path: 'controllers.left.pulse.full' });
  });
  test('and one in the copy’s own keys is shown there', () => {
    const { text, places } = unmarked(changed(['like: left', 'like: left, pulse: { neutral: «1500 V» }']));
    const problems = mistakesIn(text);
    expect(placesOf(problems)).toEqual(places);
    expect(problems[0]!.facts).toMatchObject({ path: 'controllers.right.pulse.neutral' });
  });
});
