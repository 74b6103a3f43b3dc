/**
 * Which units does each kind of quantity have, what are they worth, and which one is it printed in?
 *
 * Names and values: The International System of Units, 9th edition (BIPM 2019), tables 2 to 8; IEC 80000-13 for the
 * byte and the binary prefixes; the international yard and pound agreement of 1959 for in, ft, mile and lb; IEC 60027
 * spellings in ASCII beside them (`us`, `ohm`, `degC`). Factors are ratios of whole numbers where the definition is
 * one, so that `10 ms` is exactly 1 / 100.
 */

export type Dimension =
  | 'voltage'
  | 'current'
  | 'resistance'
  | 'capacitance'
  | 'inductance'
  | 'time'
  | 'frequency'
  | 'length'
  | 'area'
  | 'mass'
  | 'force'
  | 'torque'
  | 'power'
  | 'energy'
  | 'charge'
  | 'temperature'
  | 'temperature-difference'
  | 'speed'
  | 'acceleration'
  | 'angle'
  | 'angular-speed'
  | 'motor-constant'
  | 'inertia'
  | 'viscous-friction'
  | 'thermal-resistance'
  | 'heat-capacity'
  | 'baud'
  | 'data'
  | 'ratio'
  | 'count'
  | 'i2t'
  | 'slew';

export interface Unit {
  /** ASCII spelling; empty for a plain number. */
  readonly symbol: string;
  /** One of this unit is `count / per` base units. */
  readonly count: number;
  readonly per: number;
  /** Printed from this magnitude (in base units) up to the next unit's; absent: read, but never chosen for printing. */
  readonly from?: number;
  /** A second spelling of another unit: read, but not offered in lists. */
  readonly alias?: boolean;
  /** Not proportional: value in base units by a formula of its own. The number must be whole, from `least` to `most`. */
  readonly gauge?: { readonly least: number; readonly most: number; readonly toBase: (gauge: number) => number };
}

export interface DimensionFacts {
  /** With its article, as it stands in a sentence. */
  readonly called: string;
  /** Symbol of the base unit: the unit of every `value`. */
  readonly base: string;
  readonly units: readonly Unit[];
}

const unit = (symbol: string, count: number, per: number, from?: number): Unit =>
  from === undefined ? { symbol, count, per } : { symbol, count, per, from };
const alias = (symbol: string, count: number, per: number): Unit => ({ symbol, count, per, alias: true });

/** Not whole, so that units of angle never have an exact ratio. */
const RADIANS_PER_TURN = 2 * Math.PI;

/** Area in m2 of solid wire of an American wire gauge: d = 0.127 mm x 92^((36 - n) / 39) (ASTM B258). */
function wireGaugeSquareMetres(gauge: number): number {
  const diameterMetres = 0.127e-3 * 92 ** ((36 - gauge) / 39);
  return (Math.PI / 4) * diameterMetres ** 2;
}

// biome-ignore format: a paragraph a dimension is read more easily than a line a number.
export const DIMENSIONS: Readonly<Record<Dimension, DimensionFacts>> = {
  voltage: { called: 'a voltage', base: 'V', units: [
    unit('uV', 1, 1e6, 0), unit('mV', 1, 1e3, 1e-4), unit('V', 1, 1, 0.1), unit('kV', 1e3, 1, 1e4),
  ] },
  current: { called: 'a current', base: 'A', units: [
    unit('nA', 1, 1e9, 0), unit('uA', 1, 1e6, 1e-7), unit('mA', 1, 1e3, 1e-4), unit('A', 1, 1, 0.1),
    unit('kA', 1e3, 1, 1e4),
  ] },
  resistance: { called: 'a resistance', base: 'ohm', units: [
    unit('uohm', 1, 1e6, 0), unit('mohm', 1, 1e3, 1e-4), unit('ohm', 1, 1, 1), unit('kohm', 1e3, 1, 1e3),
    unit('Mohm', 1e6, 1, 1e6),
  ] },
  capacitance: { called: 'a capacitance', base: 'F', units: [
    unit('pF', 1, 1e12, 0), unit('nF', 1, 1e9, 1e-9), unit('uF', 1, 1e6, 1e-6), unit('mF', 1, 1e3, 0.1),
    unit('F', 1, 1, 1),
  ] },
  inductance: { called: 'an inductance', base: 'H', units: [
    unit('nH', 1, 1e9, 0), unit('uH', 1, 1e6, 1e-6), unit('mH', 1, 1e3, 1e-3), unit('H', 1, 1, 1),
  ] },
  // Pulses are spoken of in microseconds up to frame length; anything from 1 s on in seconds.
  time: { called: 'a time', base: 's', units: [
    unit('ns', 1, 1e9, 0), unit('us', 1, 1e6, 1e-6), unit('ms', 1, 1e3, 1e-2), unit('s', 1, 1, 1), unit('min', 60, 1),
    unit('h', 3600, 1),
  ] },
  frequency: { called: 'a frequency', base: 'Hz', units: [
    unit('Hz', 1, 1, 0), unit('kHz', 1e3, 1, 1e3), unit('MHz', 1e6, 1, 1e6), unit('GHz', 1e9, 1, 1e9),
  ] },
  length: { called: 'a length', base: 'm', units: [
    unit('um', 1, 1e6, 0), unit('mm', 1, 1e3, 1e-4), unit('cm', 1, 100), unit('m', 1, 1, 1), unit('km', 1e3, 1, 1e4),
    unit('in', 254, 1e4), unit('ft', 3048, 1e4),
  ] },
  area: { called: 'an area', base: 'm2', units: [
    unit('mm2', 1, 1e6, 0), unit('cm2', 1, 1e4), unit('m2', 1, 1, 0.01),
    { symbol: 'AWG', count: 1, per: 1, gauge: { least: 0, most: 40, toBase: wireGaugeSquareMetres } },
  ] },
  mass: { called: 'a mass', base: 'kg', units: [
    unit('mg', 1, 1e6, 0), unit('g', 1, 1e3, 1e-3), unit('kg', 1, 1, 1), unit('t', 1e3, 1), unit('lb', 45359237, 1e8),
  ] },
  force: { called: 'a force', base: 'N', units: [
    unit('mN', 1, 1e3, 0), unit('N', 1, 1, 0.1), unit('kN', 1e3, 1, 1e4), unit('kgf', 980665, 1e5),
    unit('lbf', 44482216152605, 1e13),
  ] },
  torque: { called: 'a torque', base: 'N.m', units: [
    unit('mN.m', 1, 1e3, 0), unit('N.cm', 1, 100), unit('N.m', 1, 1, 0.1), unit('kN.m', 1e3, 1), alias('Nm', 1, 1),
    alias('mNm', 1, 1e3), alias('Ncm', 1, 100),
  ] },
  power: { called: 'a power', base: 'W', units: [
    unit('uW', 1, 1e6, 0), unit('mW', 1, 1e3, 1e-3), unit('W', 1, 1, 0.1), unit('kW', 1e3, 1, 1e4),
  ] },
  energy: { called: 'an energy', base: 'J', units: [
    unit('mJ', 1, 1e3, 0), unit('J', 1, 1, 0.1), unit('kJ', 1e3, 1, 1e4), unit('MJ', 1e6, 1, 1e7),
    unit('Wh', 3600, 1), unit('kWh', 3.6e6, 1),
  ] },
  charge: { called: 'a charge', base: 'C', units: [
    unit('uC', 1, 1e6, 0), unit('mC', 1, 1e3, 1e-3), unit('C', 1, 1, 0.1), unit('mAh', 36, 10),
    unit('Ah', 3600, 1, 360),
  ] },
  temperature: { called: 'a temperature', base: 'degC', units: [
    unit('degC', 1, 1, 0),
  ] },
  'temperature-difference': { called: 'a temperature difference', base: 'K', units: [
    unit('K', 1, 1, 0), unit('degC', 1, 1),
  ] },
  speed: { called: 'a speed', base: 'm/s', units: [
    unit('mm/s', 1, 1e3), unit('m/s', 1, 1), unit('km/h', 10, 36, 0), unit('mph', 44704, 1e5),
  ] },
  acceleration: { called: 'an acceleration', base: 'm/s2', units: [
    unit('m/s2', 1, 1, 0),
  ] },
  angle: { called: 'an angle', base: 'rad', units: [
    unit('mrad', 1, 1e3), unit('rad', 1, 1), unit('deg', RADIANS_PER_TURN, 360, 0),
  ] },
  'angular-speed': { called: 'an angular speed', base: 'rad/s', units: [
    unit('rad/s', 1, 1), unit('deg/s', RADIANS_PER_TURN, 360), unit('rpm', RADIANS_PER_TURN, 60, 0),
  ] },
  'motor-constant': { called: 'a motor constant', base: 'V.s/rad', units: [
    unit('mV.s/rad', 1, 1e3, 0), unit('V.s/rad', 1, 1, 0.01), unit('mN.m/A', 1, 1e3), unit('N.m/A', 1, 1),
    unit('V/krpm', 60, 1e3 * RADIANS_PER_TURN), alias('mNm/A', 1, 1e3), alias('Nm/A', 1, 1), alias('Vs/rad', 1, 1),
  ] },
  inertia: { called: 'a moment of inertia', base: 'kg.m2', units: [
    unit('g.cm2', 1, 1e7, 0), unit('kg.cm2', 1, 1e4, 1e-4), unit('kg.m2', 1, 1, 0.1), alias('kgm2', 1, 1),
    alias('gcm2', 1, 1e7),
  ] },
  'viscous-friction': { called: 'a viscous friction', base: 'N.m.s/rad', units: [
    unit('uN.m.s/rad', 1, 1e6, 0), unit('mN.m.s/rad', 1, 1e3, 1e-3), unit('N.m.s/rad', 1, 1, 1),
    alias('Nms/rad', 1, 1), alias('mNms/rad', 1, 1e3),
  ] },
  'thermal-resistance': { called: 'a thermal resistance', base: 'K/W', units: [
    unit('K/W', 1, 1, 0), unit('degC/W', 1, 1),
  ] },
  'heat-capacity': { called: 'a heat capacity', base: 'J/K', units: [
    unit('J/K', 1, 1, 0), unit('kJ/K', 1e3, 1, 1e4),
  ] },
  baud: { called: 'a baud rate', base: 'Bd', units: [
    unit('Bd', 1, 1, 0), unit('kBd', 1e3, 1), unit('MBd', 1e6, 1),
  ] },
  data: { called: 'an amount of data', base: 'B', units: [
    unit('B', 1, 1, 0), unit('kB', 1e3, 1), unit('KiB', 1024, 1), unit('MB', 1e6, 1), unit('MiB', 1048576, 1),
  ] },
  ratio: { called: 'a ratio', base: '', units: [
    unit('', 1, 1), unit('%', 1, 100, 0), unit('ppm', 1, 1e6),
  ] },
  count: { called: 'a whole number', base: '', units: [
    unit('', 1, 1, 0),
  ] },
  i2t: { called: 'a melting integral', base: 'A2s', units: [
    unit('A2s', 1, 1, 0), alias('A2.s', 1, 1),
  ] },
  slew: { called: 'a rate of change', base: '1/s', units: [
    unit('%/s', 1, 100), unit('1/s', 1, 1, 0), alias('/s', 1, 1),
  ] },
};

export const DIMENSION_NAMES = Object.keys(DIMENSIONS) as readonly Dimension[];

const bySymbol = new Map<string, [Dimension, Unit][]>();
for (const dimension of DIMENSION_NAMES) {
  for (const one of DIMENSIONS[dimension].units) {
    const found = bySymbol.get(one.symbol);
    if (found === undefined) bySymbol.set(one.symbol, [[dimension, one]]);
    else found.push([dimension, one]);
  }
}

/** The unit of `dimension` with that spelling (as `plainSymbol` gives it), or undefined. */
export function unitOf(dimension: Dimension, symbol: string): Unit | undefined {
  return bySymbol.get(symbol)?.find(([of]) => of === dimension)?.[1];
}

/** The kinds of quantity that have a unit with that spelling. */
export function dimensionsOf(symbol: string): readonly Dimension[] {
  return (bySymbol.get(symbol) ?? []).map(([dimension]) => dimension);
}

/** The spellings offered to a user, without aliases and without the plain number. */
export function offeredSymbols(dimension: Dimension): readonly string[] {
  return DIMENSIONS[dimension].units.filter((one) => one.alias !== true && one.symbol !== '').map((one) => one.symbol);
}

/** One of `unit` in base units. */
export function factorOf({ count, per }: Unit): number {
  return count / per;
}

/** Other characters of a unit (`µ`, `Ω`, `·`, `²`, `°C`) as the ASCII that the table uses. A space between two units is a product. */
export function plainSymbol(text: string): string {
  return text
    .trim()
    .replace(/[\u00b5\u03bc]/g, 'u')
    .replace(/[\u03a9\u2126]/g, 'ohm')
    .replace(/\u2103|\u00b0\s?C/g, 'degC')
    .replace(/\u00b0/g, 'deg')
    .replace(/\^?\u00b2|\^2/g, '2')
    .replace(/\s?([/.*\u00b7\u22c5])\s?/g, (_, sign: string) => (sign === '/' ? '/' : '.'))
    .replace(/\s+/g, '.');
}

/** What a dimension is called in a sentence, with its article: `a voltage`. */
export function dimensionWords(dimension: Dimension): string {
  return DIMENSIONS[dimension].called;
}
