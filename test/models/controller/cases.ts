/** Tables of cases for the controller: what arrives at its pulse line and its supply, and which modes and drives are seen. */
import { expect, test } from 'vitest';
import { controller } from '../../../models/controller/controller.ts';
import { type Doing, type RigRun, rig, train } from '../rig.ts';

export type Seen = readonly [atSeconds: number, mode: string, drive?: number, brake?: number];

export interface Case {
  readonly it: string;
  /** Laid over the section of `plain`. */
  readonly with?: object;
  readonly pulse?: object;
  readonly arming?: object;
  /** Stretches of pulses: from, until, width in us, period in ms (20 if not given). */
  readonly pulses: readonly (readonly [from: number, until: number, microseconds: number, milliseconds?: number])[];
  /** Supply from an instant on; 24 V from 0 s where not given. */
  readonly supply?: readonly (readonly [at: number, volts: number])[];
  readonly more?: readonly Doing[];
  readonly seen: readonly Seen[];
}

export const pulse = {
  neutral: '1500 us',
  full: '2000 us',
  reverse: '1000 us',
  valid: ['700 us', '2400 us'],
  period: ['4 ms', '25 ms'],
};
export const arming = { window: '± 20 us', hold: '1 s' };
export const plain = { boot: '0.3 s', 'least-voltage': '5 V', 'signal-loss': { after: '300 ms', then: 'coast' } };
/** (300 - 20) / (500 - 20): the drive of 1800 us, and of 1200 us backwards. */
export const DRIVE = 280 / 480;

export function run(one: Case): RigRun {
  const section = { ...plain, pulse: { ...pulse, ...one.pulse }, arming: { ...arming, ...one.arming }, ...one.with };
  const supply = one.supply ?? [[0, 24]];
  const script: Doing[] = [
    ...supply.map(([at, to]): Doing => ({ at, feed: 'left.supply', to })),
    ...one.pulses.flatMap(([from, until, width, period = 20]) =>
      train('left.line', from, until, width / 1e6, period / 1e3),
    ),
    ...(one.more ?? []),
  ];
  const last = Math.max(...one.seen.map(([at]) => at));
  return rig({ left: [controller, section] }, script, last + 0.1);
}

export function check(one: Case): void {
  const result = run(one);
  for (const [at, mode, drive, brake] of one.seen) {
    const found = result.word('left.mode', at);
    const isThere = found === mode || found.startsWith(`${mode}.`);
    expect(isThere ? mode : found, `mode at ${at} s`).toBe(mode);
    if (drive !== undefined) expect(result.at('left.drive', at), `drive at ${at} s`).toBeCloseTo(drive, 9);
    if (brake !== undefined) expect(result.at('left.brake', at), `brake at ${at} s`).toBeCloseTo(brake, 9);
  }
}
export const table = (cases: readonly Case[]): void => {
  test.each(cases.map((one) => [one.it, one] as const))('%s', (_name, one) => check(one));
};

/** Neutral until it is armed (1.3 s after power-on) and a little longer. */
export const armed = [0, 2, 1500] as const;
