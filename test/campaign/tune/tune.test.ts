/** Tuning against exhaustive simulation, closed forms and common practice; and that what it finds holds when it is run. */
import { describe, expect, test } from 'vitest';
import { topOf } from '../../../models/pwm-timer.ts';
import { throttlePath } from '../../../models/throttle/path.ts';
import type { TimerSetting } from '../../../models/throttle/standing.ts';
import { type Act, assemble } from '../../../sim/bench/assemble.ts';
import { type Bench, loadBench } from '../../../sim/bench/load-bench.ts';
import { type DescribedPart, settleParts } from '../../../sim/bench/schema.ts';
import { parseSource } from '../../../sim/bench/source.ts';
import { bestConstants } from '../../../sim/campaign/tune/constants.ts';
import { scenarioText } from '../../../sim/campaign/tune/scenario-text.ts';
import { type Tuned, type Tuning, tune } from '../../../sim/campaign/tune.ts';
import { record } from '../../../sim/trace/record.ts';
import { scenarioOf } from '../../../sim/verdict/load-scenario.ts';
import { runScenario } from '../../../sim/verdict/run-scenario.ts';

const BENCH = 'scenarios/orchard-cart/bench.yaml';
const benchWith = (overrides = '{ about: as shipped }'): Bench => {
  const { value, problems } = loadBench(BENCH, parseSource('test.yaml', overrides).tree!);
  if (value === undefined) throw new Error(JSON.stringify(problems.map(({ code, facts }) => [code, facts])));
  return value;
};
async function tuningOf(bench: Bench, options = {}): Promise<Tuning> {
  const outcome = await tune(bench, options);
  if ('says' in outcome) throw new Error(outcome.says);
  return outcome.tuning;
}

describe('tune: exhaustive simulation of a reduced board', () => {
  // 8-bit timer, two modes; a pedal with tolerances, a board clock with one; every pair of constants in every corner.
  const overrides = (mode: string): string =>
    `{ board.pwm: { bits: 8, mode: ${mode}, prescaler: 256 }, board.firmware.input: [170, 800], pedal.noise: 0 V, controllers.left.arming.window: ± 90 us }`;
  const acts: Act[] = [
    { seconds: 0, part: 'battery', form: 'connect', contents: undefined },
    { seconds: 0.55, part: 'pedal', form: 'press', contents: { press: 1, over: 0 } },
  ];
  const corners = [-1, 1].flatMap((clock) => [-1, 1].flatMap((rest) => [-1, 1].map((full) => ({ clock, rest, full }))));

  function worstOf(parts: readonly DescribedPart[], low: number, high: number): number {
    const margins = corners.flatMap(({ clock, rest, full }) => {
      const settled = settleParts(parts, (name, { value, tolerance }) => {
        if (name === 'board.firmware.output.0') return low;
        if (name === 'board.firmware.output.1') return high;
        const end = name === 'board.clock' ? clock : name === 'pedal.rest' ? rest : name === 'pedal.full' ? full : 0;
        return value + end * tolerance;
      });
      const recorder = record(assemble(settled, 7, acts), ['left.pulse']);
      recorder.runTo(0.7);
      const column = recorder.trace.column('left.pulse')!;
      const [atRest, atFull] = [column.at(0.54), column.at(0.7)];
      // Neutral 1500 +- 90 us, full 2000 us, valid up to 2400 us: the bench file.
      return [atRest - 1410e-6, 1590e-6 - atRest, atFull - 2000e-6, 2400e-6 - atFull, atRest - 700e-6];
    });
    return Math.min(...margins);
  }

  test('the best constants are those that no other pair beats, with the margin that simulation gives', () => {
    for (const mode of ['fast', 'phase-correct']) {
      const { parts } = benchWith(overrides(mode));
      const found = throttlePath(parts);
      if ('says' in found) throw new Error(found.says);
      const { timer, firmware } = found.path;
      const setting: TimerSetting = {
        mode: timer.mode,
        bits: timer.bits,
        prescaler: timer.prescaler,
        top: topOf(timer),
      };
      const law = { input: firmware.input, clamp: false, deadBand: 0 };
      const { constants, standing } = bestConstants(found.path, setting, law)!;
      const [lowest, least] = mode === 'fast' ? [44, 61] : [22, 30];
      let [worst, pair] = [Number.NEGATIVE_INFINITY, [0, 0]];
      for (let low = lowest; low < lowest + 4; low += 1)
        for (let high = least; high < least + 7; high += 1) {
          const margin = worstOf(parts, low, high);
          if (margin > worst + 1e-12) [worst, pair] = [margin, [low, high]];
        }
      expect([mode, constants.output]).toEqual([mode, pair]);
      expect(standing.worst.seconds).toBeCloseTo(worst, 10);
    }
  });
});

describe('tune: common practice', () => {
  // Common practice, no source: at 16 MHz with divider 1024 an 8-bit timer ticks every 64 us, so that 1.5 to 2.2 ms are
  // about a dozen steps.
  const benchOverrides = {
    'board.clock': '16 MHz',
    'pedal.noise': '0 V',
    'board.pwm.bits': 8,
    'board.pwm.prescaler': 1024,
    'board.firmware.output': [22, 34],
    'controllers.left.pulse.full': '2200 us',
    'controllers.left.arming.window': '± 40 us',
  };
  const bench = benchWith(JSON.stringify(benchOverrides));

  test('an 8-bit timer gives about a dozen drive steps, a 16-bit one hundreds', async () => {
    const { tuned } = await tuningOf(bench, { confirmCount: 1 });
    const coarse = tuned.filter(({ setup }) => setup.timer.counterBits === 8 && setup.prescaler === 1024);
    expect(coarse.length).toBeGreaterThan(0);
    for (const { steps } of coarse) {
      expect(steps).toBeGreaterThanOrEqual(5);
      expect(steps).toBeLessThanOrEqual(13);
    }
    const [best] = tuned as [Tuned];
    expect(best.setup.timer.counterBits).toBe(16);
    expect(best.steps).toBeGreaterThan(300);
    expect(best.confirmation).toEqual({ holds: true, failed: [] });
  });

  test('the count of steps is what a slow sweep of the pedal counts', async () => {
    const { tuned } = await tuningOf(bench, { confirmCount: 0 });
    const { patch, steps } = tuned.find(({ setup }) => setup.prescaler === 1024)!;
    const laid = JSON.stringify({ ...benchOverrides, ...patch });
    const swept = `scenario: sweep\nbench: bench.yaml\nwith: ${laid}\nduration: 25 s\nsteps: [{ at: 0 s, battery: connect }, { at: 3 s, pedal: { press: 100 %, over: 20 s } }]\nexpect: [{ that: left.steps = ${steps}, within: 22 s, from: 3 s }, { that: left.steps <= ${steps}, always: true }]`;
    const { value } = scenarioOf('scenarios/orchard-cart/sweep.yaml', parseSource('sweep.yaml', swept));
    expect(runScenario(value!, { causes: false }).holds).toBe(true);
  });
});

describe('tune: the shipped bench', () => {
  test('finds settings with the widest margin first, and the simulation agrees in both corners', async () => {
    const bench = benchWith();
    const { tuned, now } = await tuningOf(bench, { confirmCount: 4 });
    // As shipped: output 62 gives 2016 us, less 1 % of the clock and one step for a sensor 60 mV low: below 2000 us.
    expect(now.standing.worst).toMatchObject({ need: 'full', controller: 'left' });
    expect(now.standing.worst.seconds).toBeCloseTo((62 * 32e-6) / 1.01 - 2000e-6, 8);
    const margins = tuned.map(({ standing }) => Math.floor(standing.worst.seconds * 1e6 + 1e-6));
    expect(margins).toEqual([...margins].sort((a, b) => b - a));
    expect(tuned.every(({ fits }) => fits)).toBe(true);
    expect(tuned.slice(0, 4).map(({ confirmation }) => confirmation)).toEqual(
      Array(4).fill({ holds: true, failed: [] }),
    );
    // 1500 us +-1 % leaves 5 us of the window of 20 us; a tick of 125 ns takes at most half of itself.
    expect(tuned[0]!.standing.worst.seconds).toBeGreaterThan(4.9e-6);
    expect(tuned[0]!.standing.worst.seconds).toBeLessThanOrEqual(5e-6);
  });

  // Fast PWM counts top + 1 ticks a frame, phase-correct 2 x top (8161D sections 15.9.3 and 15.9.4).
  test('a free top gives the usual frame of 20 ms to the tick', async () => {
    const { tuned } = await tuningOf(benchWith(), { confirmCount: 0 });
    const tops = tuned
      .filter(({ setting, setup }) => setting.prescaler === 8 && setup.waveform.topFrom === 'input-capture')
      .map(({ setting, frameSeconds }) => [setting.mode, setting.top, frameSeconds]);
    expect(tops).toContainEqual(['fast', 19_999, 0.02]);
    expect(tops).toContainEqual(['phase-correct', 10_000, 0.02]);
  });

  test('what is written as a scenario loads, changes what it must, and holds', async () => {
    const bench = benchWith();
    const { tuned, path } = await tuningOf(bench, { confirmCount: 0 });
    const { constants, patch } = tuned[0]!;
    expect(patch).toMatchObject({ 'board.pwm.bits': 16, 'board.firmware.output': [...constants.output] });
    expect(Object.keys(patch)).not.toContain('board.pwm.mode');
    const text = scenarioText(bench.parts, path, constants, patch, { bench: 'bench.yaml', title: 'tuned' });
    const { value, problems } = scenarioOf('scenarios/orchard-cart/tuned.yaml', parseSource('tuned.yaml', text));
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([]);
    expect(runScenario(value!, { causes: false }).holds).toBe(true);
  });

  test('a timer that start-up code keeps its time on is said to be, and stands behind its equals', async () => {
    const { tuned } = await tuningOf(benchWith(), { confirmCount: 0 });
    const twins = tuned.filter(({ setup }) => setup.waveform.number === 3 && setup.prescaler === 256);
    expect(twins.map(({ setup }) => setup.timer.name)).toEqual(['Timer2', 'Timer0']);
    expect(twins[1]!.sideEffects.map(({ code }) => code)).toContain('time-base');
  });

  test('a bench that says that its timer keeps time is told what becomes of it', async () => {
    const { tuned } = await tuningOf(benchWith('{ board.firmware.keeps-time: { prescaler: 64 } }'), {
      confirmCount: 0,
    });
    const effect = tuned[0]!.sideEffects.find(({ code }) => code === 'keeps-time')!;
    expect(effect.says).toContain('divider 64');
  });
});

describe('tune: reverse', () => {
  test('a range for reverse gets the compare that gives full reverse at full pedal', async () => {
    const bench = benchWith(
      '{ selector: { positions: [reverse, neutral, forward], start: neutral }, board.firmware.ranges: { forward: { output: [46, 62] }, reverse: { output: [46, 30] } } }',
    );
    const { tuned } = await tuningOf(bench, { confirmCount: 1 });
    const { constants, standing, patch, setting, confirmation } = tuned[0]!;
    expect(patch['board.firmware.ranges.reverse.output']).toEqual([constants.output[0], constants.reverse]);
    expect(patch['board.firmware.ranges.forward.output']).toEqual([...constants.output]);
    const reverse = standing.margins.find(({ need }) => need === 'reverse')!;
    expect(reverse.measured.most).toBeLessThanOrEqual(1000e-6);
    // One compare nearer to neutral would leave less margin than rest has.
    const rest = standing.margins.find(({ need }) => need === 'rest')!;
    expect(reverse.seconds).toBeGreaterThanOrEqual(rest.seconds);
    expect(reverse.seconds).toBeLessThan(rest.seconds + (1.02 * setting.prescaler) / 8e6);
    expect(confirmation).toEqual({ holds: true, failed: [] });
  });
});

describe('tune: nothing fits', () => {
  // 1500 us +-1 % is 15 us to each side, 5 us more than a window of 10 us.
  test('it says which need fails, where, and by how much', async () => {
    const { tuned, costs } = await tuningOf(benchWith('{ controllers.left.arming.window: ± 10 us }'));
    const { fits, standing, confirmation } = tuned[0]!;
    expect([fits, confirmation]).toEqual([false, undefined]);
    expect(standing.worst).toMatchObject({ need: 'rest' });
    expect(standing.worst.seconds).toBeLessThan(-4.9e-6);
    expect(standing.worst.seconds).toBeGreaterThan(-5.5e-6);
    expect(costs[0]).toMatchObject({ path: 'board.clock', tolerance: '8 MHz ± 1 %' });
    expect(costs[0]!.seconds).toBeGreaterThan(9e-6);
  });

  // No frame is both at most 10 ms and at least 12 ms: the least miss is 1 ms, and 1 % of the clock more.
  test('controllers that want frames apart are told so', async () => {
    const bench = benchWith(
      '{ controllers.left.pulse.period: [4 ms, 10 ms], controllers.right.pulse.period: [12 ms, 25 ms] }',
    );
    const { tuned } = await tuningOf(bench);
    expect(tuned[0]!.fits).toBe(false);
    expect(tuned[0]!.standing.worst.need).toBe('frame');
    expect(tuned[0]!.standing.worst.seconds).toBeLessThan(-1e-3);
    expect(tuned[0]!.standing.worst.seconds).toBeGreaterThan(-1.4e-3);
  });
});

describe('tune: interrupted', () => {
  test('it ranks what was found so far', async () => {
    const interrupt = new AbortController();
    const { tuned, isInterrupted } = await tuningOf(benchWith(), {
      signal: interrupt.signal,
      progress: (done: number) => {
        if (done === 40) interrupt.abort();
      },
    });
    expect(isInterrupted).toBe(true);
    expect(tuned.length).toBeGreaterThan(0);
    expect(tuned.some(({ setup }) => setup.timer.number === 2)).toBe(false);
  });
});
