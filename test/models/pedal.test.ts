import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { adc } from '../../models/adc.ts';
import { laggedTravel, pedal, signalVolts, wiperOhms } from '../../models/pedal.ts';
import { type Doing, rig } from './rig.ts';

const seeded = { seed: 20261125, numRuns: 500 };
const real = (min: number, max: number) => fc.double({ min, max, noNaN: true });
const unit = real(0, 1);
const span = real(0, 5);

const powered: Doing[] = [{ at: 0, feed: 'pedal.supply', to: 5 }];
const hall = { kind: 'hall', rest: '0.9 V', full: '4.1 V' };
const press = (at: number, travel: number, over = 0): Doing => ({
  at,
  say: 'pedal',
  form: 'press',
  contents: { press: travel, over },
});
const release = (at: number): Doing => ({ at, say: 'pedal', form: 'release' });

/** A hall pedal pressed half way at 1 s, on a 5 V supply: 0.9 + 0.5 x 3.2 = 2.5 V. */
const half = (section: object, script: readonly Doing[], seconds = 3) =>
  rig({ pedal: [pedal, { ...hall, ...section }] }, [...powered, press(1, 0.5), ...script], seconds);

/** The same with a converter that takes a sample every millisecond: counts over 5 V at 10 bits. */
function sampled(section: object, script: readonly Doing[], seconds: number) {
  const asks = Array.from({ length: Math.round(seconds * 1000) }, (_, index): Doing => {
    return { at: (index + 1) / 1000, feed: 'adc.convert', to: index + 1 };
  });
  const clock: Doing = { at: 0, feed: 'adc.clock', to: 8e6 };
  const supply: Doing = { at: 0, feed: 'adc.supply', to: 5 };
  return rig({ pedal: [pedal, section], adc: [adc, { prescaler: 64 }] }, [supply, clock, ...script, ...asks], seconds);
}

describe('pedal: lag', () => {
  test('one time constant closes 63.2 % of a step (1 - 1/e, any text on first-order systems)', () => {
    expect(laggedTravel(0, 1, 0, 3e-3, 3e-3)).toBeCloseTo(1 - Math.exp(-1), 12);
  });

  test('a steady ramp is followed late by slope x lag (steady-state error of a first-order system to a ramp)', () => {
    expect(laggedTravel(0, 0, 0.5, 10, 0.1)).toBeCloseTo(5 - 0.05, 12);
  });

  test('no lag: the sensor shows the travel itself', () => {
    expect(laggedTravel(0, 0.25, 0.5, 0.5, 0)).toBe(0.5);
    expect(laggedTravel(0, 0.25, 0.5, 0, 0)).toBe(0.25);
  });

  test('law: two half steps equal one', () =>
    fc.assert(
      fc.property(unit, unit, real(-3, 3), span, real(1e-3, 2), (sensed, travel, slope, elapsed, lag) => {
        const half = laggedTravel(sensed, travel, slope, elapsed / 2, lag);
        const halfTravel = travel + (slope * elapsed) / 2;
        const whole = laggedTravel(sensed, travel, slope, elapsed, lag);
        expect(laggedTravel(half, halfTravel, slope, elapsed / 2, lag)).toBeCloseTo(whole, 9);
      }),
      seeded,
    ));

  test('law: nothing has changed after no time, and travel that holds is never overshot', () =>
    fc.assert(
      fc.property(unit, unit, span, real(1e-3, 2), (sensed, travel, elapsed, lag) => {
        expect(laggedTravel(sensed, travel, 0.7, 0, lag)).toBeCloseTo(sensed, 12);
        const later = laggedTravel(sensed, travel, 0, elapsed, lag);
        expect(later).toBeGreaterThanOrEqual(Math.min(sensed, travel) - 1e-12);
        expect(later).toBeLessThanOrEqual(Math.max(sensed, travel) + 1e-12);
      }),
      seeded,
    ));

  test('in a bench: 63.2 % of the way one lag after a step, and 40 lags make no jump', () => {
    const run = half({ lag: '100 ms' }, [], 6);
    expect(run.at('pedal.voltage', 1.1)).toBeCloseTo(0.9 + 1.6 * (1 - Math.exp(-1)), 3);
    expect(run.at('pedal.voltage', 4.999)).toBeCloseTo(run.at('pedal.voltage', 5.001), 9);
    expect(run.at('pedal.voltage', 6)).toBeCloseTo(2.5, 9);
  });
});

describe('pedal: signal', () => {
  test('rest and full are what was measured; between them it is linear', () => {
    expect(signalVolts(0, 0.9, 4.1, 5, 5, false)).toBeCloseTo(0.9, 12);
    expect(signalVolts(1, 0.9, 4.1, 5, 5, false)).toBeCloseTo(4.1, 12);
    expect(signalVolts(0.25, 0.9, 4.1, 5, 5, false)).toBeCloseTo(1.7, 12);
  });

  test('ratiometric: a supply 10 % lower gives a signal 10 % lower; otherwise it stays, up to the supply', () => {
    expect(signalVolts(0.5, 0.9, 4.1, 4.5, 5, true)).toBeCloseTo(2.25, 12);
    expect(signalVolts(0.5, 0.9, 4.1, 4.5, 5, false)).toBeCloseTo(2.5, 12);
    expect(signalVolts(1, 0.9, 4.1, 3, 5, false)).toBe(3);
  });

  test('law: never outside the supply', () =>
    fc.assert(
      fc.property(
        real(-1, 2),
        real(0, 6),
        real(0, 6),
        real(0, 6),
        fc.boolean(),
        (sensed, rest, full, supply, isRatio) => {
          const volts = signalVolts(sensed, rest, full, supply, 5, isRatio);
          expect(volts).toBeGreaterThanOrEqual(0);
          expect(volts).toBeLessThanOrEqual(supply);
        },
      ),
      seeded,
    ));

  test('a falling pedal falls', () => {
    const run = half({ rest: '4.1 V', full: '0.9 V' }, [press(2, 1)]);
    expect(run.at('pedal.voltage', 0.5)).toBeCloseTo(4.1, 12);
    expect(run.at('pedal.voltage', 2.5)).toBeCloseTo(0.9, 12);
  });

  test('a movement over 1 s is a straight line, and a second one starts from where the first had come', () => {
    const run = half({}, [press(2, 1, 1), { at: 2.5, say: 'pedal', form: 'release', contents: { release: 0.5 } }], 4);
    expect(run.at('pedal.travel', 2.25)).toBeCloseTo(0.625, 12);
    expect(run.at('pedal.travel', 2.5)).toBeCloseTo(0.75, 12);
    expect(run.at('pedal.travel', 2.75)).toBeCloseTo(0.375, 12);
    expect(run.at('pedal.travel', 3)).toBeCloseTo(0, 12);
    expect(run.at('pedal.voltage', 2.25)).toBeCloseTo(0.9 + 3.2 * 0.625, 9);
  });

  test('noise has the standard deviation that the file gives (sample of 4000, 5 % off at most; 4 sigma is 4.5 %)', () => {
    const run = sampled({ ...hall, noise: '50 mV', impedance: '0 ohm' }, [press(0, 0.5)], 4);
    const volts = run.samples('adc.held', 0.01).map(([, value]) => value);
    const mean = volts.reduce((sum, value) => sum + value, 0) / volts.length;
    const deviation = Math.sqrt(volts.reduce((sum, value) => sum + (value - mean) ** 2, 0) / volts.length);
    expect(Math.abs(mean - 2.5)).toBeLessThan(4 * (0.05 / Math.sqrt(4000)));
    expect(Math.abs(deviation / 0.05 - 1)).toBeLessThan(0.05);
  });
});

describe('pedal: potentiometer', () => {
  test('the wiper of a 10 kohm track: 2.5 kohm in the middle, none at the ends (two parts in parallel)', () => {
    expect(wiperOhms(0.5, 10e3)).toBe(2500);
    expect(wiperOhms(0, 10e3)).toBe(0);
    expect(wiperOhms(1, 10e3)).toBe(0);
  });

  test('law: source resistance is least at the ends and the same from both (symmetry)', () =>
    fc.assert(
      fc.property(unit, real(100, 1e6), (fraction, track) => {
        expect(wiperOhms(fraction, track)).toBeCloseTo(wiperOhms(1 - fraction, track), 6);
        expect(wiperOhms(fraction, track)).toBeLessThanOrEqual(track / 4 + 1e-9);
      }),
      seeded,
    ));

  test('is ratiometric and shows the resistance of where the wiper stands', () => {
    const run = rig(
      { pedal: [pedal, { kind: 'pot', rest: '0 V', full: '5 V', track: '10 kohm' }] },
      [...powered, press(0.5, 0.5), { at: 1, feed: 'pedal.supply', to: 4 }],
      2,
    );
    expect(run.at('pedal.voltage', 0.9)).toBeCloseTo(2.5, 12);
    expect(run.at('pedal.voltage', 1.5)).toBeCloseTo(2, 12);
    expect(run.at('pedal.impedance', 1.5)).toBeCloseTo(2500, 9);
  });
});

describe('pedal: switch', () => {
  const contact = { kind: 'switch', point: '50 %', bounce: '20 ms' };

  test('gives the supply past its point and nothing before', () => {
    const run = rig({ pedal: [pedal, contact] }, [...powered, press(1, 1, 1), release(3)], 4);
    expect(run.at('pedal.voltage', 1.499)).toBe(0);
    expect(run.at('pedal.voltage', 1.501)).toBe(5);
    expect(run.at('pedal.voltage', 3.001)).toBe(0);
  });

  test('bounces from the switching point on, for as long as it says, and at no other time', () => {
    const run = sampled(contact, [press(1, 1, 1), press(3, 0.8), release(4)], 5);
    const counts = run.samples('adc.count', 0.9);
    const bounced = (from: number, until: number) =>
      new Set(counts.filter(([seconds]) => seconds >= from && seconds < until).map(([, value]) => value)).size;
    expect(run.at('adc.count', 1.499)).toBe(0);
    expect(counts.filter(([seconds]) => seconds < 1.499).every(([, value]) => value === 0)).toBe(true);
    expect(bounced(1.5, 1.521)).toBeGreaterThan(1);
    expect(bounced(1.522, 3.99)).toBe(0);
    expect(run.at('adc.count', 3.5)).toBe(1023);
    expect(bounced(4, 4.021)).toBeGreaterThan(1);
    expect(run.at('adc.count', 4.9)).toBe(0);
  });
});

describe('pedal: faults', () => {
  const during = 1.75;
  const after = 2.5;
  const cases: readonly (readonly [fault: string, section: object, volts: number, ohms: number])[] = [
    ['shorted-to-ground', {}, 0, 0],
    ['shorted-to-supply', {}, 5, 0],
    // Open-wire levels of a hall sensor: 0 to 0.15 V and 4.85 to 5.0 V on 5 V (Micronas HAC 830 data sheet, section 4.8).
    ['supply-open', {}, 0.075, 1000],
    ['ground-open', {}, 4.925, 1000],
    ['supply-open', { kind: 'pot' }, 0, 0],
    ['ground-open', { kind: 'pot' }, 5, 0],
  ];
  test.each(cases)('%s %o: the signal goes there and comes back', (fault, section, volts, ohms) => {
    const run = half(section, [{ at: 1.5, fault: 'pedal', is: fault, until: 2 }]);
    expect(run.at('pedal.voltage', during)).toBeCloseTo(volts, 9);
    expect(run.at('pedal.impedance', during)).toBeCloseTo(ohms, 9);
    expect(run.word('pedal.mode', during)).toBe(fault);
    expect(run.at('pedal.voltage', after)).toBeCloseTo(2.5, 9);
    expect(run.word('pedal.mode', after)).toBe('intact');
  });

  test('signal-open: the source resistance is infinite, which is what makes a pin float', () => {
    const run = half({}, [{ at: 1.5, fault: 'pedal', is: 'signal-open', until: 2 }]);
    expect(run.at('pedal.impedance', during)).toBe(Number.POSITIVE_INFINITY);
    expect(run.at('pedal.impedance', after)).toBe(1000);
  });

  test('stuck: stays where it was while the foot moves, but not above a supply that sinks', () => {
    const script: Doing[] = [
      { at: 1.5, fault: 'pedal', is: 'stuck', until: 2.4 },
      press(1.6, 1),
      { at: 2, feed: 'pedal.supply', to: 2 },
      { at: 2.2, feed: 'pedal.supply', to: 5 },
    ];
    const run = half({}, script);
    expect(run.at('pedal.voltage', during)).toBeCloseTo(2.5, 9);
    expect(run.at('pedal.voltage', 2.1)).toBe(2);
    expect(run.at('pedal.voltage', after)).toBeCloseTo(4.1, 9);
  });

  test('drifting: wanders by the volts a second that were said, and is right again afterwards', () => {
    const run = half({}, [{ at: 1.5, fault: 'pedal', is: 'drifting', amount: -0.4, until: 2 }]);
    expect(run.at('pedal.voltage', during)).toBeCloseTo(2.5 - 0.4 * 0.25, 9);
    expect(run.at('pedal.impedance', during)).toBe(1000);
    expect(run.at('pedal.voltage', after)).toBeCloseTo(2.5, 9);
  });

  test('chattering: opens and closes, now and then, with the signal good in between', () => {
    const run = half({}, [{ at: 1.5, fault: 'pedal', is: 'chattering', until: 2.5 }], 4);
    const modes = run.words('pedal.mode', 1.5);
    expect(modes.filter((mode) => mode === 'chattering.open').length).toBeGreaterThan(5);
    expect(modes.filter((mode) => mode === 'chattering.closed').length).toBeGreaterThan(5);
    expect(modes.at(-1)).toBe('intact');
    const closed = run.samples('pedal.mode', 1.5).find(([at]) => run.word('pedal.mode', at) === 'chattering.closed')!;
    expect(run.at('pedal.impedance', Math.ceil(closed[0] * 1000 + 1) / 1000)).not.toBe(0);
  });

  test('a second fault takes the place of the first, whose end then changes nothing', () => {
    const script: Doing[] = [
      { at: 1.2, fault: 'pedal', is: 'shorted-to-ground', until: 1.8 },
      { at: 1.5, fault: 'pedal', is: 'shorted-to-supply', until: 2.2 },
    ];
    const run = half({}, script);
    expect(run.words('pedal.mode')).toEqual(['intact', 'shorted-to-ground', 'shorted-to-supply', 'intact']);
    expect(run.at('pedal.voltage', 2)).toBe(5);
  });
});
