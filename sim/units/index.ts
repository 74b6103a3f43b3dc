/** Quantities: what a text with a unit means, how it is printed, and how it becomes a number. */
export { type FormatOptions, formatQuantity, unitFor } from './format.ts';
export { type MistakeWords, type QuantityMistake, quantityMistakeWords } from './mistake.ts';
export { range, type Window, window } from './pairs.ts';
export { type Parsed, parseQuantity, type Quantity } from './parse.ts';
export {
  ampereHours,
  ampereSquaredSeconds,
  amperes,
  baud,
  bytes,
  count,
  type Described,
  degreesCelsius,
  farads,
  henries,
  hertz,
  joules,
  joulesPerKelvin,
  kelvinPerWatt,
  kelvins,
  kilogramSquareMetres,
  kilograms,
  type Limits,
  metres,
  metresPerSecond,
  metresPerSecondSquared,
  newtonMetreSecondsPerRadian,
  newtonMetres,
  newtons,
  ohms,
  perSecond,
  type QuantitySchema,
  quantity,
  quantityMistakeOf,
  radians,
  radiansPerSecond,
  ratio,
  seconds,
  squareMetres,
  voltSecondsPerRadian,
  volts,
  watts,
} from './schema.ts';
export { isQuantity, listTolerances, nominal, type Placed, type Settled, settle } from './settle.ts';
export { type Dimension, dimensionWords, offeredSymbols } from './unit-table.ts';
