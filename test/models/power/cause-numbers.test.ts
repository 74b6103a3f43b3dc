/**
 * Causes of the shipped power scenarios: the numbers in each link belong together by Ohm's law, and resistances are those
 * that the bench's wires, connectors, fuse and cells have, worked out here from the files' own values.
 */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { call, shipped } from '../../cli/capture.ts';

async function causeOf(file: string): Promise<string> {
  const { status, out } = await call(['run', join(shipped, file)]);
  expect(status).toBe(0);
  return out;
}

/** The numbers that a pattern finds; what is told has four digits. */
function numbers(text: string, pattern: RegExp): number[] {
  const found = pattern.exec(text);
  if (found === null) throw new Error(`${pattern} is not in ${text}`);
  return found.slice(1).map(Number);
}

/** Relative; four told digits of each factor. */
const about = (value: number, wanted: number): void => {
  expect(Math.abs(value / wanted - 1), `${value} is not ${wanted}`).toBeLessThan(2e-3);
};

const HARNESS =
  /([\d.]+) V arrive at the splitter: the harness takes ([\d.]+) V of ([\d.]+) V at ([\d.]+) A \(([\d.]+) mohm\)/;
const BATTERY =
  /the battery gives ([\d.]+) V: ([\d.]+) % charged it has ([\d.]+) V open, of which ([\d.]+) A take ([\d.]+) V in its series resistance \(([\d.]+) mohm\) and ([\d.]+) (m?)V in its slow part/;

/** Open-circuit voltage of 12 lead-acid cells at rest between 75 and 100 % (12.45 and 12.65 V for six of them). */
const openOfTwelve = (share: number): number => 2 * (12.45 + ((share - 0.75) / 0.25) * 0.2);
/** Twice the resistance when empty. */
const seriesMilliohms = (full: number, share: number): number => full * (2 - share);

describe('causes of the power scenarios: numbers by Ohm', () => {
  test('cutoff after minutes: open voltage, less series and slow part, less harness, is what the controller gets', async () => {
    const text = await causeOf('cut-off-after-minutes.yaml');
    const [arrives, takes, of, amps, milliohms] = numbers(text, HARNESS) as [number, number, number, number, number];
    // Both ways 2 x 2.4 m of 4 mm2 with 58 m/(ohm mm2), connectors 22 mohm, and what is left for the 45 A fuse.
    const fuse = milliohms - (4.8 / 58 / 4) * 1000 - 22;
    expect(fuse).toBeGreaterThan(0);
    expect(fuse).toBeLessThan(3);
    about(takes, (amps * milliohms) / 1000);
    about(arrives, of - takes);
    const [gives, percent, open, drawn, series, inner, slow] = numbers(text, BATTERY) as [
      number,
      number,
      number,
      number,
      number,
      number,
      number,
    ];
    about(open, openOfTwelve(percent / 100));
    about(inner, seriesMilliohms(38, percent / 100));
    about(series, (drawn * inner) / 1000);
    about(gives, open - series - slow);
    // At 26 mohm the slow part grows towards 26 mohm x the current and is not above it.
    expect(slow).toBeLessThan((26 * drawn) / 1000 + 0.01);
    const [gets] = numbers(text, /left gets ([\d.]+) V and takes/) as [number];
    expect(gets).toBe(arrives);
    expect(gets).toBeLessThanOrEqual(21);
  });

  test('supply dip: every volt from the cells to the rail is accounted for', async () => {
    const text = await causeOf('supply-dip-restarts-board.yaml');
    const [, percent, open, drawn, series, inner] = numbers(text, BATTERY) as [
      number,
      number,
      number,
      number,
      number,
      number,
    ];
    expect(percent).toBe(50);
    // Six cells at 50 %: 12.24 V. 40 mohm x 1.5 for half charge x 1.35 for 35 K below 25 degC.
    about(open, 12.24);
    about(inner, 40 * 1.5 * 1.35);
    about(series, (drawn * inner) / 1000);
    const [arrives, takes, of, amps, milliohms] = numbers(text, HARNESS) as [number, number, number, number, number];
    about(takes, (amps * milliohms) / 1000);
    about(arrives, of - takes);
    const [gets, , lead, leadAmps, leadMilliohms] = numbers(
      text,
      /left gets ([\d.]+) V and takes ([\d.]+) A: its lead takes ([\d.]+) V at ([\d.]+) A \(([\d.]+) mohm\)/,
    ) as [number, number, number, number, number];
    // 2 x 0.5 m of 2.5 mm2.
    about(leadMilliohms, (1 / 58 / 2.5) * 1000);
    about(lead, (leadAmps * leadMilliohms) / 1000);
    about(gets, arrives - lead);
    const [rail, regulator, needs] = numbers(
      text,
      /the rail is down at ([\d.]+) V: its regulator gets ([\d.]+) V and needs ([\d.]+) V/,
    ) as [number, number, number];
    // 5 V set and 1 V dropout; below that, the supply less 1 V.
    expect(needs).toBe(6);
    expect(regulator).toBe(gets);
    // It falls to 3.899 V behind its 220 uF, which 120 mA empty by 0.545 V a millisecond, and passes 4.3 V on the way.
    expect(rail).toBeGreaterThanOrEqual(regulator - 1);
    expect(rail).toBeLessThan(4.3);
  });

  test('loaded climb: the fuse, its current and the battery', async () => {
    const text = await causeOf('loaded-climb.yaml');
    const [rating, amps] = numbers(text, /the (\d+) A fuse opened: ([\d.]+) A flowed/) as [number, number];
    expect(rating).toBe(45);
    // About a third over its rating: 135 % is the row of the blade fuse's curve that opens within 0.75 to 600 s.
    expect(amps / rating).toBeGreaterThan(1.2);
    expect(amps / rating).toBeLessThan(1.5);
    const [gives, percent, open, drawn, series, inner, slow] = numbers(text, BATTERY) as [
      number,
      number,
      number,
      number,
      number,
      number,
      number,
    ];
    expect(drawn).toBe(amps);
    // Below 75 %: 12.24 V at 50 % and 12.45 V at 75 % for six cells.
    about(open, 2 * (12.24 + ((percent / 100 - 0.5) / 0.25) * 0.21));
    about(inner, seriesMilliohms(38, percent / 100));
    about(series, (drawn * inner) / 1000);
    about(gives, open - series - slow);
  });
});
