/**
 * The kernel and the arithmetic by hand make the same drive, pulse by pulse: a figure that compares their speeds would
 * otherwise compare two different things.
 */
import { describe, expect, test } from 'vitest';
import { Streams } from '../../sim/kernel/random.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';
import { fusedRun } from './fused.ts';
import { DRIVE_SECONDS, driveScenario, ramps, SEED } from './two-controllers.ts';

interface Change {
  readonly seconds: number;
  readonly value: number;
}

describe('fused: the drive that speed is measured on', () => {
  const run = runScenario(driveScenario());
  const column = (name: string): Change[] => {
    return [...run.trace.columns.find(({ signal }) => signal.name === name)!];
  };
  const pulses: Change[] = [];
  const drives: Change[] = [];
  const note = (list: Change[], seconds: number, value: number): void => {
    if (list.at(-1)?.value !== value) list.push({ seconds, value });
  };
  const fused = fusedRun(DRIVE_SECONDS, ramps, new Streams(SEED).for('pedal', 'noise'), (seconds, pulse, drive) => {
    note(pulses, seconds, pulse);
    note(drives, seconds, drive);
  });

  test('is one in which the controllers arm and the expectations hold', () => {
    expect(run.holds).toBe(true);
    expect(fused.pulseCount).toBeGreaterThan(14_000);
    expect(pulses.length).toBeGreaterThan(300);
  });

  test.each([
    ['pulses', 'left.pulse', pulses],
    ['drives', 'left.drive', drives],
  ])('has the same %s at the same instants', (_what, name, byHand) => {
    // The kernel's column begins with the value at the start, before there is any pulse.
    const byKernel = column(name).filter(({ value, seconds }) => value !== 0 || seconds > 2);
    const wanted = byHand.filter(({ value, seconds }) => value !== 0 || seconds > 2);
    expect(byKernel.length).toBe(wanted.length);
    byKernel.forEach(({ seconds, value }, index) => {
      expect(seconds).toBeCloseTo(wanted[index]!.seconds, 12);
      expect(value).toBeCloseTo(wanted[index]!.value, 9);
    });
  });
});
