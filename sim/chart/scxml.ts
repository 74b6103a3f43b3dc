/**
 * A chart as SCXML (W3C Recommendation "State Chart XML", 1 September 2015), for other tools to read.
 *
 * Guards, actions and delays are code of the part: they stand as calls `guard('name')`, `act('name')`, `delay('name')`
 * that whoever runs the chart has to give. A delayed transition is a `send` on entry that leaving cancels.
 */
import type { AnyStateMachine } from 'xstate';
import { type OutlinedState, type OutlinedTransition, wrappedOutlineOf } from './outline.ts';
import { xmlText as xml } from './xml.ts';

export function scxmlOf(machine: AnyStateMachine, taken?: ArrayLike<number>): string {
  const root = wrappedOutlineOf(machine);
  const body = contents(root, taken, 1);
  return (
    '<?xml version="1.0" encoding="UTF-8"?>\n' +
    `<scxml xmlns="http://www.w3.org/2005/07/scxml" version="1.0" datamodel="ecmascript" name="${xml(machine.id)}" initial="${xml(root.initial ?? '')}">\n` +
    `${body.join('\n')}\n</scxml>\n`
  );
}

function contents(state: OutlinedState, taken: ArrayLike<number> | undefined, depth: number): string[] {
  const pad = '  '.repeat(depth);
  const delays = [...new Set(state.transitions.flatMap(({ delay }) => (delay === undefined ? [] : [delay])))];
  const entry = [
    ...state.entry.map(script),
    ...delays.map(
      (delay) =>
        `<send id="${xml(timerName(state, delay))}" event="${xml(timerName(state, delay))}" delayexpr="${call('delay', delay)}"/>`,
    ),
  ];
  const exit = [
    ...delays.map((delay) => `<cancel sendid="${xml(timerName(state, delay))}"/>`),
    ...state.exit.map(script),
  ];
  return [
    // The document itself is neither entered nor left.
    ...(state.name === '' || entry.length === 0 ? [] : [`${pad}<onentry>${entry.join('')}</onentry>`]),
    ...(state.name === '' || exit.length === 0 ? [] : [`${pad}<onexit>${exit.join('')}</onexit>`]),
    ...state.transitions.map((one) => `${pad}${transitionXml(state, one, taken)}`),
    ...state.states.flatMap((child) => [
      `${pad}<state id="${xml(child.name)}"${child.initial === undefined ? '' : ` initial="${xml(child.initial)}"`}>`,
      ...contents(child, taken, depth + 1),
      `${pad}</state>`,
    ]),
  ];
}

function transitionXml(state: OutlinedState, transition: OutlinedTransition, taken?: ArrayLike<number>): string {
  const { event, delay, guard, target, isInternal, actions, index } = transition;
  // A blank would make two events of one name.
  const on = delay === undefined ? event?.replaceAll(/\s+/g, '-') : timerName(state, delay);
  // A state without states in it that stays: only without a target is nothing left and entered.
  const isStaying = isInternal && target === state.name && state.states.length === 0;
  const attributes = [
    ...(on === undefined ? [] : [`event="${xml(on)}"`]),
    ...(guard === undefined ? [] : [`cond="${call('guard', guard)}"`]),
    ...(target === undefined || isStaying ? [] : [`target="${xml(target)}"`]),
    ...(isInternal && !isStaying ? ['type="internal"'] : []),
  ].join(' ');
  const count = taken === undefined ? '' : ` <!-- taken ${taken[index] ?? 0} times -->`;
  const head = `<transition${attributes === '' ? '' : ` ${attributes}`}`;
  return actions.length === 0 ? `${head}/>${count}` : `${head}>${actions.map(script).join('')}</transition>${count}`;
}

function timerName(state: OutlinedState, delay: string): string {
  return `after.${delay}.${state.name}`;
}

function script(action: string): string {
  return `<script>${call('act', action)}</script>`;
}

/** As it stands in an attribute or a text of XML. */
function call(role: string, name: string): string {
  return xml(`${role}(${JSON.stringify(name).replaceAll("'", "\\'").replace(/^"|"$/g, "'")})`);
}
