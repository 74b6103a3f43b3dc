import { describe, expect, test } from 'vitest';
import { assign, createMachine, setup } from 'xstate';
import { ChartRefused, tableOf } from '../../sim/chart/table.ts';

function refusalsOf(machine: Parameters<typeof tableOf>[0]): readonly string[] {
  try {
    tableOf(machine);
  } catch (error) {
    if (error instanceof ChartRefused) return error.refusals;
    throw error;
  }
  return [];
}

describe('chart: what lies outside the subset is refused at load', () => {
  test('parallel, history and final states', () => {
    const machine = createMachine({
      initial: 'a',
      states: {
        a: { type: 'parallel', states: { x: {}, y: {} } },
        b: { initial: 'c', states: { c: {}, h: { type: 'history' } } },
        end: { type: 'final' },
      },
    });
    expect(refusalsOf(machine)).toEqual([
      "'a' is a parallel state; use nested states with one active leaf",
      "'b.h' is a history state; use nested states with one active leaf",
      "'end' is a final state; use nested states with one active leaf",
    ]);
  });

  test('actions that change context, functions without a name, wildcards', () => {
    const machine = createMachine({
      initial: 'a',
      states: { a: { entry: assign({}), on: { '*': 'a', go: { actions: () => undefined, guard: () => true } } } },
    });
    const refusals = refusalsOf(machine).join('\n');
    expect(refusals).toContain("entry of 'a' does xstate.assign");
    expect(refusals).toContain('matches any event');
    expect(refusals).toContain('a guard without a name');
    expect(refusals).toContain('a function without a name');
  });

  test('a named action that is one of XState’s own is found out', () => {
    const machine = setup({ actions: { count: assign({}) } }).createMachine({
      initial: 'a',
      states: { a: { entry: 'count' } },
    });
    expect(refusalsOf(machine)[0]).toContain("which is one of XState's own actions");
  });

  test('delays in numbers, eventless circles, eventless transitions without a target', () => {
    const machine = setup({ actions: { a: () => undefined } }).createMachine({
      initial: 'a',
      states: { a: { after: { 100: 'b' }, always: 'b' }, b: { always: 'a' }, c: { always: { actions: 'a' } } },
    });
    const refusals = refusalsOf(machine).join('\n');
    expect(refusals).toContain("'a' waits 100; name the delay");
    expect(refusals).toContain("lead round from 'a' through 2 states");
    expect(refusals).toContain("the eventless transition of 'c' has no target");
  });
});
