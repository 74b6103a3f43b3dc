/** What quantity does a text such as `0.91 V ± 40 mV` mean? */
import { exactRatio, type Split, scaled, splitNumber } from './decimal.ts';
import type { QuantityMistake } from './mistake.ts';
import { likelyText, nearestSymbol } from './nearest.ts';
import { type Dimension, dimensionsOf, offeredSymbols, unitOf } from './unit-table.ts';

export interface Quantity {
  /** In the base unit of its dimension: V, A, ohm, F, H, s, Hz, m, m2, kg, N, N.m, W, J, C, degC, K, m/s, rad; a ratio as 0 to 1. */
  readonly value: number;
  /** Half-width in the base unit, 0 where none was given. */
  readonly tolerance: number;
  readonly dimension: Dimension;
  /** As it was written. */
  readonly text: string;
  /** `value` as a ratio of safe integers in lowest terms, where unit and decimal text allow one. */
  readonly exact?: { readonly count: number; readonly per: number };
}

export type Parsed = { readonly quantity: Quantity } | { readonly mistake: QuantityMistake };

/** Longest text that is read at all, so that hostile input costs nothing. */
const TEXT_LENGTH_MAX = 200;
/** Greatest magnitude in base units: beyond it a float64 no longer tells whole numbers well apart. */
const MAGNITUDE_MAX = 1e15;

const PLUS_MINUS = /\u00b1|\+\/-/;
const NOT_FINITE = /^[+\-\u2212]?\.?(nan|inf|infinity|\u221e)\b/i;

/**
 * Reads `text` as a quantity of `dimension`. Numbers without a unit are read for a ratio and a count only.
 * Tolerances are absolute (`± 40 mV`) or relative (`± 1 %`, `± 50 ppm`); those of a ratio are always absolute, so
 * `50 % ± 2 %` is 48 to 52 %. Never throws; what is wrong comes back as data.
 */
export function parseQuantity(text: string | number, dimension: Dimension): Parsed {
  const written = String(text).trim();
  if (written.length > TEXT_LENGTH_MAX) {
    return {
      mistake: {
        code: 'too-long',
        text: written.slice(0, TEXT_LENGTH_MAX),
        dimension,
        length: written.length,
        limit: TEXT_LENGTH_MAX,
      },
    };
  }
  const [valueText = '', toleranceText, ...more] = written.split(PLUS_MINUS);
  const at = { text: written, dimension };
  if (more.length > 0) return { mistake: { ...at, code: 'bad-tolerance', why: 'twice' } };
  if (toleranceText !== undefined && valueText.trim() === '')
    return { mistake: { ...at, code: 'bad-tolerance', why: 'alone' } };

  const value = readValue(valueText.trim(), at, toleranceText?.trim());
  if ('code' in value) return { mistake: value };
  const tolerance = toleranceText === undefined ? 0 : readTolerance(toleranceText.trim(), at, value);
  if (typeof tolerance !== 'number') return { mistake: tolerance };
  if (Math.abs(value.value) + tolerance > MAGNITUDE_MAX)
    return { mistake: { ...at, code: 'too-large', limit: MAGNITUDE_MAX } };
  if (dimension === 'count' && !(Number.isInteger(value.value) && Number.isInteger(tolerance)))
    return { mistake: { ...at, code: 'not-whole' } };
  const { exact } = value;
  return {
    quantity: { value: value.value, tolerance, dimension, text: written, ...(exact === undefined ? {} : { exact }) },
  };
}

interface At {
  readonly text: string;
  readonly dimension: Dimension;
}

interface ReadValue {
  readonly value: number;
  readonly symbol: string;
  readonly exact?: { readonly count: number; readonly per: number };
}

function readValue(valueText: string, at: At, toleranceText: string | undefined): ReadValue | QuantityMistake {
  const { dimension } = at;
  if (NOT_FINITE.test(valueText)) return { ...at, code: 'not-finite' };
  const split = splitNumber(valueText);
  if (split === undefined) return { ...at, code: 'no-number' };
  if (split.oddRest) return { ...at, code: 'bad-number', ...nearestNumber(valueText, toleranceText) };
  const { number, symbol } = split;
  const unit = unitOf(dimension, symbol);
  if (unit === undefined) return unitMistake(at, split, toleranceText);
  if (unit.gauge !== undefined) {
    const { least, most, toBase } = unit.gauge;
    const gauge = Number(number.plain);
    const real = Number.isInteger(gauge) && gauge >= least && gauge <= most;
    return real ? { value: toBase(gauge), symbol } : { ...at, code: 'no-such-gauge', unit: unit.symbol, least, most };
  }
  const exact = exactRatio(number, unit);
  const value = exact === undefined ? scaled(number, unit) : exact.count / exact.per;
  if (!Number.isFinite(value)) return { ...at, code: 'too-large', limit: MAGNITUDE_MAX };
  return { value, symbol, ...(exact === undefined ? {} : { exact }) };
}

/** Absolute half-width in base units. */
function readTolerance(text: string, at: At, of: ReadValue): number | QuantityMistake {
  const { dimension } = at;
  if (text === '') return { ...at, code: 'bad-tolerance', why: 'missing' };
  if (NOT_FINITE.test(text)) return { ...at, code: 'not-finite' };
  const split = splitNumber(text);
  if (split === undefined || split.oddRest) return { ...at, code: 'bad-tolerance', why: 'no-number' };
  const { number, symbol, unitText } = split;
  if (number.negative) return { ...at, code: 'bad-tolerance', why: 'negative' };

  // A share of a temperature in degC means nothing, for its zero is arbitrary; a ratio's own % is already absolute.
  const share =
    dimension === 'ratio' || dimension === 'temperature'
      ? undefined
      : symbol === ''
        ? undefined
        : unitOf('ratio', symbol);
  const absolute = unitOf(dimension === 'temperature' ? 'temperature-difference' : dimension, symbol);
  const result =
    share !== undefined
      ? scaled(number, share) * Math.abs(of.value)
      : absolute === undefined || absolute.gauge !== undefined
        ? undefined
        : scaled(number, absolute);
  if (result !== undefined)
    return Number.isFinite(result) ? result : { ...at, code: 'too-large', limit: MAGNITUDE_MAX };

  if (symbol === '') return { ...at, code: 'bad-tolerance', why: 'no-unit', nearest: `${at.text} ${of.symbol}` };
  const allowed = [
    ...offeredSymbols(dimension === 'temperature' ? 'temperature-difference' : dimension).filter(
      (one) => one !== 'AWG',
    ),
  ];
  if (dimension !== 'ratio' && dimension !== 'temperature') allowed.push('%', 'ppm');
  const is = dimensionsOf(symbol)[0];
  const nearest = is === undefined ? nearestSymbol(symbol, dimension) : undefined;
  return {
    ...at,
    code: 'tolerance-dimension',
    unit: unitText,
    allowed,
    ...(is === undefined || is === dimension ? {} : { is }),
    ...(nearest === undefined ? {} : { nearest: `± ${number.plain} ${nearest}` }),
  };
}

function unitMistake(at: At, { number, symbol, unitText }: Split, toleranceText: string | undefined): QuantityMistake {
  const { dimension } = at;
  const allowed = offeredSymbols(dimension);
  if (symbol === '')
    return { ...at, code: 'no-unit', allowed, nearest: likelyText(number.plain, dimension, toleranceText) };
  const meant = nearestSymbol(symbol, dimension);
  const nearest = meant === undefined ? {} : { nearest: withTolerance(`${number.plain} ${meant}`, toleranceText) };
  const is = dimensionsOf(symbol)[0];
  return is === undefined
    ? { ...at, code: 'unknown-unit', unit: unitText, allowed, ...nearest }
    : { ...at, code: 'wrong-dimension', unit: unitText, is, allowed, ...nearest };
}

/** The same number with a decimal point for its comma, or without the marks that group its digits. */
function nearestNumber(text: string, toleranceText: string | undefined): { nearest?: string } {
  const comma = /^([+\-\u2212]?\d+),(\d+)(\s*[^\d\s,.].*)?$/.exec(text);
  if (comma !== null) return { nearest: withTolerance(`${comma[1]}.${comma[2]}${comma[3] ?? ''}`, toleranceText) };
  const grouped = /^([+\-\u2212]?\d{1,3}(?:[ _']\d{3})+)(\s*[^\d\s,.].*)?$/.exec(text);
  return grouped === null
    ? {}
    : { nearest: withTolerance(`${grouped[1]!.replace(/[ _']/g, '')}${grouped[2] ?? ''}`, toleranceText) };
}

function withTolerance(valueText: string, toleranceText: string | undefined): string {
  return toleranceText === undefined || toleranceText === '' ? valueText : `${valueText} ± ${toleranceText}`;
}
