/** Pictures of charts: all states and transitions are there, nothing covers what is to be read, no name breaks them. */
import { spawnSync } from 'node:child_process';
import { describe, expect, test } from 'vitest';
import { createMachine } from 'xstate';
import { partKinds } from '../../models/index.ts';
import { type Box, type ChartLayout, layoutOf } from '../../sim/chart/layout.ts';
import { svgOf } from '../../sim/chart/svg.ts';
import { tableOf } from '../../sim/chart/table.ts';

const machines = [...new Set(partKinds.map(({ chart }) => chart))].map((machine) => [machine.id, machine] as const);
const hasXmllint = spawnSync('xmllint', ['--version']).error === undefined;

/** What an independent reader of XML finds. */
function valuesBy(xpath: string, svg: string): string[] {
  const { stdout, stderr, status } = spawnSync('xmllint', ['--xpath', xpath, '-'], { input: svg, encoding: 'utf8' });
  // Status 10: nothing was found.
  expect({ stderr: status === 10 ? '' : stderr, isRead: status === 0 || status === 10 }).toEqual({
    stderr: '',
    isRead: true,
  });
  return [...stdout.matchAll(/="([^"]*)"/g)].map(([, value]) => value!);
}

function overlaps(one: Box, other: Box): boolean {
  return (
    one.x < other.x + other.width &&
    other.x < one.x + one.width &&
    one.y < other.y + other.height &&
    other.y < one.y + one.height
  );
}

function contains(outer: Box, inner: Box): boolean {
  return (
    inner.x >= outer.x &&
    inner.y >= outer.y &&
    inner.x + inner.width <= outer.x + outer.width &&
    inner.y + inner.height <= outer.y + outer.height
  );
}

/** What a reader could not read: words over words, over boxes that do not hold them, or over a box's edge. */
function unreadable({ states, arrows, marks }: ChartLayout): string[] {
  const leaves = states.filter(({ isCompound }) => !isCompound);
  const texts = [
    ...states.flatMap(({ name, title, stays }) => [
      { ...title, says: `title of ${name}`, home: name },
      ...stays.map((line) => ({ ...line, says: line.text, home: name })),
    ]),
    ...arrows.flatMap(({ lines }) => lines.map((line) => ({ ...line, says: line.text, home: '' }))),
  ];
  return texts.flatMap((text, index) => [
    ...texts.slice(index + 1).flatMap((other) => (overlaps(text, other) ? [`${text.says} over ${other.says}`] : [])),
    ...leaves.flatMap((leaf) =>
      leaf.name !== text.home && overlaps(text, leaf) ? [`${text.says} over the box ${leaf.name}`] : [],
    ),
    ...states.flatMap((state) =>
      overlaps(text, state) && !contains(state, text) ? [`${text.says} over the edge of ${state.name}`] : [],
    ),
    ...marks.flatMap((mark) => (overlaps(text, mark) ? [`${text.says} over the mark of ${mark.of}`] : [])),
  ]);
}

describe.each(machines)('charts: SVG: %s', (_, machine) => {
  const { leaves, transitions } = tableOf(machine);

  test.runIf(hasXmllint)('well-formed; states and transitions are those of the chart', async () => {
    const svg = await svgOf(machine, machine.id, 'about');
    expect(valuesBy('//*[@class="state"]/@data-state', svg).sort()).toEqual([...leaves].sort());
    const indices = valuesBy('//*[@data-transition]/@data-transition', svg).map(Number);
    expect(indices.sort((a, b) => a - b)).toEqual(transitions.map((_one, index) => index));
  });

  test('each move is words on an arrow from its state to its target, and each state with states starts in one', async () => {
    const { arrows, states } = await layoutOf(machine);
    const whole = states[0]!.name;
    const known = new Set(states.map(({ name }) => name));
    for (const [index, { from, to }] of transitions.entries()) {
      const arrow = arrows.find((one) => one.transitions.includes(index));
      expect(arrow && { from: arrow.from, to: arrow.to }).toEqual(
        to === undefined ? undefined : { from: from === '' ? whole : from, to },
      );
      if (arrow !== undefined) expect(arrow.points.length).toBeGreaterThan(1);
    }
    const starts = arrows.filter((arrow) => arrow.transitions.length === 0);
    for (const { from, to } of starts) expect([from === '' || known.has(from), known.has(to)]).toEqual([true, true]);
    for (const { name, isCompound } of states) {
      expect(starts.filter(({ from }) => from === name)).toHaveLength(isCompound ? 1 : 0);
    }
  });

  test('no words lie over other words, over a box or over an edge of one', async () => {
    expect(unreadable(await layoutOf(machine))).toEqual([]);
    expect(unreadable(await layoutOf(machine, () => '(1234567x)'))).toEqual([]);
  });

  test('nested states lie inside of the state that they belong to, all of it inside of the picture', async () => {
    const { states, arrows, width, height } = await layoutOf(machine);
    for (const state of states) {
      const parent = states.find(({ name }) => name === state.name.slice(0, Math.max(0, state.name.lastIndexOf('.'))));
      if (parent !== undefined) expect(contains(parent, state)).toBe(true);
      expect(contains({ x: 0, y: 0, width, height }, state)).toBe(true);
    }
    for (const { x, y } of arrows.flatMap(({ points }) => points)) {
      expect([x >= 0, y >= 0, x <= width, y <= height]).toEqual([true, true, true, true]);
    }
  });
});

describe('charts: SVG: coverage', () => {
  const machine = machines.find(([id]) => id === 'board')![1];

  test('what was taken is told apart from what never was, also in words', async () => {
    const { transitions } = tableOf(machine);
    const taken = transitions.map((_, index) => (index === 0 ? 3 : 0));
    const svg = await svgOf(machine, 'board', 'about', taken);
    expect(svg).toMatch(/<text class="words taken" data-transition="0"[^>]*>[^<]*\(3x\)<\/text>/);
    expect(svg.match(/class="words never" .*\(never\)/g)).toHaveLength(transitions.length - 1);
    expect(svg).toContain(`class="state reached" data-state="${transitions[0]!.to}`);
    expect(svg).toContain('class="state missed"');
  });

  test('same chart, same bytes', async () => {
    expect(await svgOf(machine, 'a', 'b')).toBe(await svgOf(machine, 'a', 'b'));
  });
});

describe('charts: SVG: hostile names', () => {
  test.runIf(hasXmllint)('stay text, whatever is in them', async () => {
    const hostile = '</text><script>alert(1)</script> & "\' \u0000\u0007 \ud800';
    const machine = createMachine({
      id: hostile,
      initial: 'a',
      states: { a: { on: { [`go ${hostile}`]: `b<${hostile}` } }, [`b<${hostile}`]: {} },
    });
    const svg = await svgOf(machine, hostile, hostile);
    expect(valuesBy('//*[@data-state]/@data-state', svg)).toHaveLength(2);
    expect(valuesBy('//*[local-name()="script"]/@x', svg)).toEqual([]);
    expect(svg).not.toContain('<script');
  });
});
