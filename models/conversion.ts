/**
 * The arithmetic of a conversion: what the hold capacitor takes up, which count that is, and how long it takes.
 *
 *     count = floor(volts x 2^bits / reference), clipped to 0 .. 2^bits - 1
 *     a conversion takes 13 ADC clocks, the first after power-up 25; the input is held 1.5 (13.5) clocks after the start
 *     the held voltage closes on the source through (source + series resistance) x hold capacitance
 *
 * Source: ATmega48PA/88PA/168PA/328P datasheet 8161D, chapter 23 (times: 8271H p. 241; input circuit: ATmega169P
 * datasheet 8018A p. 222, 14 pF, 1 to 100 kohm, to half the supply). The pick-up of an open input is an assumption.
 */

/** Above this clock the converter has less than its full resolution (8271H p. 241: 50 to 200 kHz). */
export const ADVISED_ADC_HERTZ = 200e3;

/** The count of a converter that is ideal but for an offset, clipped (8161D section 23.7). */
export function countOf(volts: number, referenceVolts: number, bits: number, offsetCounts = 0): number {
  const full = 1 << bits;
  // A hair of slack keeps a voltage that stands on a step on paper from losing a count to rounding.
  const ideal = Math.floor((volts * full) / referenceVolts + offsetCounts + 1e-9);
  return ideal < 0 ? 0 : ideal >= full ? full - 1 : ideal;
}

/** Voltage on the hold capacitor after it was connected to the source for a time. */
export function heldVolts(
  beforeVolts: number,
  sourceVolts: number,
  sourceOhms: number,
  holdFarads: number,
  connectedSeconds: number,
): number {
  const lagSeconds = sourceOhms * holdFarads;
  // After 40 time constants (e^-40 = 4e-18) nothing of the old voltage is left in a float64.
  return connectedSeconds > 40 * lagSeconds
    ? sourceVolts
    : sourceVolts + (beforeVolts - sourceVolts) * Math.exp(-connectedSeconds / lagSeconds);
}

/** Clocks from the start of a conversion to the hold instant and to the result, doubled to stay whole. */
export function conversionHalfClocks(isFirst: boolean): { readonly hold: number; readonly result: number } {
  return isFirst ? FIRST : NORMAL;
}
export const FIRST = { hold: 27, result: 50 } as const;
export const NORMAL = { hold: 3, result: 26 } as const;
/** A conversion that a flag starts, counted from the flag (8161D table 23-1; sampled two clocks after it). */
export const AUTO_TRIGGERED_HALF_CLOCKS = { hold: 4, result: 27 } as const;

/** An open pin drifts towards half the supply and picks up hum; both are assumptions of ours. */
const FLOAT_SHARE = 0.02;
const PICK_UP_VOLTS = 0.05;

/** Voltage on an open pin: what its pull resistor takes it to, or a drift with `noise`, a draw of unit deviation. */
export function openVolts(
  beforeVolts: number,
  supplyVolts: number,
  pull: 'none' | 'up' | 'down',
  noise: () => number,
): number {
  if (pull === 'up') return supplyVolts;
  if (pull === 'down') return 0;
  const drifted = beforeVolts + FLOAT_SHARE * (supplyVolts / 2 - beforeVolts) + PICK_UP_VOLTS * noise();
  return Math.min(Math.max(drifted, 0), supplyVolts);
}
