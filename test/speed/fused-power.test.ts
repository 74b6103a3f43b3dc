/**
 * The bench with its power side and the arithmetic by hand drive the same way: a figure that compares their speeds would
 * otherwise compare two different things. They integrate by different rules with different steps, so that this also holds
 * the step control of the bench against one that has none.
 */
import { describe, expect, test } from 'vitest';
import { Streams } from '../../sim/kernel/random.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { fusedPowerRun } from './fused-power.ts';
import { powerScenario } from './power.ts';
import { DRIVE_SECONDS, ramps, SEED } from './two-controllers.ts';

/** Greatest difference between both, as a share of full scale; at a step of the drive a current moves 150 A in 1 ms. */
const TOLERANCE = 0.002;
/** Full scale: the greatest value of the drive, to two digits. */
const TRACES = [
  ['vehicle.speed', 4.8],
  ['motors.left.current', 60],
  ['motors.right.current', 60],
  ['battery.voltage', 27],
] as const;

describe('fused power: the drive that the speed of the whole bench is measured on', () => {
  const run = runScenario(powerScenario(), { record: [...TRACES.map(([name]) => name), 'left.drive'] });
  const columns = TRACES.map(([name]) => run.trace.column(name)!);
  const drive = run.trace.column('left.drive')!;
  const worst = TRACES.map(() => 0);
  const greatest = TRACES.map(() => 0);
  let otherDrives = 0;
  let passes = 0;
  const noise = new Streams(SEED).for('pedal', 'noise');
  const byHand = fusedPowerRun(DRIVE_SECONDS, ramps, noise, (seconds, speed, left, right, volts, driven) => {
    // The first column begins when the supply does.
    if (seconds < 0.1) return;
    passes += 1;
    if (Math.abs(drive.at(seconds) - driven) > 1e-9) otherDrives += 1;
    [speed, left, right, volts].forEach((value, index) => {
      const there = columns[index]!.at(seconds);
      worst[index] = Math.max(worst[index]!, Math.abs(there - value));
      greatest[index] = Math.max(greatest[index]!, Math.abs(there));
    });
  });

  test('is one in which the expectations hold, the limit is at work and the battery takes current back', () => {
    expect(run.expectations.filter(({ holds }) => !holds)).toEqual([]);
    expect(run.findings).toEqual([]);
    expect(passes).toBeGreaterThan(59_000);
    expect(byHand.pulseCount).toBeGreaterThan(14_000);
    expect(greatest[1]).toBeGreaterThan(59.9);
    // More than its 12 cells have at rest: 25.3 V.
    expect(greatest[3]).toBeGreaterThan(27);
  });

  test('has the same drive at each pass', () => {
    expect(otherDrives).toBe(0);
  });

  test.each(TRACES)(`has the same %s within ${TOLERANCE * 100} % of full scale (%f)`, (name, fullScale) => {
    const index = TRACES.findIndex(([other]) => other === name);
    expect(worst[index]! / fullScale).toBeLessThan(TOLERANCE);
  });
});
