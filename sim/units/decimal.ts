/** What number stands at the head of a text, and what is it worth in a unit, to the last bit? */
import { plainSymbol, type Unit } from './unit-table.ts';

/** Decimal places beyond which no exact ratio of safe integers can exist. */
const DIGITS_MAX = 40;
/** Exponents beyond it are 0 or infinite in any unit. */
const POWER_MAX = 1000;

const NUMBER = /^([+\-\u2212]?)(\d+\.?\d*|\.\d+)(?:[eE]([+\-\u2212]?\d+))?/;

/** A decimal number as it was written. */
export interface Decimal {
  /** ASCII spelling. */
  readonly plain: string;
  readonly negative: boolean;
  /** All digits without point and leading zeros: the number is `digits x 10^power`. */
  readonly digits: string;
  readonly power: number;
}

export interface Split {
  readonly number: Decimal;
  /** The unit in the table's spelling, and as it was written. */
  readonly symbol: string;
  readonly unitText: string;
  /** What follows is no unit but more of a number, as in `1,5 V` or `0x10`. */
  readonly oddRest: boolean;
}

/** The number at the head of a text and the unit after it. */
export function splitNumber(text: string): Split | undefined {
  const match = NUMBER.exec(text);
  if (match === null) return undefined;
  const [whole, sign = '', mantissa = '', exponent = '0'] = match;
  const [before = '', after = ''] = mantissa.split('.');
  const minus = /[-\u2212]/;
  const number: Decimal = {
    plain: whole.replaceAll('\u2212', '-'),
    negative: minus.test(sign),
    digits: `${before}${after}`.replace(/^0+/, ''),
    power: Math.min(Math.max(Number(exponent.replace('\u2212', '-')), -POWER_MAX), POWER_MAX) - after.length,
  };
  const rest = text.slice(whole.length).trim();
  // `1/s` is a unit that begins with a digit; any other digit, comma or point here belongs to a number, as does `0x`.
  const grouped = /^(?:[.,_']\d|\d)/.test(rest) && !/^1\s?\/\s?[a-z]/i.test(rest);
  const oddRest = grouped || /^0(x[\da-f]|[ob][0-7])/i.test(text);
  return { number, symbol: plainSymbol(rest), unitText: rest, oddRest };
}

/** In base units. For a decimal prefix the float nearest to the decimal number, since the shift is done on its text. */
export function scaled(number: Decimal, unit: Unit): number {
  const up = powerOfTen(unit.count);
  const down = powerOfTen(unit.per);
  const whole =
    Number(`${number.negative ? '-' : ''}${number.digits || '0'}e${number.power + (up ?? 0) - (down ?? 0)}`) + 0;
  return (whole * (up === undefined ? unit.count : 1)) / (down === undefined ? unit.per : 1);
}

/** Of ten, the power that a whole number is; undefined where it is none. */
export function powerOfTen(whole: number): number | undefined {
  const power = Math.round(Math.log10(whole));
  return Number(`1e${power}`) === whole ? power : undefined;
}

/** The number in base units as a ratio of safe integers in lowest terms, or undefined where there is none. */
export function exactRatio(number: Decimal, unit: Unit): { count: number; per: number } | undefined {
  if (!Number.isSafeInteger(unit.count) || !Number.isSafeInteger(unit.per)) return undefined;
  if (number.digits === '') return { count: 0, per: 1 };
  if (number.digits.length > DIGITS_MAX || Math.abs(number.power) > DIGITS_MAX) return undefined;
  const up = BigInt(number.digits) * BigInt(unit.count) * 10n ** BigInt(Math.max(number.power, 0));
  const down = BigInt(unit.per) * 10n ** BigInt(Math.max(-number.power, 0));
  const common = greatestCommonDivisor(up, down);
  const count = Number(up / common);
  const per = Number(down / common);
  if (!Number.isSafeInteger(count) || !Number.isSafeInteger(per)) return undefined;
  return { count: number.negative ? -count : count, per };
}

function greatestCommonDivisor(a: bigint, b: bigint): bigint {
  while (b !== 0n) [a, b] = [b, a % b];
  return a;
}
