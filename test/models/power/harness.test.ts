/** Harness and rail: drops, fuse, switch, regulator limits, and each fault and step of both. */
import { describe, expect, test } from 'vitest';
import { battery } from '../../../models/battery.ts';
import { board } from '../../../models/board/board.ts';
import { controller } from '../../../models/controller/controller.ts';
import { meltSeconds } from '../../../models/fuse.ts';
import { harness } from '../../../models/harness.ts';
import { firstShare, limitedVolts, rail, railVolts, tiedVolts } from '../../../models/rail.ts';
import { type Doing, type RigParts, rig } from '../rig.ts';
import { stiff } from './drive-rig.ts';

const connect: Doing = { at: 0, say: 'battery', form: 'connect' };
const load = (at: number, amps: number): Doing => ({ at, say: 'rail', form: 'load', contents: { load: amps } });
/** A stiff source of 24 V, so that all that is lost is lost in the harness; the rail is the load. */
const harnessRun = (section: object, script: readonly Doing[], seconds: number) =>
  rig(
    {
      battery: [battery, stiff(24, 10)],
      harness: [harness, section],
      rail: [
        rail,
        {
          load: '0 A',
          quiescent: '0 A',
          limit: '100 A',
          dropout: '0 V',
          voltage: '1 V',
          thermal: { resistance: '0.001 K/W' },
        },
      ],
    },
    [connect, ...script],
    seconds,
  );
/** 2 x 1.16 m of 4 mm2 have 10 mohm at 20 degC: 2.32 / 58 / 4. */
const tenMilliohms = { length: '1.16 m', area: '4 mm2' };

describe('harness: what it loses', () => {
  test('I R of wire, connectors and fuse', () => {
    const found = harnessRun(
      { main: { ...tenMilliohms, connectors: '5 mohm', fuse: '60 A', 'fuse-resistance': '1 mohm' } },
      [load(0.5, 50)],
      1,
    );
    expect(found.at('harness.drop', 0.9)).toBeCloseTo(50 * 0.016, 6);
    expect(found.at('harness.voltage', 0.9)).toBeCloseTo(24 - 0.8, 3);
  });

  test('the step temperature: 100 K more are 39.3 % more in the wire', () => {
    const found = harnessRun(
      { main: tenMilliohms },
      [load(0.5, 50), { at: 1, say: 'harness', form: 'temperature', contents: { temperature: 120 } }],
      2,
    );
    expect(found.at('harness.drop', 1.5) / found.at('harness.drop', 0.9)).toBeCloseTo(1.393, 6);
  });

  test.each([
    ['corroded-connector', 0.02],
    ['loose-lug', 0.03],
  ])('%s of %f ohm adds its drop while it lasts', (is, amount) => {
    const found = harnessRun(
      { main: tenMilliohms },
      [load(0.2, 50), { at: 1, fault: 'harness', is, amount, until: 2 }],
      3,
    );
    expect(found.at('harness.drop', 1.5) - found.at('harness.drop', 0.9)).toBeCloseTo(50 * amount, 6);
    expect(found.at('harness.drop', 2.5)).toBeCloseTo(0.5, 6);
  });

  test('both faults at once add up, and each leaves with its own', () => {
    const script: Doing[] = [
      load(0.2, 50),
      { at: 1, fault: 'harness', is: 'corroded-connector', amount: 0.02, until: 3 },
      { at: 1.5, fault: 'harness', is: 'loose-lug', amount: 0.01, until: 2 },
    ];
    const found = harnessRun({ main: tenMilliohms }, script, 4);
    expect([1.2, 1.7, 2.5, 3.5].map((at) => found.at('harness.drop', at) / 50)).toEqual(
      [0.03, 0.04, 0.03, 0.01].map((ohms) => expect.closeTo(ohms, 6)),
    );
  });

  test('the disconnect switch takes everything off, by the bench or by its step', () => {
    const found = harnessRun(
      { main: tenMilliohms, switch: 'open' },
      [
        load(0.1, 50),
        { at: 1, say: 'harness', form: 'switch', contents: { switch: 'close' } },
        { at: 2, say: 'harness', form: 'switch', contents: { switch: 'open' } },
      ],
      3,
    );
    expect([0.5, 1.5, 2.5].map((at) => found.word('harness.mode', at))).toEqual(['open', 'closed', 'open']);
    expect(found.at('harness.voltage', 0.5)).toBe(0);
    expect(found.at('harness.voltage', 1.5)).toBeGreaterThan(23);
    expect(found.at('battery.current', 2.5)).toBe(0);
  });
});

describe('harness: fuse', () => {
  test('opens when its curve says so: 20 A through 10 A of a blade fuse', () => {
    const found = harnessRun({ main: { ...tenMilliohms, fuse: '10 A' } }, [load(1, 20)], 3);
    const [opened] = found.samples('harness.mode', 0.9)[0]!;
    // Middle of the published 0.15 to 5 s at 200 %.
    expect(Math.abs(opened - 1 - meltSeconds(20, 10, 'blade'))).toBeLessThan(1e-6);
    expect(found.at('harness.voltage', opened + 0.1)).toBe(0);
    expect(found.assembly.findings.map(({ code }) => code)).toEqual(['fuse']);
  });

  test('carries its rating for ever, and heals from a short overload', () => {
    const found = harnessRun({ main: { ...tenMilliohms, fuse: '10 A' } }, [load(1, 20), load(1.4, 10)], 100);
    expect(found.word('harness.mode', 99)).toBe('closed');
    expect(found.at('harness.melted', 1.5)).toBeGreaterThan(0.4);
    expect(found.at('harness.melted', 99)).toBeLessThan(0.05);
  });

  test('blown-fuse opens it at once, and mending it closes it', () => {
    const found = harnessRun(
      { main: { ...tenMilliohms, fuse: '10 A' } },
      [load(0.1, 5), { at: 1, fault: 'harness', is: 'blown-fuse', until: 2 }],
      3,
    );
    expect([0.5, 1.5, 2.5].map((at) => found.word('harness.mode', at))).toEqual(['closed', 'blown', 'closed']);
    expect(found.at('harness.voltage', 1.5)).toBe(0);
  });
});

/** The rail on a generator for its supply. */
const railRun = (section: object, script: readonly Doing[], seconds: number, more: RigParts = {}) =>
  rig({ rail: [rail, { quiescent: '0 A', 'output-resistance': '0 ohm', ...section }], ...more }, script, seconds);
const feed = (at: number, volts: number): Doing => ({ at, feed: 'rail.supply', to: volts });

describe('rail: regulation', () => {
  test('gives its voltage down to the dropout, then follows the supply', () => {
    expect([12, 5.6, 5, 0.3].map((volts) => railVolts(volts, 5, 0.6))).toEqual([5, 5, 4.4, 0]);
    const found = railRun(
      { voltage: '5 V', dropout: '0.6 V', load: '60 mA' },
      [feed(0.1, 12), feed(1, 5), feed(2, 12)],
      3,
    );
    expect([0.9, 1.9, 2.9].map((at) => found.at('rail.voltage', at))).toEqual(
      [5, 4.4, 5].map((volts) => expect.closeTo(volts, 2)),
    );
    expect([0.9, 1.9, 2.9].map((at) => found.word('rail.mode', at))).toEqual(['regulating', 'dropping', 'regulating']);
  });

  test('a linear one takes the load current, a switching one the load power over its efficiency', () => {
    const linear = railRun({ load: '1 A', thermal: { resistance: '1 K/W' } }, [feed(0.1, 10)], 1);
    expect(linear.at('rail.draw', 0.9)).toBeCloseTo(1, 9);
    const switching = railRun({ kind: 'switching', efficiency: '80 %', load: '1 A' }, [feed(0.1, 10)], 1);
    expect(switching.at('rail.draw', 0.9)).toBeCloseTo((5 * 1) / (0.8 * 10), 6);
  });

  test('overload: a resistor beyond the limit is left with its share, and everything comes back with the end of the fault', () => {
    expect(limitedVolts(5, 4, 2)).toBe(2.5);
    const found = railRun(
      { load: '1 A', limit: '2 A', thermal: { resistance: '0.1 K/W' } },
      [feed(0.1, 10), { at: 1, fault: 'rail', is: 'overload', amount: 3, until: 2 }],
      3,
    );
    expect(found.at('rail.voltage', 1.5)).toBeCloseTo(2.5, 2);
    expect(found.word('rail.mode', 1.5)).toBe('limiting');
    expect(found.at('rail.voltage', 2.5)).toBeCloseTo(5, 2);
  });

  test.each([
    ['short', undefined, 0],
    ['sag', 1.5, 3.5],
  ])('%s leaves %s', (is, amount, volts) => {
    const found = railRun(
      { load: '0.1 A' },
      [feed(0.1, 10), { at: 1, fault: 'rail', is, until: 2, ...(amount === undefined ? {} : { amount }) }],
      3,
    );
    expect(found.at('rail.voltage', 1.5)).toBeCloseTo(volts, 2);
    expect(found.at('rail.voltage', 2.5)).toBeCloseTo(5, 2);
  });

  test('the capacitor carries the load when the supply goes: C U / I', () => {
    const found = railRun({ capacitance: '1000 uF', load: '50 mA' }, [feed(0.1, 10), feed(1, 0)], 2);
    // 5 V on 1000 uF last 100 ms at 50 mA.
    expect(found.at('rail.voltage', 1.05)).toBeCloseTo(2.5, 1);
    expect(found.at('rail.voltage', 1.2)).toBe(0);
    expect(found.word('rail.mode', 1.5)).toBe('off');
  });

  test('heat: it switches off at its trip temperature, cools, and comes back 20 K lower', () => {
    const found = railRun(
      { load: '1 A', thermal: { resistance: '40 K/W', capacity: '0.25 J/K', trip: '150 degC', ambient: '25 degC' } },
      [feed(0.1, 10)],
      30,
    );
    const [hot] = found.samples('rail.mode', 0.2)[0]!;
    // 5 W would heat it by 200 K with a time constant of 10 s: 125 K after 10 ln(200 / 75) s.
    expect(hot - 0.1).toBeCloseTo(10 * Math.log(200 / 75), 4);
    expect(found.at('rail.voltage', hot + 0.5)).toBe(0);
    const [back] = found.samples('rail.voltage', hot + 0.5).find(([, volts]) => volts > 4.9)!;
    // From 150 to 130 degC towards 25 degC: 10 ln(125 / 105) s; then from 130 to 150 degC towards 225 degC.
    expect(back - hot).toBeCloseTo(10 * Math.log(125 / 105), 4);
    const [again] = found
      .samples('rail.mode', back + 0.2)
      .find(([, mode]) => found.column('rail.mode').signal.modes![mode] === 'hot')!;
    expect(again - back).toBeCloseTo(10 * Math.log(95 / 75), 4);
  });
});

describe('rail: two regulators tied together', () => {
  test('equal ones share the load; of two unequal ones the higher carries it until it has fallen to the other', () => {
    expect(tiedVolts(5, 0.1, 5, 0.1, 1)).toBeCloseTo(4.95, 12);
    expect(tiedVolts(5.1, 0.1, 5, 0.1, 0.5)).toBeCloseTo(5.05, 12);
    expect(firstShare(5, 0.1, 5, 0.1, 1)).toBeCloseTo(0.5, 12);
    expect(firstShare(5.1, 0.1, 5, 0.1, 0.5)).toBe(1);
    expect(firstShare(5, 0.1, 5.1, 0.1, 0.5)).toBe(0);
  });

  test('each takes its share through the lead of the controller that it is in', () => {
    const twin = [controller, { pulse: { neutral: '1500 us', full: '2000 us' }, power: { idle: '0 A' } }] as const;
    const found = rig(
      {
        battery: [battery, stiff(24, 10)],
        harness: [harness, { main: { length: '0 m' } }],
        left: twin,
        right: twin,
        rail: [
          rail,
          {
            from: 'left',
            load: '1 A',
            quiescent: '0 A',
            'output-resistance': '100 mohm',
            second: { from: 'right', 'output-resistance': '300 mohm' },
          },
        ],
      },
      [connect],
      1,
    );
    // Equal voltages behind 100 and 300 mohm: three quarters and one quarter.
    expect(found.at('rail.first', 0.9)).toBeCloseTo(0.75, 6);
    expect(found.at('rail.second', 0.9)).toBeCloseTo(0.25, 6);
    expect(found.at('harness.current', 0.9)).toBeCloseTo(1, 6);
  });

  test('when one of them loses its supply the other goes on', () => {
    const twin = [controller, { pulse: { neutral: '1500 us', full: '2000 us' } }] as const;
    const found = rig(
      { left: twin, right: twin, rail: [rail, { from: 'left', second: { from: 'right' } }] },
      [{ at: 0.1, feed: 'left.supply', to: 12 }],
      1,
    );
    expect(found.at('rail.voltage', 0.9)).toBeCloseTo(5, 1);
  });
});

describe('board: what the pulse line does when the supply or the program goes', () => {
  test('a dip below brown-out resets it, and the pin floats until the program runs again', () => {
    const found = rig(
      { rail: [rail, {}], board: [board, { 'brown-out': '4.3 V', 'start-up': '65 ms' }] },
      [feed(0.1, 12), feed(1, 3), feed(1.1, 12)],
      2,
    );
    expect(found.word('board.pin', 0.9)).toBe('driven');
    expect(found.word('board.pin', 1.05)).toBe('floating');
    expect(found.word('board.pin', 1.15)).toBe('floating');
    expect(found.word('board.pin', 1.2)).toBe('driven');
    expect(found.at('board.resets', 1.9)).toBe(1);
  });
});
