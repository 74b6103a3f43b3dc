/**
 * Where the states, arrows and words of a chart lie in a picture, in pixels from its upper left corner.
 *
 * The Eclipse Layout Kernel places them (its layered method, which keeps arrows that cross borders of nested states
 * apart, and leaves room for words on arrows). Words are set in a monospaced font, so that their sizes are known without one.
 * Transitions between the same two states share an arrow and stand below each other on it; those that move nowhere stand
 * inside their state. What a state does from anywhere inside of itself starts at a small mark inside of it.
 */
import type { ELK, ElkExtendedEdge, ElkNode } from 'elkjs';
import type { AnyStateMachine } from 'xstate';
import { type OutlinedState, type OutlinedTransition, wrappedOutlineOf } from './outline.ts';

export interface Point {
  readonly x: number;
  readonly y: number;
}

export interface Box extends Point {
  readonly width: number;
  readonly height: number;
}

/** One transition's words. */
export interface LaidLine extends Box {
  readonly index: number;
  readonly text: string;
}

export interface LaidState extends Box {
  readonly name: string;
  readonly isCompound: boolean;
  readonly title: Box & { readonly text: string };
  /** Transitions that act and move nowhere. */
  readonly stays: readonly LaidLine[];
}

export interface LaidArrow {
  /** Indices of the transitions that share it; none for the one that leads to where a state starts. */
  readonly transitions: readonly number[];
  readonly from: string;
  readonly to: string;
  readonly points: readonly Point[];
  readonly lines: readonly LaidLine[];
}

export interface LaidMark extends Box {
  /** Where a state starts, or from where it may be left in any of its modes. */
  readonly kind: 'start' | 'anywhere';
  readonly of: string;
}

export interface ChartLayout {
  readonly title: string;
  readonly width: number;
  readonly height: number;
  /** Those around others first. */
  readonly states: readonly LaidState[];
  readonly marks: readonly LaidMark[];
  readonly arrows: readonly LaidArrow[];
}

export const titlePixels = 14;
export const linePixels = 12;
export const lineHeight = 16;
const HEAD_HEIGHT = 28;
const PADDING = 12;
/** Monospaced fonts in common use are 0.60 em wide; the rest is for those a little wider. */
const EMS_A_CHARACTER = 0.62;

const options = {
  'elk.algorithm': 'layered',
  'elk.direction': 'DOWN',
  'elk.hierarchyHandling': 'INCLUDE_CHILDREN',
  'elk.edgeRouting': 'ORTHOGONAL',
  'elk.randomSeed': '1',
  'elk.spacing.nodeNode': '28',
  'elk.spacing.edgeNode': '18',
  'elk.spacing.edgeEdge': '14',
  'elk.spacing.edgeLabel': '5',
  'elk.spacing.labelNode': '10',
  'elk.spacing.labelLabel': '8',
  'elk.layered.spacing.nodeNodeBetweenLayers': '30',
  'elk.layered.spacing.edgeNodeBetweenLayers': '18',
  'elk.layered.spacing.edgeEdgeBetweenLayers': '14',
  'elk.layered.nodePlacement.strategy': 'NETWORK_SIMPLEX',
  'elk.layered.thoroughness': '20',
};

/** Lays a chart out; `wordsAfter` adds to the words of a transition, such as how often it was taken. */
export async function layoutOf(
  machine: AnyStateMachine,
  wordsAfter: (index: number) => string = () => '',
): Promise<ChartLayout> {
  const { default: Elk } = await import('elkjs/lib/elk.bundled.js');
  const elk: ELK = new (Elk as unknown as new () => ELK)();
  const root = wrappedOutlineOf(machine);
  const first = await laidOnce(elk, machine.id, root, { widened: new Map(), wordsAfter });
  // Minimum sizes are not kept where arrows cross the border; what is too narrow for its own words is laid out anew.
  const widened = new Map(first.states.map((state) => [state.name, lackingWidth(state)]));
  return [...widened.values()].some((lack) => lack > 0)
    ? laidOnce(elk, machine.id, root, { widened, wordsAfter })
    : first;
}

function lackingWidth({ x, width, title, stays }: LaidState): number {
  const end = Math.max(...[title, ...stays].map((words) => words.x + words.width));
  return Math.max(0, Math.ceil(end + PADDING - (x + width)));
}

async function laidOnce(
  elk: ELK,
  title: string,
  root: OutlinedState,
  wishes: Pick<Plan, 'widened' | 'wordsAfter'>,
): Promise<ChartLayout> {
  const plan: Plan = { arrows: [], marks: [], states: new Map(), ...wishes };
  const graph: ElkNode = {
    ...nodeOf(root, plan),
    id: 'chart',
    layoutOptions: { ...options, 'elk.padding': padding(16) },
  };
  graph.edges = plan.arrows.map(({ id, from, to, lines }) => ({
    id,
    sources: [from],
    targets: [to],
    // A label without text is left out of the layout.
    labels: lines.length === 0 ? [] : [{ text: 'words', ...sizeOf(lines) }],
  }));
  return placed(title, await elk.layout(graph), plan);
}

interface PlannedArrow {
  readonly id: string;
  readonly from: string;
  readonly to: string;
  readonly names: { readonly from: string; readonly to: string };
  readonly lines: Words[];
}

interface Words {
  readonly index: number;
  readonly text: string;
}

interface Plan {
  readonly arrows: PlannedArrow[];
  readonly marks: { readonly id: string; readonly kind: LaidMark['kind']; readonly of: string }[];
  readonly states: Map<string, OutlinedState>;
  /** By name of a state: how much wider it is to be. */
  readonly widened: ReadonlyMap<string, number>;
  readonly wordsAfter: (index: number) => string;
}

function nodeOf(state: OutlinedState, plan: Plan): ElkNode {
  plan.states.set(state.name, state);
  const inside: ElkNode[] = [];
  const mark = (kind: LaidMark['kind'], size: number): string => {
    const id = `${kind} ${state.name}`;
    plan.marks.push({ id, kind, of: state.name });
    inside.push({ id, width: size, height: size, layoutOptions: { 'elk.layered.layering.layerConstraint': 'FIRST' } });
    return id;
  };
  // Around the frame of the whole there is nothing else to start in.
  if (state.initial !== undefined && (state.name !== '' || state.states.length > 1)) {
    const names = { from: state.name, to: state.initial };
    const from = mark('start', 12);
    plan.arrows.push({ id: `to ${from}`, from, to: stateId(state.initial), names, lines: [] });
  }
  const isInside = (target: string): boolean => target !== state.name && isBelow(target, state);
  if (state.states.length > 0 && state.transitions.some(({ target }) => target !== undefined && isInside(target)))
    mark('anywhere', 14);
  for (const transition of state.transitions) {
    const { target } = transition;
    if (target === undefined) continue;
    const from = isInside(target) ? `anywhere ${state.name}` : stateId(state.name);
    addTo(plan, from, state.name, target, wordsOf(transition, plan));
  }
  inside.push(...state.states.map((child) => nodeOf(child, plan)));
  const stays = staysOf(state, plan);
  const head = sizeOf([{ text: titleOf(state) }], titlePixels);
  const below = sizeOf(stays);
  const width = Math.max(head.width, below.width) + 2 * PADDING;
  const height = HEAD_HEIGHT + (stays.length === 0 ? 0 : below.height + 6);
  if (inside.length === 0) return { id: stateId(state.name), width: Math.max(width, 90), height: height + 6 };
  return {
    id: stateId(state.name),
    children: inside,
    layoutOptions: { 'elk.padding': padding(18, height + 14, 18 + (plan.widened.get(state.name) ?? 0)) },
  };
}

function addTo({ arrows }: Plan, from: string, name: string, target: string, words: Words): void {
  const to = stateId(target);
  let arrow = arrows.find((one) => one.from === from && one.to === to);
  if (arrow === undefined) {
    arrow = { id: `arrow ${arrows.length}`, from, to, names: { from: name, to: target }, lines: [] };
    arrows.push(arrow);
  }
  arrow.lines.push(words);
}

function staysOf(state: OutlinedState, plan: Plan): Words[] {
  return state.transitions.filter(({ target }) => target === undefined).map((one) => wordsOf(one, plan));
}

/** In the notation of UML (2.5.1, 14.2.4.9): trigger, guard in brackets, actions after a slash. */
function wordsOf({ event, delay, guard, actions, index }: OutlinedTransition, { wordsAfter }: Plan): Words {
  const words = [
    delay === undefined ? (event ?? '') : `after ${delay}`,
    guard === undefined ? '' : `[${guard}]`,
    actions.length === 0 ? '' : `/ ${actions.join(', ')}`,
  ].filter((word) => word !== '');
  const told = words.length === 0 ? 'at once' : words.join(' ');
  const after = wordsAfter(index);
  return { index, text: after === '' ? told : `${told} ${after}` };
}

function placed(title: string, graph: ElkNode, plan: Plan): ChartLayout {
  const boxes = new Map<string, Box>();
  const walk = (node: ElkNode, left: number, top: number): void => {
    const box = { x: left + (node.x ?? 0), y: top + (node.y ?? 0), width: node.width ?? 0, height: node.height ?? 0 };
    boxes.set(node.id, box);
    for (const child of node.children ?? []) walk(child, box.x, box.y);
  };
  walk(graph, 0, 0);
  const edges = new Map((graph.edges ?? []).map((edge) => [edge.id, edge]));
  return {
    title,
    width: graph.width ?? 0,
    height: graph.height ?? 0,
    states: [...plan.states.values()].flatMap((state) =>
      state.name === '' ? [] : [laidState(state, boxes.get(stateId(state.name))!, plan)],
    ),
    marks: plan.marks.map(({ id, kind, of }) => ({ kind, of, ...boxes.get(id)! })),
    arrows: plan.arrows.map((arrow) => laidArrow(arrow, edges.get(arrow.id)!, boxes)),
  };
}

function laidState(state: OutlinedState, box: Box, plan: Plan): LaidState {
  const text = titleOf(state);
  const size = sizeOf([{ text }], titlePixels);
  const isCompound = state.states.length > 0;
  const x = isCompound ? box.x + PADDING : box.x + (box.width - size.width) / 2;
  const title = { text, x, y: box.y + 7, ...size };
  const stays = stacked(staysOf(state, plan), box.x + PADDING, box.y + HEAD_HEIGHT + 2);
  return { name: state.name, isCompound, ...box, title, stays };
}

/** An edge's coordinates count from the node that holds both of its ends. */
function laidArrow({ names, lines }: PlannedArrow, edge: ElkExtendedEdge, boxes: ReadonlyMap<string, Box>): LaidArrow {
  const { x, y } = boxes.get((edge as { readonly container?: string }).container ?? 'chart')!;
  const points = (edge.sections ?? []).flatMap(({ startPoint, bendPoints, endPoint }) =>
    [startPoint, ...(bendPoints ?? []), endPoint].map((point) => ({ x: x + point.x, y: y + point.y })),
  );
  const label = edge.labels?.[0];
  return {
    transitions: lines.map(({ index }) => index),
    ...names,
    points,
    lines: stacked(lines, x + (label?.x ?? 0), y + (label?.y ?? 0)),
  };
}

function stacked(lines: readonly Words[], x: number, y: number): LaidLine[] {
  return lines.map((words, row) => ({ ...words, x, y: y + row * lineHeight, ...sizeOf([words]) }));
}

function sizeOf(lines: readonly { readonly text: string }[], pixels = linePixels): { width: number; height: number } {
  const columns = Math.max(0, ...lines.map(({ text }) => columnsOf(text)));
  return { width: Math.ceil(columns * EMS_A_CHARACTER * pixels), height: lines.length * lineHeight };
}

/** What is not of the usual alphabets may be as wide as two. */
function columnsOf(text: string): number {
  return [...text].reduce((sum, character) => sum + (character.codePointAt(0)! < 0x1100 ? 1 : 2), 0);
}

function titleOf({ name }: OutlinedState): string {
  return name.slice(name.lastIndexOf('.') + 1);
}

function isBelow(name: string, state: OutlinedState): boolean {
  return state.states.some((child) => child.name === name || isBelow(name, child));
}

function stateId(name: string): string {
  return `state ${name}`;
}

function padding(around: number, top = around, right = around): string {
  return `[top=${top},left=${around},bottom=${around},right=${right}]`;
}
