/**
 * An XState v5 machine flattened into tables of integers, once, when its part is loaded.
 *
 * XState's own interpreter costs several microseconds an event, far too much for conversions and pulses. The machine
 * stays the only definition: state nodes, targets and order are read from XState's own resolved nodes, and a property
 * test (test/chart) holds the table and XState's actor to the same path.
 *
 * The subset: nested states with one active leaf, guards and actions by name, entry and exit actions, named delays
 * (in simulated seconds), eventless transitions with a target. Everything else is refused here, with the reason.
 */
import type { AnyStateMachine, AnyStateNode } from 'xstate';
import { refusalsIn } from './refuse.ts';

/** What a guard, an action or a delay is called with; the same shape that XState uses. */
export interface ChartArguments {
  readonly context: object;
  readonly event: { readonly type: string };
}

export type GuardFunction = (args: ChartArguments) => boolean;
export type ActionFunction = (args: ChartArguments) => void;
export type DelayFunction = (args: ChartArguments) => number;

/** One way out of a leaf: a transition as seen from there. */
export interface Row {
  /** Index of the transition in `transitions`. */
  readonly transition: number;
  /** Index into `guards`, or -1. */
  readonly guard: number;
  /** Leaf after it; -1 when the transition has no target and only acts. */
  readonly target: number;
  /** What to do, in order: see `Op`. */
  readonly program: Int32Array;
}

/** A transition as written, for coverage and drawings. */
export interface TransitionName {
  readonly from: string;
  readonly to: string | undefined;
  readonly on: string;
  readonly guard: string | undefined;
}

export interface ChartTable {
  readonly id: string;
  /** Dotted names of the leaves, in document order: `armed.driving`. */
  readonly leaves: readonly string[];
  readonly events: readonly string[];
  readonly transitions: readonly TransitionName[];
  /** Candidates for leaf and event at `leaf * events.length + event`, innermost first. */
  readonly rows: readonly (readonly Row[])[];
  /** Candidates for eventless transitions, by leaf. */
  readonly eventless: readonly (readonly Row[])[];
  /** By delayed transition's timer: the event that its lapse sends, and the delay's name. */
  readonly timers: readonly { readonly event: number; readonly delay: number; readonly label: string }[];
  readonly guards: readonly GuardFunction[];
  readonly actions: readonly ActionFunction[];
  readonly delays: readonly DelayFunction[];
  readonly initialLeaf: number;
  readonly initialProgram: Int32Array;
}

/** A program is a row of integers: an action's index, or one of these plus a timer's index. */
export const Op = { START: 1 << 20, STOP: 1 << 21 } as const;

/** A machine uses something outside the subset; `refusals` are whole sentences. */
export class ChartRefused extends Error {
  readonly refusals: readonly string[];

  constructor(id: string, refusals: readonly string[]) {
    super(`chart '${id}' cannot be run on the bench:\n  ${refusals.join('\n  ')}`);
    this.name = 'ChartRefused';
    this.refusals = refusals;
  }
}

const tables = new WeakMap<AnyStateMachine, ChartTable>();

/** The table of a machine, made at the first call. Throws `ChartRefused`. */
export function tableOf(machine: AnyStateMachine): ChartTable {
  let table = tables.get(machine);
  if (table === undefined) {
    table = flatten(machine);
    tables.set(machine, table);
  }
  return table;
}

/** What is used of XState's resolved transitions. */
interface Transition {
  readonly source: AnyStateNode;
  readonly target?: readonly AnyStateNode[];
  readonly reenter: boolean;
  readonly guard?: unknown;
  readonly actions: readonly unknown[];
  readonly eventType: string;
}

/** `armed.driving`: the keys from below the root. */
export function dotted(node: AnyStateNode): string {
  return node.path.join('.');
}

function flatten(machine: AnyStateMachine): ChartTable {
  // Reading `transitions` makes XState resolve the delayed ones and add their timers to entry and exit lists.
  const nodes = nodesOf(machine.root);
  for (const node of nodes) void node.transitions;
  const refusals = refusalsIn(machine, nodes);
  if (refusals.length > 0) throw new ChartRefused(machine.id, refusals);

  const leaves = nodes.filter((node) => node.type === 'atomic');
  const leafIndex = new Map(leaves.map((leaf, index) => [leaf, index]));
  const names = new NameTable(machine);
  const written = nodes.flatMap(transitionsOf);
  const events = [...new Set(nodes.flatMap((node) => [...node.transitions.keys()]))];
  const timers = nodes.flatMap((node) =>
    node.after
      .filter((after, index) => node.after.findIndex((other) => other.eventType === after.eventType) === index)
      .map((after) => ({
        event: events.indexOf(after.eventType),
        delay: names.delay(String(after.delay)),
        label: after.eventType,
        node,
      })),
  );
  const timersOf = (node: AnyStateNode): number[] =>
    timers.flatMap((timer, index) => (timer.node === node ? [index] : []));
  const enter = (node: AnyStateNode): number[] => [
    ...named(node.entry).map((action) => names.action(action)),
    ...timersOf(node).map((timer) => Op.START + timer),
  ];
  const exit = (node: AnyStateNode): number[] => [
    ...named(node.exit).map((action) => names.action(action)),
    ...timersOf(node).map((timer) => Op.STOP + timer),
  ];
  const row = (leaf: AnyStateNode, transition: Transition): Row => {
    const { exited, entered, target } = pathOf(leaf, transition);
    return {
      transition: written.indexOf(transition),
      guard: transition.guard === undefined ? -1 : names.guard(transition.guard),
      target: target === undefined ? -1 : leafIndex.get(target)!,
      program: Int32Array.from([
        ...exited.flatMap(exit),
        ...named(transition.actions).map((action) => names.action(action)),
        ...entered.flatMap(enter),
      ]),
    };
  };
  const initialLeaf = initialLeafOf(machine.root);
  return {
    id: machine.id,
    leaves: leaves.map(dotted),
    events,
    transitions: written.map((transition) => ({
      from: dotted(transition.source),
      to: transition.target?.[0] === undefined ? undefined : dotted(transition.target[0]),
      on: transition.eventType,
      guard: transition.guard === undefined ? undefined : guardName(transition.guard),
    })),
    rows: leaves.flatMap((leaf) =>
      events.map((event) =>
        lineage(leaf).flatMap((node) =>
          (node.transitions.get(event) ?? []).map((transition) => row(leaf, transition as never)),
        ),
      ),
    ),
    eventless: leaves.map((leaf) =>
      lineage(leaf).flatMap((node) => (node.always ?? []).map((transition) => row(leaf, transition as never))),
    ),
    timers: timers.map(({ event, delay, label }) => ({ event, delay, label })),
    guards: names.guards,
    actions: names.actions,
    delays: names.delays,
    initialLeaf: leafIndex.get(initialLeaf)!,
    initialProgram: Int32Array.from(lineage(initialLeaf).reverse().flatMap(enter)),
  };
}

/** A node's transitions, eventless ones last. */
export function transitionsOf(node: AnyStateNode): Transition[] {
  return [...[...node.transitions.values()].flat(), ...(node.always ?? [])] as never;
}

/** All nodes in document order, the root first. */
function nodesOf(root: AnyStateNode): AnyStateNode[] {
  return [root, ...Object.values(root.states).flatMap((child) => nodesOf(child as AnyStateNode))];
}

/** The node and its ancestors, innermost first. */
function lineage(node: AnyStateNode): AnyStateNode[] {
  return node.parent === undefined ? [node] : [node, ...lineage(node.parent)];
}

function initialLeafOf(node: AnyStateNode): AnyStateNode {
  return node.type === 'compound' ? initialLeafOf(node.initial.target[0] as AnyStateNode) : node;
}

function isInside(node: AnyStateNode, ancestor: AnyStateNode): boolean {
  return node !== ancestor && lineage(node).includes(ancestor);
}

/**
 * What a transition leaves and enters when taken from `leaf`, by the SCXML rules as XState v5 applies them: without
 * `reenter`, a transition to its own source or into it does not leave the source.
 */
function pathOf(
  leaf: AnyStateNode,
  transition: Transition,
): { exited: AnyStateNode[]; entered: AnyStateNode[]; target?: AnyStateNode } {
  const target = transition.target?.[0];
  if (target === undefined) return { exited: [], entered: [] };
  const { source } = transition;
  const isInternal = !transition.reenter && (target === source || isInside(target, source));
  const domain = isInternal
    ? source
    : lineage(target)
        .slice(1)
        .find((ancestor) => isInside(source, ancestor));
  const within = (node: AnyStateNode): boolean => domain === undefined || isInside(node, domain);
  const reached = initialLeafOf(target);
  return { exited: lineage(leaf).filter(within), entered: lineage(reached).reverse().filter(within), target: reached };
}

/** Leaves out the timer entries that XState adds for delayed transitions; the table has its own. */
function named(actions: readonly unknown[]): readonly unknown[] {
  return actions.filter((action) => !isTimerAction(action));
}

export function isTimerAction(action: unknown): boolean {
  const type = (action as { type?: string }).type;
  return typeof action === 'function' && (type === 'xstate.raise' || type === 'xstate.cancel');
}

export function guardName(guard: unknown): string {
  return typeof guard === 'string' ? guard : ((guard as { type?: string }).type ?? '(unnamed)');
}

/** Gives each named guard, action and delay an index, and finds its implementation. */
class NameTable {
  readonly guards: GuardFunction[] = [];
  readonly actions: ActionFunction[] = [];
  readonly delays: DelayFunction[] = [];
  private readonly machine: AnyStateMachine;
  private readonly indices = new Map<string, number>();

  constructor(machine: AnyStateMachine) {
    this.machine = machine;
  }

  guard(guard: unknown): number {
    return this.index('guard', guardName(guard), this.guards, this.machine.implementations.guards as never);
  }

  action(action: unknown): number {
    return this.index('action', guardName(action), this.actions, this.machine.implementations.actions as never);
  }

  delay(name: string): number {
    return this.index('delay', name, this.delays, this.machine.implementations.delays as never);
  }

  private index<F>(sort: string, name: string, list: F[], implementations: Readonly<Record<string, F>>): number {
    const key = `${sort} ${name}`;
    let index = this.indices.get(key);
    if (index === undefined) {
      index = list.push(implementations[name]!) - 1;
      this.indices.set(key, index);
    }
    return index;
  }
}
