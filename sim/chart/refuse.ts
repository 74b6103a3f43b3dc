/** What the bench does not run of XState's statecharts, each refusal a sentence that names the node and the cure. */
import type { AnyStateMachine, AnyStateNode } from 'xstate';
import { dotted, guardName, isTimerAction, transitionsOf } from './table.ts';

export function refusalsIn(machine: AnyStateMachine, nodes: readonly AnyStateNode[]): string[] {
  return [...nodes.flatMap((node) => refusalsOfNode(machine, node)), ...endlessEventless(nodes)];
}

function refusalsOfNode(machine: AnyStateMachine, node: AnyStateNode): string[] {
  const where = node.path.length === 0 ? 'the root' : `'${dotted(node)}'`;
  const { guards, actions, delays } = machine.implementations as unknown as Record<string, Record<string, unknown>>;
  const refusals: string[] = [];
  if (node.type === 'parallel' || node.type === 'history' || node.type === 'final') {
    refusals.push(`${where} is a ${node.type} state; use nested states with one active leaf`);
  }
  if (node.invoke.length > 0) refusals.push(`${where} invokes an actor; let the part do it and send an event`);
  for (const transition of transitionsOf(node)) {
    const arrow = `the transition from ${where} on '${transition.eventType || 'always'}'`;
    if (transition.eventType.includes('*')) refusals.push(`${arrow} matches any event; name the events`);
    if (transition.eventType.startsWith('xstate.done'))
      refusals.push(`${arrow} waits for completion; send an event instead`);
    if ((transition.target?.length ?? 0) > 1) refusals.push(`${arrow} has several targets; use one`);
    const { guard } = transition;
    if (guard !== undefined && typeof guard !== 'string')
      refusals.push(`${arrow} has a guard without a name; name it in setup({ guards })`);
    else if (guard !== undefined && typeof guards?.[guard as string] !== 'function') {
      refusals.push(`${arrow} asks guard '${guardName(guard)}', which has no implementation`);
    }
    refusals.push(...refusedActions(transition.actions, arrow, actions));
  }
  for (const after of node.after) {
    if (typeof after.delay === 'number')
      refusals.push(`${where} waits ${after.delay}; name the delay in setup({ delays })`);
    else if (typeof delays?.[after.delay as string] !== 'function')
      refusals.push(`${where} waits '${after.delay}', which has no delay function`);
  }
  refusals.push(
    ...refusedActions(node.entry, `entry of ${where}`, actions),
    ...refusedActions(node.exit, `exit of ${where}`, actions),
  );
  return refusals;
}

function refusedActions(
  list: readonly unknown[],
  where: string,
  implementations: Record<string, unknown> | undefined,
): string[] {
  return list
    .filter((action) => !isTimerAction(action))
    .flatMap((action) => {
      if (typeof action !== 'string') {
        const type = (action as { type?: string }).type ?? 'a function without a name';
        return [`${where} does ${type}; name a plain action in setup({ actions })`];
      }
      const implementation = implementations?.[action];
      if (typeof implementation !== 'function') return [`${where} does '${action}', which has no implementation`];
      if ('resolve' in implementation)
        return [`${where} does '${action}', which is one of XState's own actions; use a plain function`];
      return [];
    });
}

/** Eventless transitions that nothing stops: without a target, or unguarded ones that lead round in a circle. */
function endlessEventless(nodes: readonly AnyStateNode[]): string[] {
  const refusals: string[] = [];
  const free = new Map<AnyStateNode, AnyStateNode>();
  for (const node of nodes) {
    for (const transition of node.always ?? []) {
      const target = transition.target?.[0] as AnyStateNode | undefined;
      if (target === undefined)
        refusals.push(`the eventless transition of '${dotted(node)}' has no target and would never end`);
      else if (transition.guard === undefined && !free.has(node)) free.set(node, target);
    }
  }
  for (const start of free.keys()) {
    const seen = [start];
    for (let next = free.get(start); next !== undefined; next = free.get(next)) {
      if (next === start) {
        refusals.push(
          `eventless transitions lead round from '${dotted(start)}' through ${seen.length} states without a guard`,
        );
        break;
      }
      if (seen.includes(next)) break;
      seen.push(next);
    }
  }
  return refusals;
}
