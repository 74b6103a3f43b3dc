/** Warm cells have less resistance, by the share a kelvin that the bench gives, and never less than half of it. */
import { expect, test } from 'vitest';
import { seriesOhms } from '../../../models/battery.ts';

test('series resistance: 20 K warmer at 1 % a kelvin leave four fifths; however warm, half is left', () => {
  expect(seriesOhms(0.1, 2, 1, 0.01, 45)).toBeCloseTo(0.08, 12);
  expect(seriesOhms(0.1, 2, 1, 0.02, 90)).toBeCloseTo(0.05, 12);
});
