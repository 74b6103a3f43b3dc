/** What turns a verdict, against closed forms and against trying every value. */
import { readdirSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { z } from 'zod';
import { parseSource } from '../../../sim/bench/source.ts';
import { trialOf, truthsOf } from '../../../sim/campaign/why/trial.ts';
import { type Change, ranked, type WhyReport, why } from '../../../sim/campaign/why.ts';
import type { Quantity } from '../../../sim/units/index.ts';
import { loadScenario, scenarioOf } from '../../../sim/verdict/load-scenario.ts';
import { runScenario, type Scenario } from '../../../sim/verdict/run-scenario.ts';

const FOLDER = 'scenarios/orchard-cart';
const shipped = (name: string): Scenario => loadScenario(`${FOLDER}/${name}.yaml`).value!;

/** A scenario beside the shipped ones: power on, foot off. */
function written(lines: string): Scenario {
  const text = `scenario: test\nbench: bench.yaml\nduration: 2 s\nsteps: [{ at: 0 s, battery: connect }]\n${lines}`;
  return scenarioOf(`${FOLDER}/test.yaml`, parseSource('test.yaml', text)).value!;
}

const toArm = 'expect: [{ that: left.mode is armed, within: 2 s }]';
const only = (...paths: string[]) => ({ only: (path: string) => paths.includes(path) });
const change = ({ changes }: WhyReport, path: string, direction: Change['direction']): Change =>
  changes.find((one) => one.path === path && one.direction === direction)!;

describe('why: the shipped refusal', () => {
  // Compare 47 gives (47 + 1) x 256 / 8 MHz = 1536 us against a window of 1500 +- 20 us (fast PWM: 8161D section 14.7.3).
  test('finds the single changes that arm it, both controllers at once', async () => {
    const report = await why(shipped('idle-one-too-high'));
    expect(report.question).toBe('mend');
    expect(report.asked).toEqual([0, 1]);
    const all = { turns: [0, 1], alsoTurns: [2] };
    expect(change(report, 'board.firmware.output.0', 'down')).toMatchObject({
      from: 47,
      to: 46,
      edge: [47, 46],
      ...all,
    });
    expect(change(report, 'controllers.*.arming.window', 'up')).toMatchObject({
      to: 36e-6,
      members: ['left', 'right'],
      ...all,
    });
    expect(change(report, 'controllers.*.pulse.neutral', 'up')).toMatchObject({ to: 1516e-6, ...all });
    // 48 x 256 ticks last 1520 us at this clock.
    expect(change(report, 'board.clock', 'up').edge![1] / ((48 * 256) / 1520e-6)).toBeCloseTo(1, 6);
    expect(change(report, 'controllers.*.pulse.clock', 'down').edge![1]).toBeCloseTo(1520 / 1536 - 1, 6);
    expect(report.inert).toContain('battery.capacity');
    expect(report.steady).toContain('board.firmware.output.1');
    const distances = report.changes.map(({ relative }) => relative ?? Number.POSITIVE_INFINITY);
    expect(distances).toEqual([...distances].sort((a, b) => a - b));
  });

  test('says that only one compare arms, as running every compare says', async () => {
    const scenario = shipped('idle-one-too-high');
    const report = await why(scenario, only('board.firmware.output.0'));
    const armed = Array.from({ length: 20 }, (_, index) => 38 + index).filter((low) => {
      const lines = `with: { board.firmware.output: [${low}, 70] }\n${toArm}`;
      return runScenario(written(lines), { causes: false }).holds;
    });
    expect(armed).toEqual([46]);
    expect(report.changes).toMatchObject([{ to: 46, back: 45 }]);
  });

  test('the same files give the same report', async () => {
    const [one, other] = [
      await why(shipped('idle-one-too-high'), only('board.clock')),
      await why(shipped('idle-one-too-high'), only('board.clock')),
    ];
    expect(one.changes).toEqual(other.changes);
    expect(one.runCount).toBe(other.runCount);
  });
});

describe('why: turning points with a closed form', () => {
  // 47 ticks of 32 us are 1504 us; measured 1520 us they leave the window.
  test('controller clock: armed up to 1520 / 1504 - 1', async () => {
    const report = await why(written(toArm), only('controllers.*.pulse.clock'));
    expect(report.question).toBe('break');
    const [same, turned] = change(report, 'controllers.*.pulse.clock', 'up').edge!;
    // The controller rounds to a nanosecond, a third of a millionth of this pulse.
    expect(same).toBeLessThanOrEqual(1520 / 1504 - 1 + 4e-7);
    expect(turned).toBeGreaterThanOrEqual(1520 / 1504 - 1 - 4e-7);
    expect(turned - same).toBeLessThan(1e-6);
  });

  test('arming window: it breaks below the 4 us between 1504 us and 1500 us', async () => {
    const report = await why(written(toArm), only('controllers.*.arming.window'));
    const [same, turned] = change(report, 'controllers.*.arming.window', 'down').edge!;
    expect(same).toBeCloseTo(4e-6, 9);
    expect(turned).toBeLessThan(4e-6);
  });

  // Ohm's law: each metre of the cable is two of copper, 1/58 ohm mm2 a metre each (IACS, IEC 1913), 10 mm2 of them. The
  // regulator is linear and its load constant, so that the current does not change with the length.
  test('wire length: the supply sinks to a cutoff where the drop along the wire says', async () => {
    const amps = 1.5;
    const lines = (volts: number): string =>
      `with: { rail.load: ${amps} A }\nexpect: [{ that: left.supply > ${volts} V, always: true, from: 1 s }]`;
    const [least] = runScenario(written(lines(20))).expectations;
    const cutoff = Number((20 + least!.margin - 0.05).toFixed(3));
    const report = await why(written(lines(cutoff)), only('harness.main.length'));
    expect(report.changes.map(({ direction }) => direction)).toEqual(['up']);
    const [same, turned] = change(report, 'harness.main.length', 'up').edge!;
    const drawn = runScenario(written(lines(20)), { record: ['harness.current'] }).trace.column('harness.current')!;
    const metres = 1.2 + ((20 + least!.margin - cutoff) / drawn.valueAt(drawn.length - 1)) * ((58 * 10) / 2);
    expect(drawn.valueAt(drawn.length - 1)).toBeGreaterThan(amps);
    expect(same / metres).toBeCloseTo(1, 3);
    expect(turned / metres).toBeCloseTo(1, 3);
  });

  // (compare + 1) x prescaler / clock inside the window: fast PWM, 8161D section 14.7.3.
  test('law: the nearest compare that arms is the one that the width formula gives', () =>
    fc.assert(
      fc.asyncProperty(
        fc.integer({ min: 1, max: 6 }),
        fc.integer({ min: 17, max: 60 }),
        fc.constantFrom(-1, 1),
        async (away, windowMicros, side) => {
          const arms = (compare: number): boolean => Math.abs((compare + 1) * 32 - 1500) <= windowMicros;
          let nearest = 46;
          while (arms(nearest + side)) nearest += side;
          const start = nearest + side * away;
          const report = await why(
            written(
              `with: { board.firmware.output: [${start}, 90], controllers.left.arming.window: ± ${windowMicros} us }\n${toArm}`,
            ),
            only('board.firmware.output.0'),
          );
          expect(change(report, 'board.firmware.output.0', side > 0 ? 'down' : 'up')).toMatchObject({
            from: start,
            to: nearest,
          });
        },
      ),
      { seed: 20261125, numRuns: 8 },
    ));
});

describe('why: which verdict is asked about', () => {
  test('a failed expectation is asked for what turns it, one that holds is not', async () => {
    const report = await why(
      written(
        `expect:\n  - { that: left.mode is armed, within: 2 s }\n  - { that: left.pulse < 1.5 ms, always: true }`,
      ),
      only('board.firmware.output.0'),
    );
    expect(report).toMatchObject({ question: 'mend', asked: [1] });
    // 46 ticks are 1472 us: the second comes true and the first no longer.
    expect(report.changes).toMatchObject([{ to: 45, turns: [1], alsoTurns: [0] }]);
  });

  test('one that was stated to fail and came true is asked for what makes it fail', async () => {
    const report = await why(
      written('expect: [{ that: left.mode is armed, within: 2 s, fails: true }]'),
      only('board.firmware.output.0'),
    );
    expect(report.run.holds).toBe(false);
    expect(report.changes.map(({ to }) => to).sort()).toEqual([45, 47]);
  });

  test('without expectations there is nothing to ask', async () => {
    expect(await why(written('expect: []'))).toMatchObject({ asked: [], changes: [], inert: [], steady: [] });
  });

  test('a choice that would leave the bench unwired is not tried', async () => {
    const report = await why(written(toArm), only('controllers.*.input', 'board.pwm.mode'));
    expect(report.changes.map(({ to }) => to)).toEqual(['phase-correct', 'phase-and-frequency-correct']);
  });
});

describe('why: numbers that run away', () => {
  /** The battery's capacity as good as 0, which no file may say: its schema is left open here. */
  function withCapacity(scenario: Scenario, ampereHours: number): Scenario {
    const parts = scenario.parts.map((part) => {
      if (part.name !== 'battery') return part;
      const parameters = part.parameters as Readonly<Record<string, Quantity>>;
      const capacity = { ...parameters.capacity!, value: ampereHours, tolerance: 0 };
      const schema = (part.kind.parameters as unknown as z.ZodObject).extend({ capacity: z.any() });
      return { ...part, kind: { ...part.kind, parameters: schema }, parameters: { ...parameters, capacity } };
    });
    return { ...scenario, parts: parts as unknown as Scenario['parts'] };
  }

  // The foot goes down at 1 s. A run that ends before that has not seen it, and would say that it never does.
  const untrue = scenarioOf(
    `${FOLDER}/test.yaml`,
    parseSource(
      'test.yaml',
      `scenario: test\nbench: bench.yaml\nduration: 2 s\nsteps: [{ at: 0 s, battery: connect }, { at: 1 s, pedal: { press: 100 %, over: 100 ms } }]\nexpect: [{ that: pedal.travel < 50 %, always: true }]`,
    ),
  ).value!;

  test('what was judged before they did is no cure', async () => {
    const runsAway = (ampereHours: number): boolean =>
      runScenario(withCapacity(untrue, ampereHours), { causes: false }).findings.some(
        ({ code }) => code === 'numerical-blow-up',
      );
    const exponent = Array.from({ length: 300 }, (_, index) => -index - 1).find((power) =>
      runsAway(Number(`1e${power}`)),
    )!;
    const scenario = withCapacity(untrue, Number(`1e${exponent + 1}`));
    const cut = withCapacity(untrue, Number(`1e${exponent}`));
    expect(await trialOf(untrue, [0])(cut.parts)).toMatchObject({ truths: [true], ranAway: true });
    const report = await why(scenario, only('battery.capacity'));
    expect(report).toMatchObject({
      question: 'mend',
      asked: [0],
      changes: [],
      inert: [],
      steady: ['battery.capacity'],
    });
  });
});

describe('why: the order of cures', () => {
  // The cut-off stands above what the battery gives under its load. It would not come either if the drive never armed: a
  // clock 1 % off does that, the nearest of all changes, but it breaks what held.
  test('asked for what mends: what mends more comes first, then what breaks less, then what is nearer', () => {
    const change = (path: string, relative: number, turns: number[], alsoTurns: number[]): Change => ({
      path,
      members: [],
      isSymmetric: false,
      from: 1,
      to: 1 + relative,
      dimension: 'count',
      direction: 'up',
      relative,
      edge: null,
      back: null,
      turns,
      alsoTurns,
    });
    const far = change('far', 0.5, [1], []);
    const near = change('near', 0.1, [1], [0]);
    const nearer = change('nearer', 0.01, [1], [0]);
    const both = change('both', 0.9, [1, 2], [0]);
    const order = (question: 'mend' | 'break') => ranked([near, far, both, nearer], question).map(({ path }) => path);
    expect(order('mend')).toEqual(['both', 'far', 'nearer', 'near']);
    // Asked for what breaks, the nearest is all that counts.
    expect(order('break')).toEqual(['nearer', 'near', 'far', 'both']);
  });

  // 46 ticks of 32 us are 1472 us: below 1.475 ms, and below 1.5 ms, which compare 46 (1504 us) is not either.
  test('an expectation asked about that turned nearer by counts among those that a change turns', async () => {
    const report = await why(
      written(
        'expect:\n  - { that: left.pulse < 1.5 ms, always: true }\n  - { that: left.pulse < 1.45 ms, always: true }',
      ),
      only('board.firmware.output.0'),
    );
    expect(report.changes).toMatchObject([
      { to: 44, turns: [0, 1], alsoTurns: [] },
      { to: 45, turns: [0], alsoTurns: [] },
    ]);
  });
});

describe('why: what a change turns besides', () => {
  const names = readdirSync(FOLDER)
    .filter((name) => name.endsWith('.yaml') && !name.startsWith('bench'))
    .map((name) => name.slice(0, -'.yaml'.length));

  // The run that tells it ends as soon as all is decided: it must say what a whole run says.
  test.each(names)('%s: decided early as a whole run decides', async (name) => {
    const scenario = loadScenario(`${FOLDER}/${name}.yaml`).value;
    if (scenario === undefined || scenario.expectations.length === 0) return;
    const whole = runScenario(scenario, { causes: false }).expectations.map(({ truth }) => truth);
    expect(await truthsOf(scenario)(scenario.parts)).toEqual(whole);
    const breathing = truthsOf(scenario, () => undefined);
    expect(await breathing(scenario.parts)).toEqual(whole);
  });
});

describe('why: interrupted', () => {
  test('it gives what was found so far', async () => {
    const interrupt = new AbortController();
    const report = await why(written(toArm), {
      signal: interrupt.signal,
      progress: (_, __, path) => {
        if (path === 'board.firmware.output.1') interrupt.abort();
      },
      only: (path) => path.startsWith('board.firmware.output'),
    });
    expect(report.isInterrupted).toBe(true);
    expect(report.changes.map(({ path }) => path)).toEqual(['board.firmware.output.0', 'board.firmware.output.0']);
  });
});

describe('why: while others have their turn', () => {
  test('stopping to breathe in the middle of runs changes nothing', async () => {
    for (const name of ['idle-one-too-high', 'cold-start']) {
      const scenario = shipped(name);
      const wanted = only('board.firmware.output.0', 'board.clock', 'pedal.rest');
      let breaths = 0;
      const breathe = () => {
        breaths += 1;
        return breaths % 7 === 0 ? new Promise<void>((resolve) => setImmediate(resolve)) : undefined;
      };
      const [plain, breathing] = [await why(scenario, wanted), await why(scenario, { ...wanted, breathe })];
      expect(breathing.changes).toEqual(plain.changes);
      expect([breathing.inert, breathing.steady]).toEqual([plain.inert, plain.steady]);
      expect(breaths).toBeGreaterThan(10);
    }
  }, 60_000);

  test('what is found is told as it is found, the report has no other', async () => {
    const found: Change[] = [];
    const report = await why(shipped('idle-one-too-high'), {
      ...only('board.firmware.output.0', 'board.clock', 'battery.capacity'),
      found: (changes) => found.push(...changes),
    });
    expect(found.map(({ path, to }) => [path, to]).sort()).toEqual(
      report.changes.map(({ path, to }) => [path, to]).sort(),
    );
    expect(report).toMatchObject({ triedCount: 3, parameterCount: 3 });
  });

  test('asked only what mends, it asks nothing of a scenario in which all came true', async () => {
    const report = await why(written(toArm), { ...only('board.clock'), question: 'mend' });
    expect(report).toMatchObject({ question: 'mend', asked: [], changes: [], parameterCount: 0 });
  });
});
