/** How is a number in base units written for a reader, and in which unit do machine formats give it? */
import { powerOfTen } from './decimal.ts';
import { DIMENSIONS, type Dimension, factorOf, type Unit, unitOf } from './unit-table.ts';

export interface FormatOptions {
  /** Use this unit of the dimension instead of choosing one. */
  readonly unit?: string;
  /** Significant digits, 4 if not given. Digits before the decimal point are never rounded away. */
  readonly digits?: number;
  /** `µs`, `Ω`, `°C`, `m²`, `N·m` instead of `us`, `ohm`, `degC`, `m2`, `N.m`. */
  readonly unicode?: boolean;
  /** A plus sign before what is above 0. */
  readonly signed?: boolean;
}

const DIGITS = 4;

/**
 * A number with its unit: `1536 us`, `0.91 V`, `38 mohm`, `8 MHz`, `93 %`, `61.04 Hz`, and a bare `12` for a count.
 *
 * Each unit is used from a stated magnitude on, looked up after rounding. Times: ns below 1 us, us below 10 ms (so all
 * servo pulses), ms below 1 s, s above. Volts and amperes from 0.1 on, so that `0.91 V` stays. 0 has the base unit.
 * Infinity is `infinite`, NaN `unknown`.
 */
export function formatQuantity(value: number, dimension: Dimension, options: FormatOptions = {}): string {
  if (Number.isNaN(value)) return 'unknown';
  if (!Number.isFinite(value)) return value > 0 ? 'infinite' : '-infinite';
  const digits = options.digits ?? DIGITS;
  const unit = options.unit === undefined ? printedUnit(value, dimension, digits) : namedUnit(options.unit, dimension);
  const number = rounded(value / factorOf(unit), digits);
  const sign = options.signed === true && number > 0 ? '+' : '';
  const symbol = options.unicode === true ? unicodeSymbol(unit.symbol) : unit.symbol;
  return symbol === '' ? `${sign}${number}` : `${sign}${number} ${symbol}`;
}

/**
 * The unit in which machine formats give numbers of this dimension: multiply by `scale`. Times are in microseconds
 * (those of signals are pulses and periods); all others are in the base unit, `1` for plain numbers.
 */
export function unitFor(dimension: Dimension): { readonly unit: string; readonly scale: number } {
  if (dimension === 'time') return { unit: 'us', scale: 1e6 };
  const { base } = DIMENSIONS[dimension];
  return { unit: base === '' ? '1' : base, scale: 1 };
}

/**
 * Numbers of this dimension are printed in units that are powers of ten of the base unit: rounded to some digits they are
 * the same number in all of them, and it is read back from its text to the last bit.
 */
export function isPrintedDecimally(dimension: Dimension): boolean {
  return printedUnits(dimension).every(
    ({ count, per }) => powerOfTen(count) !== undefined && powerOfTen(per) !== undefined,
  );
}

function printedUnits(dimension: Dimension): readonly Unit[] {
  return DIMENSIONS[dimension].units.filter(({ from }) => from !== undefined);
}

function namedUnit(symbol: string, dimension: Dimension): Unit {
  const unit = unitOf(dimension, symbol);
  if (unit === undefined || unit.gauge !== undefined)
    throw new Error(`${symbol} is not a unit to print ${DIMENSIONS[dimension].called} in`);
  return unit;
}

function printedUnit(value: number, dimension: Dimension, digits: number): Unit {
  const { base } = DIMENSIONS[dimension];
  const printed = printedUnits(dimension);
  const last = printed[printed.length - 1]!;
  if (value === 0) return unitOf(dimension, base)?.from === undefined ? last : unitOf(dimension, base)!;
  for (const [index, unit] of printed.entries()) {
    const next = printed[index + 1];
    // Rounded first: 9999.99 us is 10 ms, not 10000 us. Compared in the present unit, where 10000 is a whole number.
    if (
      next !== undefined &&
      Math.abs(rounded(value / factorOf(unit), digits)) < rounded(next.from! / factorOf(unit), digits)
    )
      return unit;
  }
  return last;
}

function rounded(value: number, digits: number): number {
  const wholeDigits = Number(value.toExponential().split('e')[1]) + 1;
  return Number(value.toPrecision(Math.min(Math.max(digits, wholeDigits), 21)));
}

function unicodeSymbol(symbol: string): string {
  return symbol
    .replace(/^u/, 'µ')
    .replace('ohm', 'Ω')
    .replace('degC', '°C')
    .replace(/^deg/, '°')
    .replace('2', '²')
    .replaceAll('.', '·');
}
