/**
 * The drive that the speed of the whole bench is measured on: the pedal, board and controllers of `two-controllers.ts`,
 * and all that turns their drive into motion: battery with its slow part, harness with a fuse, rail, bridges that limit,
 * motors that warm up, a vehicle on a slope. The same numbers stand in `fused-power.ts`, where they are worked by hand.
 */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import type { Scenario } from '../../sim/verdict/run-scenario.ts';
import type { Ramp } from './fused.ts';
import { DRIVE_SECONDS, rampsOf, SEED } from './two-controllers.ts';

// A rail without output resistance, as the arithmetic by hand has 5 V and nothing else. Tyres that hold: nothing slips.
const bench = (capacity: string): string => `bench: power side
battery:
  chemistry: lead-acid
  cells: 12
  capacity: ${capacity}
  charge: 95 %
  resistance: 38 mohm
  polarisation: 15 mohm
  recovery: 30 s
harness: { main: { length: 1.2 m, area: 16 mm2, connectors: 2 mohm, fuse: 100 A, fuse-type: maxi } }
rail: { from: left, voltage: 5 V, output-resistance: 0 ohm, load: 60 mA }
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
    cutoff: { warn: 22 V, cut: 19 V, delay: 500 ms }
    power: { limit: 60 A, brake-limit: 60 A, lead: { length: 0.3 m, area: 6 mm2 } }
  right: { like: left }
motors:
  left: { resistance: 95 mohm, inductance: 120 uH, constant: 0.061 V.s/rad, gear: 12 }
  right: { like: left }
vehicle: { mass: 140 kg, wheel: 0.16 m, rolling: 0.03, grade: 2 %, grip: 0.8, driven-share: 80 %, on: ground }
`;

const scenario = (ramps: readonly Ramp[], durationSeconds: number): string => `scenario: a foot that never rests, uphill
bench: bench.yaml
seed: ${SEED}
duration: ${durationSeconds} s
steps:
  - { at: 0 s, battery: connect }
${ramps.map(({ seconds, travel, overSeconds }) => `  - { at: ${seconds} s, pedal: { press: ${travel}, over: ${overSeconds} s } }`).join('\n')}
expect:
  - { that: left.mode is armed, within: 2 s }
  - { that: right.mode is armed, within: 2 s }
  - { that: battery.voltage > 19 V, always: true }
  - { that: motors.left.current < 61 A, always: true }
  - { that: vehicle.speed > 3 m/s, within: 30 s }
  - { when: pedal.travel < 2 %, then: left.drive = 0, within: 1 s }
`;

/** The drive of a minute; or one that goes on like it, from a battery that lasts. */
export function powerScenario(durationSeconds = DRIVE_SECONDS, capacity = '18 Ah'): Scenario {
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
  writeFileSync(join(folder, 'bench.yaml'), bench(capacity));
  writeFileSync(join(folder, 'scenario.yaml'), scenario(rampsOf(durationSeconds), durationSeconds));
  const { value, problems } = loadScenario(join(folder, 'scenario.yaml'));
  if (value === undefined) throw new Error(JSON.stringify(problems));
  return value;
}
