/** Fault tables: forks are whole runs, outcomes by their definition, what is known of the shipped bench, what got worse. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { type OutcomeName, severityOf } from '../../sim/bench/severity.ts';
import { casesOf, type FaultTrial, Healthy } from '../../sim/campaign/faults/craft.ts';
import { injectionSeconds } from '../../sim/campaign/faults/instants.ts';
import { isWorse, outcomeOf, type Seen } from '../../sim/campaign/faults/outcome.ts';
import { type FaultsReport, faultsReport, makeFaults, planFaults, worsenings } from '../../sim/campaign/faults.ts';
import { Column } from '../../sim/trace/trace.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import { runScenario, type Scenario } from '../../sim/verdict/run-scenario.ts';

const scenarioOf = (name: string): Scenario => loadScenario(`scenarios/orchard-cart/${name}.yaml`).value!;
const cart = scenarioOf('cold-start');

describe('faults: forks', () => {
  const healthy = new Healthy(cart, { briefSeconds: 0.2, spacedCount: 4 });
  // The battery draws on the continuous states, the pedal on streams of chance, the board on the program.
  test.each([
    ['pedal', 'chattering'],
    ['board', 'pin-open'],
    ['battery', 'disconnected'],
    ['rail', 'short'],
  ])('%s %s, put into a run under way, gives the bytes of a run from the start', (part, fault) => {
    for (const place of [0, Math.floor(healthy.instants.length / 2), healthy.instants.length - 1]) {
      for (const lasts of [0.2, null]) {
        const acts = healthy.actsOf([{ part, fault }], healthy.instants[place]!, lasts);
        const whole = runScenario(
          {
            ...cart,
            durationSeconds: healthy.endSeconds,
            acts: [...cart.acts, ...acts].sort((a, b) => a.seconds - b.seconds),
          },
          { causes: false },
        );
        expect(healthy.trial(place, acts).digest).toBe(whole.digest);
      }
    }
  });
});

test('faults: a fork of a bench whose program does something of note tells it again, whatever fork came before', () => {
  const bug = scenarioOf('firmware-bug');
  const healthy = new Healthy(bug, { briefSeconds: 0.2, spacedCount: 2 });
  for (const [place, seconds] of [...healthy.instants.entries()].reverse()) {
    const acts = healthy.actsOf([{ part: 'pedal', fault: 'ground-open' }], seconds, null);
    const whole = runScenario(
      {
        ...bug,
        durationSeconds: healthy.endSeconds,
        acts: [...bug.acts, ...acts].sort((a, b) => a.seconds - b.seconds),
      },
      { causes: false },
    );
    expect(healthy.trial(place, acts).digest).toBe(whole.digest);
  }
});

describe('faults: instants', () => {
  const changes = (...times: number[]): Column => {
    const column = new Column({ name: 'x.mode', dimension: 'count', shape: 'held', means: '' });
    for (const [index, seconds] of [0, ...times].entries()) column.append(seconds, index % 2);
    return column;
  };
  test('just before and just after each change, and at even spaces', () => {
    expect(injectionSeconds([changes(1, 2)], 4, 2)).toEqual([0.001, 0.999, 1, 1.001, 1.999, 2.001, 3]);
  });
  test('changes that follow each other within a frame are one', () => {
    expect(injectionSeconds([changes(1, 1.005), changes(1.008)], 4, 0)).toEqual([0.001, 0.999, 1.009]);
  });
});

/** A held column from pairs of instant and value. */
const held = (...pairs: [number, number][]): Column => {
  const column = new Column({ name: 'd', dimension: 'ratio', shape: 'held', means: '' });
  for (const [seconds, value] of pairs) column.append(seconds, value);
  return column;
};
const seen = (drive: Column, brake = held([0, 0]), alarm = held([0, 0]), wish = held([0, 0])): Seen => ({
  drives: [drive],
  brakes: [brake],
  wishes: [wish],
  alarms: [alarm],
});
const severity = severityOf();

describe('faults: outcomes', () => {
  // Asked for: full drive from 1 s to 5 s.
  const asked = held([0, 0], [1, 1], [5, 0]);
  const foot = held([0, 0], [1, 1], [5, 0]);
  const cases: [string, OutcomeName, Column, number, number, number | null][] = [
    ['the same', 'as-before', asked, 2, 0, 0],
    ['a frame late', 'as-before', held([0, 0], [1, 1], [5.03, 0]), 2, 0, 0],
    ['nothing at all from the start', 'no-start', held([0, 0]), 0.5, 0, 0],
    ['gone from 2 s', 'coasted', held([0, 0], [1, 1], [2, 0]), 1.5, 0, 0],
    ['half of it', 'weaker', held([0, 0], [1, 1], [2, 0.5], [5, 0]), 1.5, 0, 0],
    ['gone and back with the foot down', 'restarted', held([0, 0], [1, 1], [2, 0], [3, 1], [5, 0]), 1.5, 0, 0],
    ['still there at the end', 'kept-driving', held([0, 0], [1, 1]), 2, 1, null],
    ['still there for 2 s', 'late-return', held([0, 0], [1, 1], [7, 0]), 2, 1, 2 - 0.06],
    ['still there for half a second', 'returned', held([0, 0], [1, 1], [5.5, 0]), 2, 1, 0.5 - 0.06],
    ['drive before it is asked for', 'started', held([0, 0], [0.3, 0.4]), 0.2, 0.4, null],
    ['drive for a moment while at rest', 'jolted', held([0, 0], [0.3, 0.4], [0.5, 0], [1, 1], [5, 0]), 0.2, 0.4, 0.2],
    ['backwards while forwards is asked for', 'reversed', held([0, 0], [1, 1], [2, -0.5]), 1.5, 0.5, null],
  ];
  test.each(cases)('%s is %s', (_, name, drive, from, uncommanded, safeSeconds) => {
    const outcome = outcomeOf(
      seen(asked, undefined, undefined, foot),
      seen(drive, undefined, undefined, foot),
      from,
      8,
      severity,
    );
    expect(outcome.name).toBe(name);
    expect(outcome.uncommanded).toBeCloseTo(uncommanded, 9);
    if (safeSeconds === null) expect(outcome.safeSeconds).toBeNull();
    else expect(outcome.safeSeconds).toBeCloseTo(safeSeconds, 9);
  });

  test('harder than asked for is sped-up', () => {
    const half = held([0, 0], [1, 0.5], [5, 0]);
    const of = (drive: Column): Seen => seen(drive, undefined, undefined, foot);
    expect(outcomeOf(of(half), of(held([0, 0], [1, 0.5], [2, 1])), 1.5, 8, severity)).toMatchObject({
      name: 'sped-up',
      uncommanded: 1,
    });
  });

  test('an alarm that goes before the drive does is a warning, one that comes with it is none', () => {
    const wild = held([0, 0], [3, 0.5]);
    const noticed = (alarm: Column): string =>
      outcomeOf(seen(held([0, 0])), seen(wild, undefined, alarm), 0.5, 8, severity).noticed;
    expect(noticed(held([0, 0], [1, 2]))).toBe('before');
    expect(noticed(held([0, 0], [3, 2]))).toBe('with-it');
    expect(outcomeOf(seen(held([0, 0])), seen(held([0, 0])), 0.5, 8, severity).noticed).toBe('never');
  });

  describe('a healthy vehicle that its battery cuts off at 3 s with the foot held to 5 s', () => {
    const cut = held([0, 0], [1, 1], [3, 0]);
    const outcome = (drive: Column, wish = foot) =>
      outcomeOf(seen(cut, undefined, undefined, wish), seen(drive, undefined, undefined, wish), 2, 8, severity);
    test('driving on up to the release is what the foot asks for', () => {
      expect(outcome(held([0, 0], [1, 1], [5, 0])).name).toBe('as-before');
    });
    test('driving on beyond the release is not', () => {
      expect(outcome(held([0, 0], [1, 1]))).toMatchObject({ name: 'kept-driving', uncommanded: 1, safeSeconds: null });
    });
    test('starting again after a stop is not, though the foot is where it was', () => {
      expect(outcome(held([0, 0], [1, 1], [3.2, 0], [4, 1], [7, 0])).uncommanded).toBe(1);
    });
    test('nor is it once somebody has let up a little', () => {
      const eased = held([0, 0], [1, 1], [3.5, 0.8], [5, 0]);
      expect(outcome(held([0, 0], [1, 1], [4.9, 0]), eased).uncommanded).toBe(1);
    });
  });

  test('braking that nobody asked for', () => {
    const braking = held([0, 0], [2, 0.4]);
    expect(outcomeOf(seen(asked), seen(held([0, 0], [1, 1], [2, 0]), braking), 1.5, 8, severity).name).toBe('braked');
  });
});

const worstOf = (scenario: Scenario, part: string, fault: string): FaultTrial =>
  new Healthy(scenario, { briefSeconds: 0.2, spacedCount: 8 })
    .row([{ part, fault }])
    .trials.reduce((worst, trial) => (isWorse(trial, worst) ? trial : worst));

describe('faults: shipped cart', () => {
  test.each<[string, string, OutcomeName, number]>([
    // By hand: 5 V gives count 1023, compare 66, 2144 us, beyond full; the foot is off.
    ['pedal', 'shorted-to-supply', 'started', 1],
    // The sensor's output rises to its supply when its ground wire is open (HAC 830 data sheet, 4.8).
    ['pedal', 'ground-open', 'started', 1],
    // Stuck at full, the foot is taken off.
    ['pedal', 'stuck', 'kept-driving', 1],
    // Pulses end, and a controller coasts after its 300 ms: within the second.
    ['board', 'pin-open', 'returned', 1],
    ['harness', 'corroded-connector', 'as-before', 0],
  ])('%s %s: %s', (part, fault, name, uncommanded) => {
    expect(worstOf(cart, part, fault)).toMatchObject({ name, uncommanded });
  });

  test.each(['shorted-to-supply', 'signal-open', 'ground-open', 'supply-open'])(
    'a window of plausible counts stops %s, which is among its own faults or not',
    (fault) => {
      expect(worstOf(scenarioOf('pedal-wire-breaks-guarded'), 'pedal', fault).rank).toBeLessThan(4);
    },
  );
});

const folder = mkdtempSync(join(tmpdir(), 'jackstand-faults-'));
const short = (): Scenario => {
  const file = join(folder, 'short.yaml');
  writeFileSync(
    file,
    `scenario: short
bench: ${resolve('scenarios/orchard-cart/bench.yaml')}
with: { controllers.left.arming.hold: 100 ms }
duration: 1.5 s
steps: [{ at: 0 s, battery: connect }, { at: 1 s, pedal: { press: 50 % } }]
`,
  );
  return loadScenario(file).value!;
};

describe('faults: the same bytes', () => {
  test('over threads and in shares', async () => {
    const scenario = short();
    const request = planFaults([scenario.file], { spacedCount: 1 });
    const rowsOf = async (options: Parameters<typeof makeFaults>[3]): Promise<Map<number, unknown>> => {
      const rows = new Map<number, unknown>();
      await makeFaults(request, [scenario], rows, options);
      return rows;
    };
    const whole = await rowsOf({ workers: 1 });
    const text = (rows: ReadonlyMap<number, unknown>): string =>
      JSON.stringify(faultsReport([scenario], request, rows));
    const alone = text(whole);
    expect(text(await rowsOf({ workers: 2 }))).toBe(alone);
    const second = await rowsOf({ workers: 1, shard: { index: 2, count: 2 } });
    expect(second.size).toBe(Math.floor(whole.size / 2));
    const first = [...whole].filter(([index]) => index % 2 === 0);
    expect(text(new Map([...second, ...first]))).toBe(alone);
    const entries = faultsReport([scenario], request, whole).entries;
    expect(entries[0]!.worst.rank).toBe(4);
    expect(entries.at(-1)!.worst.rank).toBe(0);
  }, 60_000);

  test('pairs are of unlike parts, each once', () => {
    const scenario = short();
    const single = casesOf(planFaults([scenario.file]), [scenario]);
    const pairs = casesOf(planFaults([scenario.file], { pairs: true }), [scenario]).slice(single.length);
    const names = pairs.map(({ faults: list }) => list.map(({ part, fault }) => `${part} ${fault}`));
    expect(pairs.every(({ faults: list }) => list.length === 2 && list[0]!.part !== list[1]!.part)).toBe(true);
    expect(new Set(names.map((pair) => [...pair].sort().join())).size).toBe(pairs.length);
    const perPart = new Map<string, number>();
    for (const { faults: list } of single) perPart.set(list[0]!.part, (perPart.get(list[0]!.part) ?? 0) + 1);
    const alike = [...perPart.values()].reduce((sum, count) => sum + (count * (count - 1)) / 2, 0);
    expect(pairs.length).toBe((single.length * (single.length - 1)) / 2 - alike);
  });
});

describe('faults: compared with a saved table', () => {
  const entry = (name: OutcomeName, uncommanded: number, safeSeconds: number | null) => ({
    file: 'a.yaml',
    scenario: 'a',
    faults: [{ part: 'p', fault: 'f' }],
    trialCount: 1,
    counts: { [name]: 1 },
    worst: {
      name,
      rank: severity.ranks[name],
      uncommanded,
      safeSeconds,
      noticed: 'never' as const,
      at: 1,
      lasts: null,
    },
    failAt: 3,
  });
  const report = (...entries: ReturnType<typeof entry>[]): FaultsReport => ({ entries, trialCount: 1 });
  const saved = (name: OutcomeName, uncommanded: number, safeSeconds: number | null) => [
    {
      file: 'a.yaml',
      faults: [{ part: 'p', fault: 'f' }],
      outcome: name,
      rank: severity.ranks[name],
      uncommanded,
      safeSeconds,
    },
  ];
  test.each([
    ['bad as before', entry('started', 1, null), saved('started', 1, null), 0],
    ['better', entry('jolted', 1, 0.5), saved('started', 1, null), 0],
    ['a worse outcome', entry('started', 0.1, null), saved('coasted', 0, 0), 1],
    ['the same outcome, more of it', entry('started', 0.5, null), saved('started', 0.1, null), 1],
    ['the same outcome, for longer', entry('returned', 1, 0.8), saved('returned', 1, 0.4), 1],
    ['a new one that is bad', entry('started', 1, null), [], 1],
    ['a new one that is not', entry('coasted', 0, 0), [], 0],
  ])('%s: %#', (_, now, before, count) => {
    expect(worsenings(report(now), before)).toHaveLength(count);
  });
});
