/** Flowing signals told by straight lines: what is read from a trace is what flowed, at every instant. */
import { describe, expect, test } from 'vitest';
import { assemble } from '../../sim/bench/assemble.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { Streams } from '../../sim/kernel/random.ts';
import { GRID_PER_SECOND, record } from '../../sim/trace/record.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';

const NAMES = ['motors.left.current', 'battery.voltage', 'left.volts', 'motors.right.speed', 'motors.left.loss'];
/** A line may miss by 1e-4 of the greatest value so far, and the parabola that it is drawn along by as much. */
const SHARE = 2e-4;

const scenario = loadScenario('scenarios/orchard-cart/cold-start.yaml').value!;
const wired = () => assemble(settleParts(scenario.parts), scenario.seed, scenario.acts);

describe('flow lines: a trace', () => {
  const recorder = record(wired(), NAMES);
  recorder.runTo(6);
  const columns = NAMES.map((name) => recorder.trace.column(name)!);

  test('tells every signal to within the share at 2,000 instants, also within transients', () => {
    const again = wired();
    const { kernel, signalIndex } = again;
    // Kept in the other run as well: it would else stand at 0.
    kernel.continuum.ledger.isKept = true;
    const stream = new Streams(20261125).for('test', 'instants');
    const instants = Array.from({ length: 2000 }, () => 6 * stream.uniform()).sort((a, b) => a - b);
    const greatest = NAMES.map((_, index) => Math.max(...[...columns[index]!].map(({ value }) => Math.abs(value))));
    const worst = NAMES.map(() => 0);
    for (const seconds of instants) {
      kernel.run(seconds);
      kernel.continuum.refresh(kernel.now);
      NAMES.forEach((name, index) => {
        const flowed = kernel.values[signalIndex.get(name)!]!;
        const missed = Math.abs(columns[index]!.at(seconds) - flowed) / greatest[index]!;
        worst[index] = Math.max(worst[index]!, missed);
      });
    }
    NAMES.forEach((name, index) => {
      expect(greatest[index], name).toBeGreaterThan(0);
      expect(worst[index], name).toBeLessThan(SHARE);
    });
  });

  test('does so in less than half the samples that a look each millisecond takes', () => {
    for (const column of columns) expect(column.length, column.signal.name).toBeLessThan(6000 / 2);
  });

  test('steps where the drive steps, from what flowed just before it', () => {
    const drive = record(wired(), ['left.drive']);
    drive.runTo(6);
    const volts = recorder.trace.column('left.volts')!;
    const steps = [...drive.trace.column('left.drive')!].filter(({ value }) => value > 0.1).slice(1, 6);
    expect(steps).toHaveLength(5);
    for (const { seconds } of steps) {
      // A compare step is a sixteenth of the drive; 24 V times that, less what the bridge takes.
      expect(Math.abs(volts.at(seconds) - volts.at(seconds - 1e-6)), `${seconds}`).toBeGreaterThan(1);
      expect(volts.at(seconds - 1e-6)).toBeCloseTo(volts.at(seconds - 2e-6), 2);
    }
  });
});

describe('flow lines: going on', () => {
  test.each([3.05, 3.2, 4.2])('from %f s, within a step, gives the same samples as not having stopped', (stop) => {
    const whole = record(wired(), NAMES);
    whole.runTo(5);
    const assembly = wired();
    const first = record(assembly, NAMES);
    first.passTo(stop);
    const past = first.past();
    const snapshot = assembly.kernel.save();
    first.runTo(5);
    assembly.kernel.restore(snapshot);
    const second = record(assembly, NAMES, GRID_PER_SECOND, past);
    second.runTo(5);
    for (const [index, column] of second.trace.columns.entries()) {
      expect([...column], column.signal.name).toEqual([...whole.trace.columns[index]!]);
      expect([...first.trace.columns[index]!], column.signal.name).toEqual([...column]);
    }
  });
});
