/**
 * From what broke an expectation to the least that does: fewer steps, then faults for good, then round levels and instants,
 * then a shorter run, and again until nothing gets simpler. Each candidate is run; one is taken only if it breaks the same
 * expectation.
 */
import type { Gene } from './gene.ts';
import type { Ground } from './ground.ts';

export interface Shrunk {
  readonly genes: readonly Gene[];
  readonly durationMilliseconds: number;
  readonly runs: number;
}

const ROUNDS_MOST = 8;
/** From the roundest on. */
const ROUND_MILLISECONDS = [1000, 500, 100, 50, 10];
const ROUND_PERCENTS = [100, 50, 25, 10, 5];

export function shrink(ground: Ground, found: readonly Gene[], broken: number): Shrunk {
  let genes = [...found];
  let duration = ground.request.durationMilliseconds;
  let runs = 0;
  const breaks = (candidate: readonly Gene[], milliseconds: number): boolean => {
    runs += 1;
    return ground.try(candidate, milliseconds).broken === broken;
  };
  const taken = (candidate: readonly Gene[]): boolean => {
    if (!breaks(candidate, duration)) return false;
    genes = [...candidate].sort((a, b) => a.at - b.at);
    return true;
  };
  for (let round = 0; round < ROUNDS_MOST; round += 1) {
    const before = JSON.stringify([genes, duration]);
    for (let place = genes.length - 1; place >= 0; place -= 1) taken(genes.toSpliced(place, 1));
    // Two that only make sense together, such as off and on again.
    for (let place = genes.length - 2; place >= 0; place -= 1) taken(genes.toSpliced(place, 2));
    for (let place = 0; place < genes.length; place += 1) {
      const gene = genes[place]!;
      for (const simpler of simplerThan(gene)) if (taken(genes.with(place, simpler))) break;
    }
    for (let place = 0; place < genes.length; place += 1) {
      for (const at of rounderThan(genes[place]!.at)) if (taken(genes.with(place, { ...genes[place]!, at }))) break;
    }
    for (const shorter of shorterThan(duration, genes.at(-1)?.at ?? 0)) {
      if (!breaks(genes, shorter)) continue;
      // A run that is over before anything could be met breaks that by itself, which is nobody's doing.
      if (genes.length > 0 && breaks([], shorter)) continue;
      duration = shorter;
      break;
    }
    if (JSON.stringify([genes, duration]) === before) break;
  }
  return { genes, durationMilliseconds: duration, runs };
}

/** The same thing with a rounder number in it, the roundest first. */
function simplerThan(gene: Gene): Gene[] {
  if ('fault' in gene) {
    if (gene.lasts === null) return [];
    return [{ ...gene, lasts: null }, ...rounderThan(gene.lasts).map((lasts) => ({ ...gene, lasts }))].filter(
      (one) => one.lasts !== 0,
    );
  }
  if (!('lever' in gene)) return [];
  const sign = Math.sign(gene.lever);
  const levels = [100 * sign, 50 * sign, ...ROUND_PERCENTS.map((step) => Math.round(gene.lever / step) * step)];
  return [...new Set(levels)]
    .filter((lever) => roundness(lever, ROUND_PERCENTS) < roundness(gene.lever, ROUND_PERCENTS))
    .map((lever) => ({ ...gene, lever }));
}

/** Rounder numbers near this one, below it before above it, the roundest first; of a whole second the smaller ones. */
function rounderThan(milliseconds: number): number[] {
  if (milliseconds % 1000 === 0) return Array.from({ length: milliseconds / 1000 }, (_, second) => 1000 * second);
  const candidates = ROUND_MILLISECONDS.flatMap((step) => [
    Math.floor(milliseconds / step) * step,
    Math.ceil(milliseconds / step) * step,
  ]);
  const own = roundness(milliseconds, ROUND_MILLISECONDS);
  return [...new Set(candidates)].filter((one) => roundness(one, ROUND_MILLISECONDS) < own);
}

/** Place of the roundest step of which it is a multiple; 0 is the roundest of all. */
function roundness(value: number, steps: readonly number[]): number {
  if (value === 0) return -1;
  const place = steps.findIndex((step) => value % step === 0);
  return place === -1 ? steps.length : place;
}

/** Shorter runs in whole half seconds, the shortest first. */
function shorterThan(duration: number, lastMilliseconds: number): number[] {
  const shorter: number[] = [];
  for (let length = (Math.floor(lastMilliseconds / 500) + 1) * 500; length < duration; length += 500)
    shorter.push(length);
  return shorter;
}
