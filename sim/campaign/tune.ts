/**
 * Timer settings and mapping constants with which all controllers of a bench arm and drive, over all its tolerances,
 * the widest worst-case margin first.
 *
 * The margins come from interval arithmetic over the integer law (models/throttle); the first few are then tried by
 * simulation in the two corners of the tolerances that are nearest to failing. It finds what fits the numbers of the
 * bench: a number that is wrong there is wrong here.
 */
import { topOf } from '../../models/pwm-timer.ts';
import {
  compareRegister,
  outputPin,
  type PwmSetup,
  type RegisterValue,
  registersOf,
} from '../../models/pwm-timer-registers.ts';
import { type Patch, patchOf } from '../../models/throttle/patch.ts';
import { type ThrottlePath, throttlePath } from '../../models/throttle/path.ts';
import {
  type Constants,
  driveSteps,
  type Standing,
  standingOf,
  type TimerSetting,
} from '../../models/throttle/standing.ts';
import type { Bench } from '../bench/load-bench.ts';
import type { DescribedPart } from '../bench/schema.ts';
import { isQuantity, listTolerances } from '../units/index.ts';
import { type Confirmation, confirm } from './tune/confirm.ts';
import { bestConstants } from './tune/constants.ts';
import { frameSecondsOf, setupsFor } from './tune/setups.ts';
import { type SideEffect, sideEffectsOf } from './tune/side-effects.ts';

export interface TuneOptions {
  /** Ends the search early; what was found so far is ranked and given back. */
  readonly signal?: AbortSignal;
  readonly progress?: (done: number, total: number, what: string) => void;
  /** How many settings are to hold in simulation, those that do not being put last; 3 if not given. */
  readonly confirmCount?: number;
}

export interface Tuned {
  readonly setup: PwmSetup;
  readonly setting: TimerSetting;
  readonly constants: Constants;
  readonly standing: Standing;
  /** Every need is met in the worst case. */
  readonly fits: boolean;
  readonly tickSeconds: number;
  readonly frameSeconds: number;
  readonly steps: number;
  readonly sideEffects: readonly SideEffect[];
  readonly registers: readonly RegisterValue[];
  readonly compareRegister: string;
  readonly pin: string;
  readonly patch: Patch;
  /** Undefined where it was not tried. */
  readonly confirmation?: Confirmation;
}

/** What one tolerance costs: the worst margin if it were 0, the constants left as they are. */
export interface Cost {
  readonly path: string;
  readonly tolerance: string;
  readonly seconds: number;
}

export interface Tuning {
  readonly bench: Bench;
  readonly path: ThrottlePath;
  /** The bench as it is. */
  readonly now: { readonly standing: Standing; readonly steps: number };
  /** What fits, best first; where nothing does, what comes nearest. */
  readonly tuned: readonly Tuned[];
  readonly costs: readonly Cost[];
  /** Ways to set up a timer that were looked at, of how many there are. */
  readonly triedCount: number;
  readonly setupCount: number;
  readonly isInterrupted: boolean;
}

export type TuneOutcome = { readonly tuning: Tuning } | { readonly says: string };

/** Margins within this of each other count as equal: controllers do not measure finer. */
const MARGIN_STEP_SECONDS = 1e-6;
const NEAREST_MISSES = 3;
const CONFIRMED = 3;

export async function tune(bench: Bench, options: TuneOptions = {}): Promise<TuneOutcome> {
  const found = throttlePath(bench.parts);
  if ('says' in found) return found;
  const { path } = found;
  const setups = setupsFor(path);
  const all: Tuned[] = [];
  let isInterrupted = false;
  let triedCount = 0;
  for (const [index, setup] of setups.entries()) {
    options.progress?.(index, setups.length, setup.timer.name);
    await new Promise((resolve) => setImmediate(resolve));
    isInterrupted = options.signal?.aborted === true;
    if (isInterrupted) break;
    triedCount += 1;
    const tuned = tunedFor(path, setup);
    if (tuned !== undefined) all.push(tuned);
  }
  const fitting = all.filter(({ fits }) => fits).sort(byRank);
  const ranked = fitting.length > 0 ? fitting : [...all].sort(byRank).slice(0, NEAREST_MISSES);
  const confirmed: Tuned[] = [];
  const wanted = Math.min(ranked.length, options.confirmCount ?? CONFIRMED);
  let heldCount = 0;
  for (const tuned of ranked) {
    if (!tuned.fits || heldCount >= wanted || isInterrupted) {
      confirmed.push(tuned);
      continue;
    }
    options.progress?.(heldCount, wanted, 'trying it by simulation');
    await new Promise((resolve) => setImmediate(resolve));
    const confirmation = confirm(bench, path, tuned.constants, tuned.patch);
    if (confirmation.holds) heldCount += 1;
    confirmed.push({ ...tuned, confirmation });
    await new Promise((resolve) => setImmediate(resolve));
    isInterrupted = options.signal?.aborted === true;
  }
  // What the simulation refuses is no setting to take, whatever the arithmetic says of it.
  const isRefused = ({ confirmation }: Tuned): boolean => confirmation?.holds === false;
  confirmed.sort((a, b) => Number(isRefused(a)) - Number(isRefused(b)));
  const [best] = confirmed;
  return {
    tuning: {
      bench,
      path,
      now: standingNow(path),
      tuned: confirmed,
      costs: best === undefined ? [] : costsOf(bench.parts, best),
      triedCount,
      setupCount: setups.length,
      isInterrupted,
    },
  };
}

/** The better of two laws: the bench's own input constants, or ones that make rest and full exact for every pedal within tolerance. */
function tunedFor(path: ThrottlePath, setup: PwmSetup): Tuned | undefined {
  const { waveform, prescaler, top } = setup;
  const setting: TimerSetting = { mode: waveform.mode, bits: waveform.bits, prescaler, top };
  const { input, clamp, 'dead-band': deadBand } = path.firmware;
  const own = { input, clamp, deadBand };
  const laws = [own, ...exactLaw(path)];
  const candidates = laws.flatMap((law) => {
    const choice = bestConstants(path, setting, law);
    if (choice === undefined) return [];
    const { constants, standing } = choice;
    const tuned: Tuned = {
      setup,
      setting,
      constants,
      standing,
      fits: standing.hasPulses && standing.worst.seconds >= 0,
      tickSeconds: prescaler / path.middle.clockHertz,
      frameSeconds: frameSecondsOf(setup, path.middle.clockHertz),
      steps: driveSteps(path, setting, constants),
      sideEffects: sideEffectsOf(path, setup, constants),
      registers: registersOf(setup, constants.output[0]),
      compareRegister: compareRegister(setup),
      pin: outputPin(setup),
      patch: patchOf(path, setup, constants),
    };
    return [tuned];
  });
  return candidates.sort(byRank)[0];
}

/** Input constants just inside what the pedal gives in every case, with the ends clamped: rest and full are then single compares. */
function exactLaw({
  restCounts,
  fullCounts,
}: ThrottlePath): { input: [number, number]; clamp: boolean; deadBand: number }[] {
  const isRising = restCounts.most < fullCounts.least;
  const isFalling = fullCounts.most < restCounts.least;
  if (!isRising && !isFalling) return [];
  const input: [number, number] = isRising ? [restCounts.most, fullCounts.least] : [restCounts.least, fullCounts.most];
  return [{ input, clamp: true, deadBand: 0 }];
}

/** Margin, then drive steps, then side effects, then as few changes as can be. */
function byRank(a: Tuned, b: Tuned): number {
  const margin = ({ standing }: Tuned): number =>
    standing.hasPulses ? Math.floor(standing.worst.seconds / MARGIN_STEP_SECONDS + 1e-6) : Number.NEGATIVE_INFINITY;
  const weight = ({ sideEffects }: Tuned): number => sideEffects.reduce((sum, effect) => sum + effect.weight, 0);
  const changes = ({ patch }: Tuned): number => Object.keys(patch).length;
  return margin(b) - margin(a) || b.steps - a.steps || weight(a) - weight(b) || changes(a) - changes(b);
}

function standingNow(path: ThrottlePath): { standing: Standing; steps: number } {
  const { firmware, timer } = path;
  const setting: TimerSetting = { mode: timer.mode, bits: timer.bits, prescaler: timer.prescaler, top: topOf(timer) };
  const { input, output, integer, clamp, 'dead-band': deadBand, ranges } = firmware;
  const constants = { input, output, integer, clamp, deadBand, reverse: ranges?.reverse?.output[1] ?? null };
  return { standing: standingOf(path, setting, constants), steps: driveSteps(path, setting, constants) };
}

/** What the worst margin would be without each of the bench's tolerances that bear on it, the greatest gain first. */
function costsOf(parts: readonly DescribedPart[], { setting, constants, standing }: Tuned): Cost[] {
  return parts
    .flatMap((part, index) =>
      listTolerances(part.parameters).flatMap(({ path: below, quantity }): Cost[] => {
        const exact = parts.with(index, { ...part, parameters: withoutTolerance(part.parameters, below) });
        const found = throttlePath(exact);
        if ('says' in found) return [];
        const { seconds } = standingOf(found.path, setting, constants).worst;
        if (seconds - standing.worst.seconds < 1e-9) return [];
        return [{ path: `${part.path.join('.')}.${below}`, tolerance: quantity.text, seconds }];
      }),
    )
    .sort((a, b) => b.seconds - a.seconds);
}

function withoutTolerance(node: unknown, below: string): unknown {
  const [key, ...rest] = below.split('.') as [string, ...string[]];
  const child = (node as Readonly<Record<string, unknown>>)[key];
  const changed =
    rest.length > 0 ? withoutTolerance(child, rest.join('.')) : isQuantity(child) ? { ...child, tolerance: 0 } : child;
  return Array.isArray(node) ? node.with(Number(key), changed) : { ...(node as object), [key]: changed };
}
