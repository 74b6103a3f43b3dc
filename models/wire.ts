/**
 * Copper wire: its resistance by length, cross-section and temperature. Used by the harness and by controllers' leads.
 *
 *     R = 2 x length x resistivity / area x (1 + 0.00393 (t - 20 degC))        two conductors, out and back
 *
 * Source: resistivity 1/58 ohm mm2/m at 20 degC and 0.393 % a kelvin (IACS, IEC 1913); stranded conductors of nominal
 * sizes by IEC 60228 tables (class 2, class 5 plain, greatest resistance at 20 degC).
 */
import { z } from 'zod';
import { degreesCelsius, metres, ohms, type Settled, squareMetres } from '../sim/units/index.ts';

export const wire = {
  length: metres({
    min: 0,
    max: 100,
    means: 'length of the cable; out and back are both counted',
    example: '1.2 m',
  }).prefault('1 m'),
  area: squareMetres({
    min: '0.05 mm2',
    max: 1e-3,
    means: 'cross-section of one conductor',
    example: '4 mm2',
  }).prefault('6 mm2'),
  conductor: z
    .enum(['ideal', 'class-2', 'class-5'])
    .prefault('ideal')
    .describe('ideal copper, or the greatest resistance that IEC 60228 allows a nominal size'),
  temperature: degreesCelsius({ min: -50, max: 200, means: 'temperature of the wire', example: '30 degC' }).prefault(
    '20 degC',
  ),
  connectors: ohms({ min: 0, max: 10, means: 'resistance of all its connectors together', example: '2 mohm' }).prefault(
    '0 ohm',
  ),
} as const;
export type Wire = Settled<z.output<z.ZodObject<typeof wire>>>;

export const COPPER_OHM_METRES = 1 / 58e6;
export const COPPER_PER_KELVIN = 0.00393;

/** Greatest resistance in ohm/km at 20 degC by cross-section in mm2 (IEC 60228). */
const IEC_60228: Readonly<Record<'class-2' | 'class-5', Readonly<Record<string, number>>>> = {
  'class-2': { 0.75: 24.5, 1: 18.1, 1.5: 12.1, 2.5: 7.41, 4: 4.61, 6: 3.08, 10: 1.83 },
  'class-5': { 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.3, 10: 1.91 },
};

/** Nominal sizes in mm2 for which the standard has a row. */
export const NOMINAL_SIZES = Object.keys(IEC_60228['class-5'])
  .map(Number)
  .sort((a, b) => a - b);

/** Ohms of one metre of one conductor at 20 degC; a size without a row of the standard is taken as ideal copper. */
export function ohmsPerMetre(areaSquareMetres: number, conductor: Wire['conductor']): number {
  const size = Number((areaSquareMetres * 1e6).toPrecision(6));
  const listed = conductor === 'ideal' ? undefined : IEC_60228[conductor][String(size)];
  return listed === undefined ? COPPER_OHM_METRES / areaSquareMetres : listed / 1000;
}

/**
 * Current in amperes that a single wire in free air carries, by its area in mm2 (AWG 18 to 4): the generous column for
 * chassis wiring of the common AWG tables (16 AWG 22 A, 12 AWG 41 A, 9 AWG about 60 A seen at reference.com; the other
 * rows from memory).
 */
const CHASSIS_AMPS: readonly (readonly [mm2: number, amps: number])[] = [
  [0.823, 16],
  [1.309, 22],
  [2.081, 32],
  [3.309, 41],
  [5.261, 55],
  [8.366, 73],
  [13.3, 101],
  [21.15, 135],
];

/** What a wire carries for ever in free air, joined by straight lines in logarithms and carried on beyond the table. */
export function wireAmps(areaSquareMetres: number): number {
  const mm2 = areaSquareMetres * 1e6;
  const found = CHASSIS_AMPS.findIndex(([area]) => area >= mm2);
  const high = found < 0 ? CHASSIS_AMPS.length - 1 : Math.max(1, found);
  const [lowArea, lowAmps] = CHASSIS_AMPS[high - 1]!;
  const [highArea, highAmps] = CHASSIS_AMPS[high]!;
  return lowAmps * (highAmps / lowAmps) ** (Math.log(mm2 / lowArea) / Math.log(highArea / lowArea));
}

/** Resistance of a cable, both conductors, with its connectors. */
export function cableOhms(cable: Wire, celsius: number = cable.temperature): number {
  const wireOhms = 2 * cable.length * ohmsPerMetre(cable.area, cable.conductor);
  return wireOhms * (1 + COPPER_PER_KELVIN * (celsius - 20)) + cable.connectors;
}
