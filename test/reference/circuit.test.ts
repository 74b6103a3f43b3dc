/**
 * The power side against ngspice, an independent circuit simulator: battery with RC pair, harness, leads, averaged
 * bridges, motors with their loads. Skipped where ngspice is not installed (apt-get install ngspice).
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { Streams } from '../../sim/kernel/random.ts';
import { type CircuitBench, COMPARED, DRIVE_FROM_SECONDS, FRAME_SECONDS, netlist, realRun } from './circuit-bench.ts';

const hasSpice = spawnSync('ngspice', ['--version']).status === 0;
const BENCHES = 24;
const SECONDS = 6;
/** Agreement asked for, as a share of the greatest value of each trace. */
const SHARE = 0.002;
const folder = mkdtempSync(join(tmpdir(), 'jackstand-circuit-'));
afterAll(() => rmSync(folder, { recursive: true }));

describe.skipIf(!hasSpice)(
  'power side: currents, voltages and speeds equal those of a circuit simulator to 0.2 % (needs ngspice)',
  () => {
    test.each(Array.from({ length: BENCHES }, (_, index) => index))('bench %i', (index) => {
      const bench = drawn(index);
      const run = realRun(bench, SECONDS);
      const drive = run.samples('left.drive');
      expect(drive.length).toBeGreaterThan(1);
      // A slipping wheel is no part of the circuit.
      expect(run.words('motors.left.mode')).not.toContain('slipping');
      expect(run.words('motors.right.mode')).not.toContain('slipping');
      const outFile = join(folder, `${index}.out`);
      const circuitFile = join(folder, `${index}.cir`);
      writeFileSync(circuitFile, netlist(bench, edges(drive), SECONDS, outFile));
      execFileSync('ngspice', ['-b', circuitFile], { stdio: 'pipe', timeout: 20_000 });
      const rows = readFileSync(outFile, 'utf8')
        .trim()
        .split('\n')
        .slice(1)
        .map((line) => line.trim().split(/\s+/).map(Number));
      expect(rows.at(-1)![0]).toBeCloseTo(SECONDS, 6);
      const instants = Array.from({ length: 500 }, (_, count) => DRIVE_FROM_SECONDS + count / 100 + 0.006).filter(
        (seconds) => seconds < SECONDS && drive.every(([at]) => Math.abs(at - seconds) > 1.5e-3),
      );
      expect(instants.length).toBeGreaterThan(200);
      COMPARED.forEach(([vector, signal], column) => {
        const theirs = instants.map((seconds) => between(rows, seconds, column + 1));
        const ours = instants.map((seconds) => run.at(signal, seconds));
        const fullScale = Math.max(...rows.map((row) => Math.abs(row[column + 1]!)));
        const worst = Math.max(...ours.map((value, at) => Math.abs(value - theirs[at]!)));
        expect(worst / fullScale, `${signal} against ${vector}`).toBeLessThan(SHARE);
      });
    });
  },
);

/** Held steps as edges of a microsecond. */
function edges(drive: readonly (readonly [number, number])[]): [number, number][] {
  return drive.slice(1).flatMap(([at, value], index): [number, number][] => [
    [at, drive[index]![1]],
    [at + 1e-5, value],
  ]);
}

function between(rows: readonly (readonly number[])[], seconds: number, column: number): number {
  let low = 0;
  let high = rows.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (rows[middle]![0]! <= seconds) low = middle;
    else high = middle;
  }
  const [a, b] = [rows[low]!, rows[high]!];
  return a[column]! + (b[column]! - a[column]!) * ((seconds - a[0]!) / (b[0]! - a[0]!));
}

/** Even ones step, odd ones ramp; each second pair stands on the ground. */
function drawn(index: number): CircuitBench {
  const stream = new Streams(20261125).for(`circuit ${index}`, 'bench');
  const from = (low: number, high: number): number => Number((low + (high - low) * stream.uniform()).toPrecision(5));
  const wide = (low: number, high: number): number => Number((low * (high / low) ** stream.uniform()).toPrecision(5));
  const frames = Math.round((SECONDS - DRIVE_FROM_SECONDS) / FRAME_SECONDS);
  const isRamp = index % 2 === 1;
  const [low, high, late] = [from(0.15, 0.4), from(0.5, 1), from(0.3, 0.9)];
  const pulses = Array.from({ length: frames }, (_, frame) => {
    const share = isRamp ? Math.min(1, (frame + 1) / (frames / 2)) : frame < frames / 2 ? high : late;
    const drive = isRamp ? low + (high - low) * share : share;
    return Number((0.001 + 0.001 * drive).toFixed(9));
  });
  const isGrounded = index % 4 >= 2;
  const one = () => ({
    leadMetres: from(0.1, 1),
    onOhms: wide(1e-3, 10e-3),
    idleAmps: from(0.01, 0.1),
    switchingSeconds: from(0, 5e-7),
    ohms: wide(0.05, 0.6),
    henries: wide(50e-6, 800e-6),
    constant: from(0.04, 0.1),
    inertia: wide(2e-4, 4e-3),
    friction: from(0, 0.03),
    viscous: wide(1e-5, 2e-3),
    gear: from(8, 16),
    celsius: from(0, 80),
    pulses,
  });
  return {
    cells: 7,
    cellVolts: [from(3.2, 3.4), from(3.9, 4.2)],
    capacityAmpereHours: wide(0.2, 20),
    charge: from(0.4, 1),
    batteryOhms: wide(0.01, 0.08),
    timesEmpty: from(1, 3),
    batteryCelsius: from(-10, 45),
    polarisationOhms: wide(0.005, 0.05),
    recoverySeconds: wide(0.3, 20),
    peukert: index % 3 === 0 ? from(1.05, 1.3) : 1,
    lengthMetres: from(0.3, 3),
    areaSquareMillimetres: wide(1.5, 10),
    wireCelsius: from(-10, 80),
    connectorOhms: from(0, 0.01),
    drives: [one(), one()],
    vehicle: isGrounded
      ? {
          kilograms: from(200, 500),
          wheelMetres: from(0.1, 0.2),
          rolling: from(0.01, 0.04),
          dragSquareMetres: from(0.2, 0.8),
          grade: from(0, 0.01),
        }
      : undefined,
  };
}
