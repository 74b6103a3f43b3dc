/**
 * A chart as a Mermaid state diagram, which code hosts draw in Markdown pages. With counts of what was taken, states
 * that were reached are shaded and each transition says how often it was taken.
 */
import type { AnyStateMachine } from 'xstate';
import { type OutlinedState, type OutlinedTransition, reachedLeaves, wrappedOutlineOf } from './outline.ts';

export function mermaidOf(machine: AnyStateMachine, taken?: ArrayLike<number>): string {
  const root = wrappedOutlineOf(machine);
  const arrows = arrowLines(root, taken);
  const lines = ['stateDiagram-v2', ...stateLines(root, 1), ...arrows];
  if (taken !== undefined) {
    const reached = reachedLeaves(machine, taken);
    lines.push('  classDef reached fill:#cfe8d5,stroke:#1d6b3c,color:#1c1c1c');
    lines.push('  classDef missed fill:#f3f1ea,stroke:#9a9a92,color:#5a5a55,stroke-dasharray:4 3');
    for (const leaf of leavesOf(root))
      lines.push(`  class ${idOf(leaf.name)} ${reached.has(leaf.name) ? 'reached' : 'missed'}`);
  }
  return `${lines.join('\n')}\n`;
}

function stateLines(state: OutlinedState, depth: number): string[] {
  const pad = '  '.repeat(depth);
  return [
    ...(state.initial === undefined ? [] : [`${pad}[*] --> ${idOf(state.initial)}`]),
    ...state.states.flatMap((child) => {
      const head = `${pad}state "${child.name.slice(child.name.lastIndexOf('.') + 1)}" as ${idOf(child.name)}`;
      return child.states.length === 0 ? [head] : [`${head} {`, ...stateLines(child, depth + 1), `${pad}}`];
    }),
  ];
}

function arrowLines(state: OutlinedState, taken?: ArrayLike<number>): string[] {
  return [
    ...state.transitions.flatMap((transition) => {
      // One without a target moves nowhere.
      if (transition.target === undefined) return [];
      return [`  ${idOf(state.name)} --> ${idOf(transition.target)} : ${labelOf(transition, taken)}`];
    }),
    ...state.states.flatMap((child) => arrowLines(child, taken)),
  ];
}

function labelOf({ event, delay, guard, index }: OutlinedTransition, taken?: ArrayLike<number>): string {
  const words = [
    delay !== undefined ? `after ${delay}` : (event ?? ''),
    guard === undefined ? '' : `[${guard}]`,
    taken === undefined ? '' : taken[index]! > 0 ? `(${taken[index]}x)` : '(never)',
  ].filter((word) => word !== '');
  // A colon ends a label, a semicolon a statement.
  return words.length === 0 ? 'at once' : words.join(' ').replaceAll(/[:;]/g, ' ');
}

function leavesOf(state: OutlinedState): OutlinedState[] {
  return state.states.length === 0 ? [state] : state.states.flatMap(leavesOf);
}

/** `armed.driving` cannot be a name there, nor `end` on its own. */
function idOf(name: string): string {
  return `s_${name.replaceAll(/[^A-Za-z0-9]/g, '_')}`;
}
