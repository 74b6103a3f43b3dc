/**
 * The drive that speed is measured on: a pedal, a board with a pass of 1 ms, two controllers, sixty seconds with a foot
 * that never rests. The same numbers stand in `fused.ts`, where they are worked by hand.
 */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import type { Scenario } from '../../sim/verdict/run-scenario.ts';
import type { Ramp } from './fused.ts';

export const DRIVE_SECONDS = 60;
export const SEED = 7;

/** A press or a release every second and a half, each to another place and at another pace. */
export function rampsOf(durationSeconds: number): readonly Ramp[] {
  return Array.from({ length: ((durationSeconds - 6) * 2) / 3 }, (_, index) => ({
    seconds: 3 + (index * 3) / 2,
    travel: ((index * 37) % 101) / 100,
    overSeconds: index % 4 === 0 ? 0 : (index % 4) / 4,
  }));
}

export const ramps = rampsOf(DRIVE_SECONDS);

// An ideal regulator, as the arithmetic by hand has 5 V and nothing else. No motors: they are measured with the shipped bench.
const bench = `bench: two controllers
battery: { chemistry: lead-acid, cells: 12, capacity: 18 Ah }
rail: { voltage: 5 V, output-resistance: 0 ohm, load: 0 A }
pedal: { kind: hall, rest: 0.91 V, full: 4.08 V, ratiometric: true, noise: 6 mV, lag: 3 ms }
board:
  clock: 8 MHz
  adc: { bits: 10, reference: rail, prescaler: 64, pull: none }
  pwm: { bits: 8, mode: fast, prescaler: 256 }
  firmware: { kind: mapping, every: 1 ms, input: [186, 828], output: [46, 62] }
controllers:
  left:
    pulse: { neutral: 1500 us, full: 2000 us, reverse: 1000 us, valid: [700 us, 2400 us], period: [4 ms, 25 ms] }
    arming: { window: ± 20 us, hold: 1 s }
    reverse: none
  right: { like: left }
`;

const scenario = `scenario: a foot that never rests
bench: bench.yaml
seed: ${SEED}
duration: ${DRIVE_SECONDS} s
steps:
  - { at: 0 s, battery: connect }
${ramps.map(({ seconds, travel, overSeconds }) => `  - { at: ${seconds} s, pedal: { press: ${travel}, over: ${overSeconds} s } }`).join('\n')}
expect:
  - { that: left.mode is armed, within: 2 s }
  - { that: right.mode is armed, within: 2 s }
  - { that: left.pulse < 2.1 ms, always: true }
  - { when: pedal.travel < 2 %, then: left.drive = 0, within: 1 s }
`;

export function driveScenario(): Scenario {
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
  writeFileSync(join(folder, 'bench.yaml'), bench);
  writeFileSync(join(folder, 'scenario.yaml'), scenario);
  const { value, problems } = loadScenario(join(folder, 'scenario.yaml'));
  if (value === undefined) throw new Error(JSON.stringify(problems));
  return value;
}
