/** A machine as a tree of plain states, in document order, for drawings and for other tools' formats. */
import type { AnyStateMachine, AnyStateNode } from 'xstate';
import { dotted, tableOf, transitionsOf } from './table.ts';

export interface OutlinedState {
  /** Dotted, `armed.driving`; empty for the machine itself. */
  readonly name: string;
  /** Where it starts, for a state with states in it. */
  readonly initial: string | undefined;
  readonly states: readonly OutlinedState[];
  readonly entry: readonly string[];
  readonly exit: readonly string[];
  readonly transitions: readonly OutlinedTransition[];
}

export interface OutlinedTransition {
  /** Index in the transitions of the machine's table, and so in counts of what was taken. */
  readonly index: number;
  /** Undefined for one that is taken as soon as its guard lets it. */
  readonly event: string | undefined;
  /** Name of the delay, for one that time takes. */
  readonly delay: string | undefined;
  readonly guard: string | undefined;
  readonly target: string | undefined;
  /** Whether its own state is not left by it. */
  readonly isInternal: boolean;
  readonly actions: readonly string[];
}

export function outlineOf(machine: AnyStateMachine): OutlinedState {
  const { transitions } = tableOf(machine);
  const indexOf = new Map<unknown, number>();
  // The table numbers them in this order.
  const number = (node: AnyStateNode): void => {
    for (const transition of transitionsOf(node)) indexOf.set(transition, indexOf.size);
    for (const child of Object.values(node.states)) number(child as AnyStateNode);
  };
  number(machine.root);

  const outline = (node: AnyStateNode): OutlinedState => ({
    name: dotted(node),
    initial: node.type === 'compound' ? dotted(node.initial.target[0] as AnyStateNode) : undefined,
    states: Object.values(node.states).map((child) => outline(child as AnyStateNode)),
    entry: actionNames(node.entry),
    exit: actionNames(node.exit),
    transitions: transitionsOf(node).map((transition) => {
      const index = indexOf.get(transition)!;
      const { to, guard } = transitions[index]!;
      const { eventType, reenter, actions } = transition;
      const after = node.after.find((delayed) => delayed.eventType === eventType);
      return {
        index,
        event: eventType === '' || after !== undefined ? undefined : eventType,
        delay: after === undefined ? undefined : String(after.delay),
        guard,
        target: to,
        isInternal: !reenter && to !== undefined && (to === dotted(node) || to.startsWith(`${dotted(node)}.`)),
        actions: actionNames(actions),
      };
    }),
  });
  return outline(machine.root);
}

/** The same, with what the machine can do in every state put on one state around all: drawings have no transitions of the whole. */
export function wrappedOutlineOf(machine: AnyStateMachine): OutlinedState {
  const root = outlineOf(machine);
  if (root.transitions.length === 0) return root;
  const whole = root.states.some(({ name }) => name === 'whole') ? 'whole-chart' : 'whole';
  return { name: '', initial: whole, states: [{ ...root, name: whole }], entry: [], exit: [], transitions: [] };
}

/** The leaves that a run began in or that a transition led to, by counts of what was taken. */
export function reachedLeaves(machine: AnyStateMachine, taken: ArrayLike<number>): Set<string> {
  const byName = new Map<string, OutlinedState>();
  const walk = (state: OutlinedState): void => {
    byName.set(state.name, state);
    state.states.forEach(walk);
  };
  walk(outlineOf(machine));
  const leafOf = (name: string): string => {
    const { initial } = byName.get(name)!;
    return initial === undefined ? name : leafOf(initial);
  };
  const reached = new Set([leafOf('')]);
  for (const { transitions } of byName.values())
    for (const { target, index } of transitions)
      if (target !== undefined && taken[index]! > 0) reached.add(leafOf(target));
  return reached;
}

/** By name; XState's own, which start and stop timers, are left out, as the delayed transitions say the same. */
function actionNames(actions: readonly unknown[]): string[] {
  return actions.flatMap((action) => {
    const name = typeof action === 'string' ? action : (action as { readonly type?: unknown }).type;
    return typeof name === 'string' && !name.startsWith('xstate.') ? [name] : [];
  });
}
