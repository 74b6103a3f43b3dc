/** Random quantities for the tests of this folder. */
import fc from 'fast-check';
import { DIMENSION_NAMES, DIMENSIONS } from '../../sim/units/unit-table.ts';

export const SEED = 20261125;

/** Every unit that the table has, with its dimension; wire sizes apart, which are whole numbers only. */
export const ALL_UNITS = DIMENSION_NAMES.flatMap((dimension) =>
  DIMENSIONS[dimension].units
    .filter((one) => one.gauge === undefined)
    .map((one) => ({ dimension, symbol: one.symbol, unit: one })),
);
export const anyDimension = fc.constantFrom(...ALL_UNITS);

/** Decimal numbers as people write them: few digits, a point somewhere, now and then an exponent. */
export const decimalText = fc
  .tuple(
    fc.constantFrom('', '-', '+', '\u2212'),
    fc.nat(999_999),
    fc.option(fc.nat(9999)),
    fc.option(fc.integer({ min: -9, max: 6 })),
  )
  .map(
    ([sign, whole, part, power]) =>
      `${sign}${whole}${part === null ? '' : `.${part}`}${power === null ? '' : `e${power}`}`,
  );
