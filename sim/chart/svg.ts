/**
 * A chart as an SVG picture that needs nothing from outside and follows the reader's choice of light or dark. With counts
 * of what was taken, states that were reached are shaded, and what was never taken is drawn broken and faint; the words
 * say so as well, so that no colour says anything alone.
 */
import type { AnyStateMachine } from 'xstate';
import {
  type Box,
  type ChartLayout,
  type LaidArrow,
  type LaidLine,
  type LaidState,
  layoutOf,
  linePixels,
  type Point,
  titlePixels,
} from './layout.ts';
import { reachedLeaves } from './outline.ts';
import { xmlText } from './xml.ts';

const HEAD_HEIGHT = 34;
const CORNER = 6;
/** From the upper edge of a line of text to where its letters stand. */
const ASCENT = 0.95;

const style = `
  :root { color-scheme: light dark; --paper: #fbfaf7; --ink: #22241f; --faint: #6b6e66; --frame: #00000008; --state: #f0eee6; --line: #55584f; --reached: #cfe8d5; --taken: #1d6b3c; }
  @media (prefers-color-scheme: dark) {
    :root { --paper: #191b18; --ink: #e6e5df; --faint: #a0a39a; --frame: #ffffff08; --state: #2b2e29; --line: #a8aba1; --reached: #234a33; --taken: #7bcf97; }
  }
  text { font-family: ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace; font-size: ${linePixels}px; fill: var(--ink); white-space: pre; }
  .title { font-size: ${titlePixels}px; font-weight: 600; }
  .paper { fill: var(--paper); }
  .state { fill: var(--state); stroke: var(--line); stroke-width: 1.2; }
  .state.compound { fill: var(--frame); }
  .state.reached { fill: var(--reached); stroke: var(--taken); }
  .state.missed { stroke-dasharray: 5 4; }
  .arrow { fill: none; stroke: var(--line); stroke-width: 1.3; }
  .arrow.taken { stroke: var(--taken); stroke-width: 1.8; }
  .arrow.never { stroke-dasharray: 5 4; }
  .head { fill: var(--line); }
  .head.taken { fill: var(--taken); }
  .start { fill: var(--ink); }
  .anywhere { fill: var(--paper); stroke: var(--line); stroke-width: 1.3; }
  text.never { fill: var(--faint); }
  text.taken { fill: var(--taken); }
  .words { paint-order: stroke; stroke: var(--paper); stroke-width: 3px; stroke-linejoin: round; }
`;

/** `heading` stands above the picture: whose chart this is; `about` beside it. */
export async function svgOf(
  machine: AnyStateMachine,
  heading: string,
  about: string,
  taken?: ArrayLike<number>,
): Promise<string> {
  const layout = await layoutOf(machine, (index) =>
    taken === undefined ? '' : taken[index]! > 0 ? `(${taken[index]}x)` : '(never)',
  );
  return drawn(layout, { heading, about }, taken, taken === undefined ? undefined : reachedLeaves(machine, taken));
}

/** The picture of a layout. */
export function drawn(
  layout: ChartLayout,
  { heading, about }: { readonly heading: string; readonly about: string },
  taken: ArrayLike<number> | undefined,
  reached: ReadonlySet<string> | undefined,
): string {
  const headWidth = Math.ceil((heading.length * titlePixels + (about.length + 4) * linePixels) * 0.62) + 32;
  const width = Math.ceil(Math.max(layout.width, headWidth));
  const height = Math.ceil(layout.height) + HEAD_HEIGHT;
  const coverage = (transitions: readonly number[]): string =>
    taken === undefined || transitions.length === 0
      ? ''
      : transitions.some((index) => taken[index]! > 0)
        ? ' taken'
        : ' never';
  const words = (line: LaidLine): string =>
    `<text class="words${coverage([line.index])}" data-transition="${line.index}" x="${round(line.x)}" y="${round(line.y + linePixels * ASCENT)}">${xmlText(line.text)}</text>`;
  return [
    '<?xml version="1.0" encoding="UTF-8"?>',
    `<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 ${width} ${height}" width="${width}" height="${height}">`,
    `<title>${xmlText(`Statechart of ${heading}`)}</title>`,
    ...(about === '' ? [] : [`<desc>${xmlText(about)}</desc>`]),
    `<style>${style}</style>`,
    `<rect class="paper" width="${width}" height="${height}"/>`,
    `<text class="title" x="16" y="24">${xmlText(heading)}<tspan dx="24" font-size="${linePixels}" font-weight="400">${xmlText(about)}</tspan></text>`,
    `<g transform="translate(0 ${HEAD_HEIGHT})">`,
    ...layout.states.map((state) => stateShape(state, reached)),
    ...layout.arrows.map((arrow) => arrowShape(arrow, coverage(arrow.transitions))),
    ...layout.marks.map(({ kind, of, ...box }) => {
      const says = kind === 'start' ? '' : '<title>in any mode</title>';
      return `<circle class="${kind}" data-of="${xmlText(of)}" cx="${round(box.x + box.width / 2)}" cy="${round(box.y + box.height / 2)}" r="${box.width / 2}">${says}</circle>`;
    }),
    ...layout.states.flatMap(({ title, stays }) => [titleWords(title), ...stays.map(words)]),
    ...layout.arrows.flatMap(({ lines }) => lines.map(words)),
    '</g>',
    '</svg>',
    '',
  ].join('\n');
}

function stateShape({ name, isCompound, ...box }: LaidState, reached: ReadonlySet<string> | undefined): string {
  const shade = isCompound ? ' compound' : reached === undefined ? '' : reached.has(name) ? ' reached' : ' missed';
  return `<rect class="state${shade}" data-state="${xmlText(name)}" x="${round(box.x)}" y="${round(box.y)}" width="${round(box.width)}" height="${round(box.height)}" rx="8"/>`;
}

function titleWords({ text, x, y }: Box & { readonly text: string }): string {
  return `<text class="title" x="${round(x)}" y="${round(y + titlePixels * ASCENT)}">${xmlText(text)}</text>`;
}

function arrowShape({ points, from, to }: LaidArrow, coverage: string): string {
  const [end, before] = [points.at(-1)!, points.at(-2)!];
  const length = Math.hypot(end.x - before.x, end.y - before.y) || 1;
  const along = { x: (end.x - before.x) / length, y: (end.y - before.y) / length };
  const corner = (side: number): string =>
    `${round(end.x - 9 * along.x - side * 4 * along.y)},${round(end.y - 9 * along.y + side * 4 * along.x)}`;
  return (
    `<path class="arrow${coverage}" data-from="${xmlText(from)}" data-to="${xmlText(to)}" d="${pathOf(points)}"/>` +
    `<polygon class="head${coverage}" points="${round(end.x)},${round(end.y)} ${corner(1)} ${corner(-1)}"/>`
  );
}

/** Lines with rounded corners, which the eye follows more easily where arrows cross. */
function pathOf(points: readonly Point[]): string {
  return points
    .map((point, index) => {
      const [before, after] = [points[index - 1], points[index + 1]];
      if (before === undefined) return `M${round(point.x)} ${round(point.y)}`;
      if (after === undefined) return `L${round(point.x)} ${round(point.y)}`;
      const [into, out] = [near(point, before), near(point, after)];
      return `L${into} Q${round(point.x)} ${round(point.y)} ${out}`;
    })
    .join(' ');
}

function near(corner: Point, other: Point): string {
  const length = Math.hypot(other.x - corner.x, other.y - corner.y);
  const share = length === 0 ? 0 : Math.min(CORNER, length / 2) / length;
  return `${round(corner.x + (other.x - corner.x) * share)} ${round(corner.y + (other.y - corner.y) * share)}`;
}

function round(pixels: number): number {
  return Math.round(pixels * 10) / 10;
}
