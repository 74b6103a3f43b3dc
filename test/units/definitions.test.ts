import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Dimension, formatQuantity, parseQuantity } from '../../sim/units/index.ts';
import { factorOf } from '../../sim/units/unit-table.ts';
import { ALL_UNITS, SEED } from './arbitrary.ts';

function baseValue(text: string, dimension: Dimension): number {
  const parsed = parseQuantity(text, dimension);
  if ('mistake' in parsed) throw new Error(JSON.stringify(parsed.mistake));
  return parsed.quantity.value;
}

describe('units: definitions', () => {
  // Cited from memory: NIST SP 811 (2008) appendix B for the factors; SI brochure, 9th edition, table 8 for min, h, t, deg.
  test.each<[string, Dimension, number]>([
    ['1 min', 'time', 60],
    ['1 h', 'time', 3600],
    ['1 t', 'mass', 1000],
    ['180 deg', 'angle', Math.PI],
    ['1 in', 'length', 0.0254],
    ['1 ft', 'length', 0.3048],
    ['1 lb', 'mass', 0.45359237],
    ['1 kgf', 'force', 9.80665],
    ['1 lbf', 'force', 4.4482216152605],
    ['1 mph', 'speed', 0.44704],
    ['36 km/h', 'speed', 10],
    ['1 Wh', 'energy', 3600],
    ['1 kWh', 'energy', 3.6e6],
    ['1 Ah', 'charge', 3600],
    ['1000 mAh', 'charge', 3600],
    ['1 g.cm2', 'inertia', 1e-7],
    ['1 kg.cm2', 'inertia', 1e-4],
  ])('%s', (text, dimension, expected) => {
    expect(baseValue(text, dimension)).toBe(expected);
  });

  test('one pound-force is one pound times standard gravity', () => {
    expect(baseValue('1 lbf', 'force')).toBeCloseTo(baseValue('1 lb', 'mass') * 9.80665, 12);
  });

  // NIST SP 811, appendix B (from memory): revolution per minute = 1.047 198 E-01 rad/s.
  test('60 rpm are one turn a second; 1 rpm as published', () => {
    expect(baseValue('60 rpm', 'angular-speed')).toBeCloseTo(2 * Math.PI, 14);
    expect(baseValue('1 rpm', 'angular-speed')).toBeCloseTo(0.1047198, 7);
  });

  test('1 V/krpm is 1 V over 1000 rpm, and V.s/rad and N.m/A are the same unit', () => {
    expect(baseValue('1 V/krpm', 'motor-constant')).toBeCloseTo(1 / baseValue('1000 rpm', 'angular-speed'), 15);
    expect(baseValue('1 V.s/rad', 'motor-constant')).toBe(baseValue('1 N.m/A', 'motor-constant'));
  });

  // IEC 80000-13 (from memory): kibi 1024, mebi 1024 squared; kilo stays 1000.
  test('binary and decimal multiples of the byte differ', () => {
    expect(baseValue('2 KiB', 'data')).toBe(2048);
    expect(baseValue('1 MiB', 'data')).toBe(1024 * 1024);
    expect(baseValue('2 kB', 'data')).toBe(2000);
  });
});

describe('units: wire gauge', () => {
  // Resistance at 20 degC in ohm per 1000 ft as tabled in NBS Handbook 100 (copper wire tables); 1000 ft are 0.3048 km.
  // Annealed copper has 1/58 ohm mm2/m (IACS), so the table gives the area. It was computed from diameters rounded to
  // 0.1 mil, hence 0.03 %.
  test.each([
    [8, 0.6282],
    [10, 0.9989],
    [12, 1.588],
    [14, 2.525],
    [16, 4.016],
    [18, 6.385],
    [20, 10.15],
  ])('%i AWG has the tabled resistance of %d ohm per 1000 ft', (gauge, ohmPerKilofoot) => {
    const areaSquareMillimetres = baseValue(`${gauge} AWG`, 'area') * 1e6;
    const ohmPerKilometre = 1000 / (58 * areaSquareMillimetres);
    expect(Math.abs(ohmPerKilometre / (ohmPerKilofoot / 0.3048) - 1)).toBeLessThan(3e-4);
  });

  test('36 AWG is 0.127 mm thick, by definition', () => {
    expect(baseValue('36 AWG', 'area')).toBeCloseTo((Math.PI / 4) * 0.127e-3 ** 2, 20);
  });

  test('a share of a wire size is a share of its area', () => {
    const parsed = parseQuantity('12 AWG ± 2 %', 'area');
    expect('quantity' in parsed && parsed.quantity.tolerance / parsed.quantity.value).toBeCloseTo(0.02, 12);
  });
});

describe('units: conversion', () => {
  const pairs = ALL_UNITS.flatMap((one) =>
    ALL_UNITS.filter((other) => other.dimension === one.dimension).map((other) => ({ one, other })),
  );
  test('law: written in one unit, printed in another and read again, the value is the same', () => {
    fc.assert(
      fc.property(fc.constantFrom(...pairs), fc.integer({ min: -9999, max: 9999 }), ({ one, other }, number) => {
        const value = baseValue(`${number} ${one.symbol}`, one.dimension);
        const again = baseValue(
          formatQuantity(value, one.dimension, { unit: other.symbol, digits: 17 }),
          one.dimension,
        );
        expect(Math.abs(again - value)).toBeLessThanOrEqual(1e-14 * Math.abs(value));
      }),
      { seed: SEED, numRuns: 2000 },
    );
  });

  test('no unit of a dimension stands twice, and each dimension has its base unit', () => {
    const spelled = ALL_UNITS.map((one) => `${one.dimension} ${one.symbol}`);
    expect(new Set(spelled).size).toBe(spelled.length);
    for (const { dimension } of ALL_UNITS) {
      expect(ALL_UNITS.some((one) => one.dimension === dimension && factorOf(one.unit) === 1)).toBe(true);
    }
  });
});
