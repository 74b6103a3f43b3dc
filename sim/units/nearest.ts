/** Which unit did somebody mean who wrote none, or one that is not known? */
import { distance } from 'fastest-levenshtein';
import { DIMENSIONS, type Dimension, dimensionsOf, offeredSymbols, plainSymbol, unitOf } from './unit-table.ts';

/** Words and slips that edit distance would send to the wrong unit. Looked up in lower case. */
const SPELLED_OUT: Readonly<Record<string, readonly string[]>> = {
  V: ['volt', 'volts'],
  A: ['amp', 'amps', 'ampere', 'amperes'],
  ohm: ['r', 'ohms'],
  s: ['sec', 'secs', 'second', 'seconds'],
  ms: ['msec', 'millis', 'millisecond', 'milliseconds'],
  us: ['usec', 'mcs', 'micros', 'microsecond', 'microseconds'],
  min: ['m', 'minute', 'minutes'],
  h: ['hr', 'hrs', 'hour', 'hours'],
  Hz: ['hertz', 'cps'],
  '%': ['percent', 'pct'],
  degC: ['c', 'celsius', 'deg', 'k'],
  'km/h': ['kph', 'kmh', 'kmph', 'kmhr'],
  mm2: ['mm', 'sqmm'],
  m: ['metre', 'meter', 'metres', 'meters'],
  kg: ['kilo', 'kilos'],
  Bd: ['baud', 'bps'],
  Ah: ['a.h'],
  A2s: ['i2t'],
};

const WORD_LENGTH_MAX = 20;

/**
 * The unit of `dimension` that `symbol` was probably meant to be: another case, a spelled-out word, or, unless `symbol`
 * is itself a unit of something else, a near spelling that shares at least half its letters.
 */
export function nearestSymbol(symbol: string, dimension: Dimension): string | undefined {
  if (symbol.length > WORD_LENGTH_MAX) return undefined;
  const offered = offeredSymbols(dimension);
  const small = symbol.toLowerCase();
  const sameLetters = offered.filter((one) => one.toLowerCase() === small);
  const slip = closest(symbol, sameLetters) ?? offered.find((one) => SPELLED_OUT[one]?.includes(small));
  if (slip !== undefined || dimensionsOf(symbol).length > 0) return slip;
  const near = closest(symbol, offered);
  return near !== undefined && distance(small, near.toLowerCase()) <= symbol.length / 2 ? near : undefined;
}

/** A full spelling for a number without a unit: `1500` as a time is most likely `1500 us`. */
export function likelyText(number: string, dimension: Dimension, toleranceText: string | undefined): string {
  // `5 ± 0.1 V` is a common way to write it: the tolerance's unit is the value's too.
  const shared = toleranceText === undefined ? undefined : plainSymbol(toleranceText.replace(/^[\d.\s]+/, ''));
  const symbol =
    shared !== undefined && unitOf(dimension, shared) !== undefined
      ? shared
      : likelySymbol(Math.abs(Number(number)), dimension);
  return toleranceText === undefined || toleranceText === ''
    ? `${number} ${symbol}`
    : `${number} ${symbol} ± ${toleranceText}`;
}

function likelySymbol(magnitude: number, dimension: Dimension): string {
  // Pulses in microseconds have three digits and more; frames and filters in milliseconds two; holds in seconds one.
  if (dimension === 'time') return magnitude >= 300 ? 'us' : magnitude >= 10 ? 'ms' : 's';
  if (dimension === 'charge') return magnitude >= 500 ? 'mAh' : 'Ah';
  if (dimension === 'area') return 'mm2';
  if (dimension === 'speed') return 'km/h';
  return DIMENSIONS[dimension].base;
}

function closest(word: string, among: readonly string[]): string | undefined {
  let best: string | undefined;
  let bestDistance = Number.POSITIVE_INFINITY;
  for (const one of among) {
    const steps = distance(word, one);
    if (steps < bestDistance) [best, bestDistance] = [one, steps];
  }
  return best;
}
