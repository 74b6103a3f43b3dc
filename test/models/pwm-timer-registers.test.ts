/** The chip's timers and the register values for a setting, against the datasheet and the C library's header of the chip. */
import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import {
  CHIP_TIMERS,
  compareRegister,
  outputPin,
  type PwmSetup,
  registersOf,
} from '../../models/pwm-timer-registers.ts';

function setup(timerNumber: number, waveformNumber: number, prescaler: number, top: number): PwmSetup {
  const timer = CHIP_TIMERS.find(({ number }) => number === timerNumber)!;
  return { timer, waveform: timer.modes.find(({ number }) => number === waveformNumber)!, prescaler, top };
}

describe('chip timers: legal settings', () => {
  // DS40002061A tables 15-8 (8-bit modes), 16-4 (16-bit modes, DS40002011A p. 185); clock selects 8161D tables 14-9, 17-9.
  test.each([
    [0, 1, 'phase-correct', 'fixed', 8],
    [0, 3, 'fast', 'fixed', 8],
    [0, 5, 'phase-correct', 'compare-a', 8],
    [2, 7, 'fast', 'compare-a', 8],
    [1, 5, 'fast', 'fixed', 8],
    [1, 6, 'fast', 'fixed', 9],
    [1, 7, 'fast', 'fixed', 10],
    [1, 8, 'phase-and-frequency-correct', 'input-capture', 16],
    [1, 9, 'phase-and-frequency-correct', 'compare-a', 16],
    [1, 10, 'phase-correct', 'input-capture', 16],
    [1, 11, 'phase-correct', 'compare-a', 16],
    [1, 14, 'fast', 'input-capture', 16],
    [1, 15, 'fast', 'compare-a', 16],
  ])('timer %d mode %d is %s with its top %s, %d bits', (timer, number, mode, topFrom, bits) => {
    expect(setup(timer, number, 1, 255).waveform).toEqual({ number, mode, topFrom, bits });
  });
  test('modes 4, 12 (no PWM), 13 and those the table keeps reserved are not offered', () => {
    const numbers = (timer: number): number[] => CHIP_TIMERS[timer]!.modes.map(({ number }) => number);
    expect(numbers(0)).toEqual([1, 3, 5, 7]);
    expect(numbers(1)).toEqual([1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 14, 15]);
    expect(numbers(2)).toEqual(numbers(0));
  });
  test('only timer 2 divides by 32 and 128, and its select 4 means 64 where the others mean 256', () => {
    const dividers = CHIP_TIMERS.map(({ prescalers }) => prescalers.map(({ divider }) => divider));
    expect(dividers).toEqual([
      [1, 8, 64, 256, 1024],
      [1, 8, 64, 256, 1024],
      [1, 8, 32, 64, 128, 256, 1024],
    ]);
    const fourth = CHIP_TIMERS.map(({ prescalers }) => prescalers.find(({ select }) => select === 4)!.divider);
    expect(fourth).toEqual([256, 256, 64]);
  });
});

describe('chip timers: register values', () => {
  // By hand from the register descriptions of DS40002061A: COM1A1 is bit 7 of TCCR1A, WGM13:12 bits 4:3 of TCCR1B.
  test('50 Hz from timer 1 at 16 MHz: ICR1 39999, TCCR1A 0x82, TCCR1B 0x1A, pin PB1', () => {
    const of = setup(1, 14, 8, 39999);
    expect(registersOf(of, 2999).map(({ register, value }) => [register, value])).toEqual([
      ['ICR1', 39999],
      ['OCR1A', 2999],
      ['TCCR1A', 0x82],
      ['DDRB', 0x02],
      ['TCCR1B', 0x1a],
    ]);
  });
  test('top in OCR2A: the pulse is on channel B, pin PD3, and WGM22 is bit 3 of TCCR2B', () => {
    const of = setup(2, 7, 1024, 155);
    expect([compareRegister(of), outputPin(of)]).toEqual(['OCR2B', 'PD3']);
    expect(registersOf(of, 11).map(({ register, value }) => [register, value])).toEqual([
      ['OCR2A', 155],
      ['OCR2B', 11],
      ['TCCR2A', 0x23],
      ['DDRD', 0x08],
      ['TCCR2B', 0x0f],
    ]);
  });

  // avr-libc, avr/iom328p.h: written from the same datasheet by other people.
  const header = '/usr/lib/avr/include/avr/iom328p.h';
  test.skipIf(!existsSync(header))(
    `every control value is the sum of the bits it names (skipped without ${header})`,
    () => {
      const text = readFileSync(header, 'utf8');
      const places = new Map(
        [...text.matchAll(/^#define ((?:WGM|COM|CS|DD)\w+) +(\d)$/gm)].map(([, name, bit]) => [name!, Number(bit)]),
      );
      let count = 0;
      for (const timer of CHIP_TIMERS)
        for (const waveform of timer.modes)
          for (const { divider } of timer.prescalers)
            for (const { register, value, bits } of registersOf({ timer, waveform, prescaler: divider, top: 100 }, 9)) {
              expect(text).toMatch(new RegExp(`^#define ${register} `, 'm'));
              if (bits.length === 0) continue;
              count += 1;
              const sum = bits.reduce((all, bit) => all | (1 << places.get(bit)!), 0);
              expect([register, bits, value]).toEqual([register, bits, sum]);
            }
      expect(count).toBe(3 * (4 * 5 + 12 * 5 + 4 * 7));
    },
  );
});
