/** The throttle's way as ranges: closed forms, and that they hold every run within the tolerances. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type ThrottlePath, throttlePath } from '../../../models/throttle/path.ts';
import { type Constants, standingOf, type TimerSetting } from '../../../models/throttle/standing.ts';
import { CORNERS, cornerValue } from '../../../models/throttle/trial.ts';
import type { Act } from '../../../sim/bench/assemble.ts';
import { assemble } from '../../../sim/bench/assemble.ts';
import { settleParts } from '../../../sim/bench/schema.ts';
import { parseSource } from '../../../sim/bench/source.ts';
import { record } from '../../../sim/trace/record.ts';
import { scenarioOf } from '../../../sim/verdict/load-scenario.ts';

function partsWith(overrides: string) {
  const text = `scenario: test\nbench: bench.yaml\nduration: 1 s\nwith: ${overrides}\nexpect: []`;
  return scenarioOf('scenarios/orchard-cart/test.yaml', parseSource('test.yaml', text)).value!.parts;
}
function pathWith(overrides: string): ThrottlePath {
  const found = throttlePath(partsWith(overrides));
  if ('says' in found) throw new Error(found.says);
  return found.path;
}

describe('throttle path: counts', () => {
  // 0.91 V x 1024 / 5 V = 186.4; +-40 mV and +-4 x 6 mV of noise at a rail of 4.9 V least: 0.846 V to 0.974 V.
  test('a sensor in proportion to the rail does not feel the rail', () => {
    const { restCounts, middle } = pathWith('{ pedal.noise: 0 V }');
    expect(restCounts).toEqual({ least: Math.floor((0.87 / 5) * 1024), most: Math.floor((0.95 / 5) * 1024) });
    expect(middle.restCount).toBe(186);
  });
  test('one that is not feels it in full', () => {
    const { restCounts } = pathWith('{ pedal.noise: 0 V, pedal.ratiometric: false, rail.load: 0 A }');
    expect(restCounts).toEqual({ least: Math.floor((0.87 / 5.1) * 1024), most: Math.floor((0.95 / 4.9) * 1024) });
  });
  test('an error of the converter and a filter that stops short widen them', () => {
    const exact = pathWith('{ pedal.noise: 0 V }').restCounts;
    const wide = pathWith('{ pedal.noise: 0 V, board.adc.offset: 0 ± 2, board.firmware.filter: 2 }').restCounts;
    expect(wide).toEqual({ least: exact.least - 2 - 3, most: exact.most + 2 + 3 });
  });
  test('a switch gives no count and every count', () => {
    const parts = partsWith('{}').map((part) =>
      part.kind.kind === 'pedal' ? { ...part, parameters: part.kind.parameters.parse({ kind: 'switch' }) } : part,
    );
    const found = throttlePath(parts);
    expect('path' in found && found.path.middle).toMatchObject({ restCount: 0, fullCount: 1023 });
  });
});

describe('throttle path: what it refuses', () => {
  test('controllers that all listen to a receiver are not driven by the timer', () => {
    const parts = partsWith('{ receiver: {}, controllers.left.input: receiver }');
    expect(throttlePath(parts)).toEqual({ says: "no controller is driven by the board's timer" });
  });
});

describe('throttle path: standing', () => {
  const setting: TimerSetting = { mode: 'fast', bits: 8, prescaler: 256, top: 255 };
  const constants: Constants = {
    input: [186, 828],
    output: [46, 62],
    integer: 32,
    clamp: true,
    deadBand: 0,
    reverse: null,
  };
  // 47 ticks of 32 us are 1504 us, +-1 % of the clock: / 1.01 and / 0.99.
  test('the pulse at rest is (compare + 1) ticks over the clock (fast PWM: 8161D section 14.7.3)', () => {
    const standing = standingOf(pathWith('{ pedal.rest: 0.90 V ± 10 mV, pedal.noise: 0 V }'), setting, constants);
    const rest = standing.margins.find(({ need }) => need === 'rest')!;
    expect(rest.measured.least).toBeCloseTo(1504e-6 / 1.01, 9);
    expect(rest.measured.most).toBeCloseTo(1504e-6 / 0.99, 9);
    expect(rest.seconds).toBeCloseTo(1520e-6 - 1504e-6 / 0.99, 9);
  });
  test('tolerances of neutral and window narrow what is wanted', () => {
    const path = pathWith(
      '{ controllers.left.pulse.neutral: 1500 us ± 3 us, controllers.left.pulse.dead: 15 us ± 1 us }',
    );
    expect(path.controllers[0]!.rest.least).toBeCloseTo(1503e-6 - 14e-6, 12);
    expect(path.controllers[0]!.rest.most).toBeCloseTo(1497e-6 + 14e-6, 12);
  });

  const acts: Act[] = [
    { seconds: 0, part: 'battery', form: 'connect', contents: undefined },
    { seconds: 0.6, part: 'pedal', form: 'press', contents: { press: 1, over: 0 } },
  ];

  const share = fc.double({ min: -1, max: 1, noNaN: true });
  test('law: every simulated pulse at rest and at full lies within the ranges', () => {
    const overrides =
      '{ board.adc.offset: 0 ± 2, pedal.ratiometric: false, controllers.left.pulse.clock: 0 % ± 0.5 %, pedal.noise: 3 mV }';
    const parts = partsWith(overrides);
    const path = pathWith(overrides);
    const own: Constants = { ...constants, clamp: false };
    const { margins } = standingOf(path, setting, own);
    const within = (need: 'rest' | 'full') => margins.find((margin) => margin.need === need)!.measured;
    let seen = 0;
    fc.assert(
      fc.property(fc.array(share, { minLength: 8, maxLength: 8 }), fc.integer({ min: 1, max: 1e6 }), (shares, seed) => {
        const of = new Map<string, number>();
        const settled = settleParts(parts, (name, { value, tolerance }) => {
          if (tolerance > 0 && !of.has(name)) of.set(name, shares[of.size % shares.length]!);
          const drawn = value + tolerance * (of.get(name) ?? 0);
          return name === 'board.adc.offset' ? Math.round(drawn) : drawn;
        });
        const recorder = record(assemble(settled, seed, acts), ['left.pulse']);
        recorder.runTo(0.9);
        const column = recorder.trace.column('left.pulse')!;
        // Only changes are recorded, so that steady pulses are read at instants of their own.
        const steady = [0.4, 0.59, 0.75, 0.9].map((seconds) => ({ seconds, value: column.at(seconds) }));
        for (const { seconds, value } of [...column, ...steady]) {
          // After the start-up, and after the pedal's lag and the frame under way.
          const need = seconds > 0.35 && seconds < 0.6 ? 'rest' : seconds > 0.7 ? 'full' : undefined;
          if (need === undefined) continue;
          seen += 1;
          expect(value).toBeGreaterThanOrEqual(within(need).least - 1e-12);
          expect(value).toBeLessThanOrEqual(within(need).most + 1e-12);
        }
      }),
      { seed: 20261125, numRuns: 60 },
    );
    expect(seen).toBeGreaterThanOrEqual(240);
  });

  test.each(['true', 'false'])('the ends of the ranges are pulses of real runs, ratiometric: %s', (ratiometric) => {
    const overrides = `{ board.adc.offset: 0 ± 2, pedal.ratiometric: ${ratiometric}, controllers.left.pulse.clock: 0 % ± 0.5 %, pedal.noise: 0 V }`;
    const parts = partsWith(overrides);
    const path = pathWith(overrides);
    const { margins } = standingOf(path, setting, { ...constants, clamp: false });
    const [rest, full] = (['rest', 'full'] as const).map(
      (need) => margins.find((margin) => margin.need === need)!.measured,
    );
    const pulses = CORNERS.map((corner) => {
      const settled = settleParts(parts, (name, quantity) => cornerValue(path, corner, name, quantity));
      const recorder = record(assemble(settled, 7, acts), ['left.pulse']);
      recorder.runTo(0.9);
      const column = recorder.trace.column('left.pulse')!;
      return [column.at(0.59), column.at(0.9)];
    });
    expect(pulses[0]![0]).toBeCloseTo(rest!.most, 12);
    expect(pulses[0]![1]).toBeCloseTo(full!.most, 12);
    expect(pulses[1]![0]).toBeCloseTo(rest!.least, 12);
    expect(pulses[1]![1]).toBeCloseTo(full!.least, 12);
  });
});
