/**
 * The player against the plain run of the same scenario, which is the definition: same digest, same trace, same
 * verdict, whatever way was taken to an instant.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { settleParts } from '../../sim/bench/schema.ts';
import { Player } from '../../sim/dashboard/player.ts';
import type { Column } from '../../sim/trace/trace.ts';
import { signalsRead } from '../../sim/verdict/expectation.ts';
import { runScenario, type Scenario } from '../../sim/verdict/run-scenario.ts';
import { scenario, scenarioNames } from './benches.ts';

function playerOf(of: Scenario): Player {
  return new Player({
    parts: settleParts(of.parts),
    seed: of.seed,
    acts: of.acts,
    endSeconds: of.durationSeconds,
    record: [...of.expectations.flatMap(({ formula }) => signalsRead(formula)), 'pedal.voltage', 'rail.voltage'],
  });
}

const samples = (column: Column): readonly (readonly [number, number])[] =>
  Array.from(column, ({ seconds, value }) => [seconds, value] as const);

/** All that can be told of where a player stands. */
function stateOf(player: Player): unknown {
  return {
    kernel: player.assembly.kernel.save(),
    end: player.trace.endSeconds,
    trace: player.trace.columns.map(samples),
    log: player.log.items,
  };
}

describe('player: the same run as the plain one', () => {
  test.each(scenarioNames)('%s', (name) => {
    const of = scenario(name);
    const plain = runScenario(of, { record: ['pedal.voltage', 'rail.voltage'], causes: false });
    const player = playerOf(of);
    player.runTo(of.durationSeconds);
    expect(player.digest).toBe(plain.digest);
    expect(player.eventCount).toBe(plain.eventCount);
    for (const column of plain.trace.columns)
      expect(samples(player.trace.column(column.signal.name)!), column.signal.name).toEqual(samples(column));
  });
});

describe('player: forth and back', () => {
  test.each(['cold-start.yaml', 'radio-override.yaml', 'end-point-learning.yaml'])(
    'law: %s, one event back and forth again changes nothing',
    (name) => {
      const player = playerOf(scenario(name));
      fc.assert(
        fc.property(fc.double({ min: 0.01, max: 5, noNaN: true }), fc.integer({ min: 1, max: 5 }), (seconds, steps) => {
          player.seek(seconds);
          player.stepForth();
          const before = stateOf(player);
          for (let step = 0; step < steps; step += 1) player.stepBack();
          for (let step = 0; step < steps; step += 1) player.stepForth();
          expect(stateOf(player)).toEqual(before);
        }),
        { seed: 20261125, numRuns: 12 },
      );
    },
  );

  test.each(['cold-start.yaml', 'end-point-learning.yaml', 'pedal-wire-breaks.yaml'])(
    'law: %s, scrubbing to an instant is running to it',
    (name) => {
      const of = scenario(name);
      const scrubbed = playerOf(of);
      fc.assert(
        fc.property(
          fc.array(fc.double({ min: 0, max: of.durationSeconds, noNaN: true }), { minLength: 1, maxLength: 4 }),
          (instants) => {
            for (const seconds of instants) scrubbed.seek(seconds);
            const straight = playerOf(of);
            straight.runTo(instants.at(-1)!);
            expect(stateOf(scrubbed)).toEqual(stateOf(straight));
          },
        ),
        { seed: 20261125, numRuns: 10 },
      );
    },
  );

  test('back at the start there is nothing more to undo', () => {
    const player = playerOf(scenario('cold-start.yaml'));
    player.stepForth();
    expect(player.stepBack()).toBe(true);
    expect(player.stepBack()).toBe(false);
    expect(player.eventCount).toBe(0);
  });

  test('a run that was scrubbed to pieces still ends with the digest of the plain run', () => {
    const of = scenario('end-point-learning.yaml');
    const player = playerOf(of);
    for (const seconds of [9, 2, 12.345, 0, 7.0001, 15.9, 3]) player.seek(seconds);
    player.runTo(of.durationSeconds);
    expect(player.digest).toBe(runScenario(of, { causes: false }).digest);
  });
});

describe('player: changes of modes', () => {
  test('forth through all of them and back meets the same instants in reverse', () => {
    const player = playerOf(scenario('cold-start.yaml'));
    const forth: number[] = [];
    while (player.toNextChange()) forth.push(player.eventCount);
    const back: number[] = [];
    while (player.toPreviousChange()) back.push(player.eventCount);
    // Several changes within one event are one stop.
    expect(back).toEqual([...new Set(forth)].reverse());
    expect(forth.length).toBeGreaterThan(8);
  });

  test('the refusal stops where the first pulse is measured, and says why', () => {
    const player = playerOf(scenario('idle-one-too-high.yaml'));
    let item = player.log.items.at(-1);
    while (item?.to !== 'waiting-for-neutral.refusing' && player.toNextChange()) item = player.log.items.at(-1);
    expect(item?.says).toContain('16 us above');
    expect(item?.seconds).toBe(player.seconds);
  });
});

describe('player: another script from here on', () => {
  test('steps to come may change, and the run is then that of the new script', () => {
    const of = scenario('cold-start.yaml');
    const player = playerOf(of);
    player.runTo(2.5);
    const acts = of.acts.filter(({ seconds }) => seconds < 4);
    player.changeScript(acts);
    player.runTo(of.durationSeconds);
    expect(player.digest).toBe(runScenario({ ...of, acts }, { causes: false }).digest);
  });

  test('steps that are done may not', () => {
    const of = scenario('cold-start.yaml');
    const player = playerOf(of);
    player.runTo(3.5);
    expect(() => player.changeScript([])).toThrow('the past');
  });
});
