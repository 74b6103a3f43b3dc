/** The timers' waveforms, flags and interrupts on a whole chip, to the cycle, against the datasheet's rules. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { frameTicks, highTicks, type PwmMode } from '../../../../../models/pwm-timer.ts';
import { chipRig, forever, lds, nop, put, puts, reti, sbi, sei, sts } from './chip-rig.ts';

/** Widths and periods of a pin that is high for a while in each frame, in cycles, the first frame left out. */
function train(rig: ReturnType<typeof chipRig>, pin: string): { highs: Set<number>; periods: Set<number> } {
  const rises = rig.times(pin, 1).slice(1);
  const falls = rig.times(pin, 0);
  const highs = new Set<number>();
  const periods = new Set<number>();
  for (let index = 0; index + 1 < rises.length; index += 1) {
    periods.add(rises[index + 1]! - rises[index]!);
    highs.add(falls.find((fall) => fall > rises[index]!)! - rises[index]!);
  }
  return { highs, periods };
}

const only = (set: Set<number>): number => {
  expect([...set]).toHaveLength(1);
  return [...set][0]!;
};

describe('chip timer: 8-bit waveforms', () => {
  // Frequencies at 16 MHz: 8161D sections 14.7.3 (clock / (N x 256)) and 14.7.4 (clock / (N x 510)).
  test.each([
    [1, 1, 62_500],
    [2, 8, 7812.5],
    [3, 64, 976.5625],
    [4, 256, 244.140625],
    [5, 1024, 61.03515625],
  ])('fast PWM with CS %i (divider %i): %f Hz, high for compare + 1 ticks', (select, divider, hertz) => {
    const rig = chipRig([...puts([R.DDRD, 0x40], [R.OCR0A, 46], [R.TCCR0A, 0x83], [R.TCCR0B, select]), forever]);
    rig.core.run(256 * divider * 6);
    const { highs, periods } = train(rig, 'PD6');
    expect(16e6 / only(periods)).toBe(hertz);
    expect(only(highs)).toBe(47 * divider);
  });
  test.each([
    [2, 8, 3921.5686],
    [3, 64, 490.19608],
    [4, 256, 122.54902],
  ])('phase-correct PWM with CS %i (divider %i): %f Hz, high for 2 x compare ticks', (select, divider, hertz) => {
    const rig = chipRig([...puts([R.DDRD, 0x40], [R.OCR0A, 46], [R.TCCR0A, 0x81], [R.TCCR0B, select]), forever]);
    rig.core.run(510 * divider * 6);
    const { highs, periods } = train(rig, 'PD6');
    expect(16e6 / only(periods)).toBeCloseTo(hertz, 4);
    expect(only(highs)).toBe(92 * divider);
  });
  test("Timer2's dividers 32, 64, 128, 256 and 1024 (8161D table 17-9)", () => {
    for (const [select, divider] of [
      [3, 32],
      [4, 64],
      [5, 128],
      [6, 256],
      [7, 1024],
    ] as const) {
      const rig = chipRig([...puts([R.DDRB, 8], [R.OCR2A, 9], [R.TCCR2A, 0x83], [R.TCCR2B, select]), forever]);
      rig.core.run(256 * divider * 4);
      expect(only(train(rig, 'PB3').periods)).toBe(256 * divider);
    }
  });
  test('compare 0 in fast PWM gives a spike of one tick; compare 255 is always high (8161D section 14.7.3)', () => {
    const spike = chipRig([...puts([R.DDRD, 0x40], [R.TCCR0A, 0x83], [R.TCCR0B, 3]), forever]);
    spike.core.run(256 * 64 * 5);
    expect(only(train(spike, 'PD6').highs)).toBe(64);
    const high = chipRig([...puts([R.DDRD, 0x40], [R.OCR0A, 255], [R.TCCR0A, 0x83], [R.TCCR0B, 3]), forever]);
    high.core.run(256 * 64 * 5);
    expect(high.times('PD6', 0)).toHaveLength(1);
    expect(high.times('PD6', 1)).toHaveLength(1);
  });
  test('phase-correct PWM: compare 0 is always low, compare at top always high (8161D section 14.7.4)', () => {
    const low = chipRig([...puts([R.DDRD, 0x40], [R.TCCR0A, 0x81], [R.TCCR0B, 1]), forever]);
    low.core.run(510 * 5);
    expect(low.times('PD6', 1)).toEqual([]);
    const high = chipRig([...puts([R.DDRD, 0x40], [R.OCR0A, 255], [R.TCCR0A, 0x81], [R.TCCR0B, 1]), forever]);
    high.core.run(510 * 5);
    expect(high.times('PD6', 1)).toHaveLength(1);
    expect(high.times('PD6', 0)).toHaveLength(1);
  });
  test('CTC toggles at clock / (2 x N x (1 + OCR)) (8161D section 14.7.2)', () => {
    const rig = chipRig([...puts([R.DDRD, 0x40], [R.OCR0A, 99], [R.TCCR0A, 0x42], [R.TCCR0B, 2]), forever]);
    rig.core.run(100_000);
    expect(only(train(rig, 'PD6').periods)).toBe(2 * 8 * 100);
  });
  test('mode 7 counts to OCR0A, gives the pulse on B and toggles A (8161D tables 14-2, 14-8)', () => {
    const rig = chipRig([
      ...puts([R.DDRD, 0x60], [R.OCR0A, 199], [R.OCR0B, 49], [R.TCCR0A, 0x63], [R.TCCR0B, 0x0a]),
      forever,
    ]);
    rig.core.run(100_000);
    expect(train(rig, 'PD5')).toEqual({ highs: new Set([50 * 8]), periods: new Set([200 * 8]) });
    expect(only(train(rig, 'PD6').periods)).toBe(2 * 200 * 8);
  });
  test('inverting outputs are the complement', () => {
    const rig = chipRig([...puts([R.DDRD, 0x40], [R.OCR0A, 46], [R.TCCR0A, 0xc3], [R.TCCR0B, 2]), forever]);
    rig.core.run(256 * 8 * 6);
    expect(only(train(rig, 'PD6').highs)).toBe((256 - 47) * 8);
  });
});

describe('chip timer: 16-bit waveforms', () => {
  const words = (top: number, compare: number, a: number, b: number): number[] => [
    ...puts([R.DDRB, 2], [R.TCCR1A, a], [R.TCCR1B, b & 0xf8], [R.ICR1H, top >> 8], [R.ICR1L, top & 0xff]),
    ...puts([R.OCR1AH, compare >> 8], [R.OCR1AL, compare & 0xff], [R.TCCR1B, b]),
    forever,
  ];
  // 50 Hz servo frames at 16 MHz: clock / (N x (1 + top)) in fast, clock / (2 x N x top) in dual-slope modes (8161D 15.9.3 to 15.9.5).
  test('fast PWM, top in ICR1: 20 ms frames, 1500 us from compare 2999', () => {
    const rig = chipRig(words(39_999, 2999, 0x82, 0x1a));
    rig.core.run(16e6 / 5);
    expect(train(rig, 'PB1')).toEqual({ highs: new Set([24_000]), periods: new Set([320_000]) });
  });
  test.each([
    ['phase-correct', 0x82, 0x12],
    ['phase-and-frequency-correct', 0x80, 0x12],
  ])('%s PWM, top in ICR1', (_name, a, b) => {
    const rig = chipRig(words(20_000, 1500, a, b));
    rig.core.run(16e6 / 5);
    expect(train(rig, 'PB1')).toEqual({ highs: new Set([2 * 1500 * 8]), periods: new Set([320_000]) });
  });
  test.each([
    [5, 0x100],
    [6, 0x200],
    [7, 0x400],
  ])('mode %i counts %i ticks', (mode, ticks) => {
    const rig = chipRig([
      ...puts([R.DDRB, 2], [R.OCR1AL, 99], [R.TCCR1A, 0x80 | (mode & 3)], [R.TCCR1B, 0x0a]),
      forever,
    ]);
    rig.core.run(0x400 * 8 * 6);
    expect(train(rig, 'PB1')).toEqual({ highs: new Set([800]), periods: new Set([ticks * 8]) });
  });
  test('ICR1 is taken only in a mode whose top it is, and that is told (8161D section 15.11.7)', () => {
    const rig = chipRig([
      ...puts([R.ICR1H, 0x9c], [R.ICR1L, 0x3f], [R.TCCR1A, 0x82], [R.TCCR1B, 0x1a]),
      ...lds(20, R.ICR1L),
      forever,
    ]);
    rig.core.run(100);
    expect(rig.core.data[20]).toBe(0);
    expect(rig.findings.map(({ code }) => code)).toEqual(['top-not-taken']);
  });
  test('a top that is lowered below the counter is missed, and the counter goes to 65535 (8161D section 15.9.3)', () => {
    // At the store the counter stands above 100.
    const wait = Array.from({ length: 400 }, () => nop);
    const rig = chipRig([
      ...puts(
        [R.DDRB, 2],
        [R.TCCR1A, 0x82],
        [R.TCCR1B, 0x18],
        [R.ICR1H, 0x10],
        [R.ICR1L, 0],
        [R.OCR1AH, 0],
        [R.OCR1AL, 50],
        [R.TCCR1B, 0x19],
      ),
      ...wait,
      ...puts([R.ICR1H, 0], [R.ICR1L, 100]),
      forever,
    ]);
    rig.core.run(70_000);
    const rises = rig.times('PB1', 1);
    // From the start of the counter to its wrap at 65536, then frames of 101 ticks.
    expect(rises[1]! - rises[0]!).toBe(101);
    expect(rises[0]).toBeGreaterThan(65_536);
    expect(rises[0]).toBeLessThan(65_536 + 40);
  });
});

describe('chip timer: law against the waveform arithmetic', () => {
  test('every compare and top gives the high time and frame of models/pwm-timer.ts', () => {
    const modes: readonly (readonly [PwmMode, number, number])[] = [
      ['fast', 0x82, 0x19],
      ['phase-correct', 0x82, 0x11],
      ['phase-and-frequency-correct', 0x80, 0x11],
    ];
    fc.assert(
      fc.property(
        fc.constantFrom(...modes),
        fc.integer({ min: 10, max: 3000 }),
        fc.double({ min: 0.01, max: 0.99, noNaN: true }),
        ([mode, a, b], top, share) => {
          const compare = Math.min(top - 1, Math.max(1, Math.round(share * top)));
          const rig = chipRig([
            ...puts([R.DDRB, 2], [R.TCCR1A, a], [R.TCCR1B, b & 0xf8], [R.ICR1H, top >> 8], [R.ICR1L, top & 255]),
            ...puts([R.OCR1AH, compare >> 8], [R.OCR1AL, compare & 255], [R.TCCR1B, b]),
            forever,
          ]);
          rig.core.run(70_000 + 6 * frameTicks(mode, top));
          const { highs, periods } = train(rig, 'PB1');
          expect([...periods]).toContain(frameTicks(mode, top));
          expect([...highs].at(-1)).toBe(highTicks(mode, compare, top));
        },
      ),
      { seed: 20261125, numRuns: 60 },
    );
  });
  test('a counter read after any stretch is where counting tick by tick takes it', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(1, 2, 3, 4),
        fc.constantFrom(0, 1, 2, 3),
        fc.integer({ min: 0, max: 300_000 }),
        fc.integer({ min: 1, max: 254 }),
        (select, mode, cycles, ocr) => {
          const rig = chipRig([...puts([R.OCR0A, ocr], [R.TCCR0A, mode], [R.TCCR0B, select]), forever]);
          // The last store begins in cycle 3 + 3 x 3 - 2 and is latched in the next; the prescaler has run from 0 on.
          const from = 3 + 9 - 2 + 1;
          rig.core.run(from + cycles);
          const divider = [0, 1, 8, 64, 256][select]!;
          const at = rig.core.cycle();
          const ticks = Math.floor(at / divider) - Math.floor(from / divider);
          const top = mode === 2 ? ocr : 255;
          const folded = ticks % 510;
          const expected = mode === 1 ? Math.min(folded, 510 - folded) : ticks % (top + 1);
          expect(rig.bus.read(R.TCNT0)).toBe(expected);
        },
      ),
      { seed: 20261125, numRuns: 300 },
    );
  });
});

describe('chip timer: double buffer and latch', () => {
  test('a compare stored in mid-frame works from the next bottom on in fast PWM (8161D section 14.7.3)', () => {
    const rig = chipRig([
      ...puts([R.DDRD, 0x40], [R.OCR0A, 99], [R.TCCR0A, 0x83], [R.TCCR0B, 1]),
      ...Array.from({ length: 300 }, () => nop),
      ...put(R.OCR0A, 19),
      forever,
    ]);
    rig.core.run(1100);
    const rises = rig.times('PD6', 1);
    const falls = rig.times('PD6', 0).slice(1);
    // The store comes in the second frame, whose pulse is over: the first width is the old one, the next the new.
    expect(falls.map((fall, index) => fall - rises[index]!).slice(0, 3)).toEqual([100, 20, 20]);
  });
  test('high byte first: the pair arrives together; low byte first: the old high byte is taken, and that is told', () => {
    const right = chipRig([...puts([R.OCR1AH, 5], [R.OCR1AL, 0xdb]), forever]);
    right.core.run(40);
    expect([right.core.data[R.OCR1AH], right.core.data[R.OCR1AL], right.findings.length]).toEqual([5, 0xdb, 0]);
    const wrong = chipRig([...puts([R.OCR1AL, 0xdb], [R.OCR1AH, 5]), forever]);
    wrong.core.run(40);
    expect([wrong.core.data[R.OCR1AH], wrong.core.data[R.OCR1AL]]).toEqual([0, 0xdb]);
    expect(wrong.findings.map(({ code, address }) => [code, address])).toEqual([['low-byte-first', R.OCR1AL]]);
  });
  test('a read of the counter between the two stores takes the high byte away (8161D section 15.3)', () => {
    const rig = chipRig([...put(R.OCR1AH, 5), ...lds(20, R.TCNT1L), ...put(R.OCR1AL, 0xdb), forever]);
    rig.core.run(40);
    expect(rig.core.data[R.OCR1AH]).toBe(0);
    expect(rig.findings.map(({ code }) => code)).toEqual(['latch-overwritten']);
  });
  test('the counter is read low byte first, the high byte as it was then', () => {
    const rig = chipRig([
      ...puts([R.TCNT1H, 0x12], [R.TCNT1L, 0xfe], [R.TCCR1B, 1]),
      ...lds(20, R.TCNT1L),
      nop,
      nop,
      nop,
      nop,
      ...lds(21, R.TCNT1H),
      forever,
    ]);
    rig.core.run(60);
    expect(rig.core.data[21]).toBe(0x12);
  });
});

describe('chip timer: flags and interrupts', () => {
  test('an overflow interrupt begins 4 cycles after the flag, at the next instruction boundary (8161D section 6.7.1)', () => {
    // The routine toggles PB0 with its first instruction.
    const rig = chipRig(
      [...puts([R.DDRB, 1], [R.TIMSK0, 1], [R.TCCR0B, 1]), sei, ...Array.from({ length: 2000 }, () => nop), forever],
      {
        vectors: { [V.TIMER0_OVF]: [sbi(R.PINB, 0), reti] },
      },
    );
    rig.core.run(1600);
    const toggles = rig.edges.filter(({ pin, cycle }) => pin === 'PB0' && cycle > 20).map(({ cycle }) => cycle);
    // The store to TCCR0B begins in cycle 10 and is latched in 11: the flag rises 256 cycles later.
    // Then 4 cycles to the routine, and one until its first instruction's store is latched.
    expect(toggles[0]).toBe(11 + 256 + 4 + 1);
    expect(toggles[1]! - toggles[0]!).toBe(256);
  });
  test('a flag is cleared by writing a one to it, and by its interrupt being taken', () => {
    const rig = chipRig([...puts([R.TCCR0B, 1]), ...Array.from({ length: 300 }, () => nop), sbi(R.TIFR0, 0), forever]);
    rig.core.run(200);
    expect(rig.bus.read(R.TIFR0)).toBe(6);
    rig.core.run(290);
    expect(rig.bus.read(R.TIFR0) & 1).toBe(1);
    rig.core.run(330);
    expect(rig.bus.read(R.TIFR0)).toBe(6);
  });
  test('in CTC the compare flag comes every OCR + 1 ticks', () => {
    const rig = chipRig(
      [...puts([R.DDRB, 1], [R.OCR1AH, 3], [R.OCR1AL, 0xe7], [R.TIMSK1, 2], [R.TCCR1B, 0x0a]), sei, forever],
      {
        vectors: { [V.TIMER1_COMPA]: [sbi(R.PINB, 0), reti] },
      },
    );
    rig.core.run(16e6 / 100);
    const toggles = rig.edges.filter(({ pin, cycle }) => pin === 'PB0' && cycle > 30).map(({ cycle }) => cycle);
    // 1000 ticks of 8 cycles; the loop's two-cycle jump may hold one up by a cycle.
    const gaps = toggles.slice(1).map((cycle, index) => cycle - toggles[index]!);
    expect(Math.min(...gaps)).toBeGreaterThanOrEqual(7999);
    expect(Math.max(...gaps)).toBeLessThanOrEqual(8001);
    expect(toggles.length).toBe(19);
  });
  test('an overflow that nobody waits for costs no event, and its flag is there when it is read', () => {
    const rig = chipRig([...puts([R.TCCR0B, 1]), forever]);
    rig.core.run(16e6);
    expect(rig.bus.read(R.TIFR0)).toBe(7);
  });
  test('ICP1 takes the count on the chosen edge', () => {
    const rig = chipRig([...puts([R.TCCR1B, 0x42]), forever]);
    rig.core.run(8000);
    rig.bus.ports.drive(0, 0, 1, rig.core.cycle());
    const at = rig.core.cycle();
    expect(rig.bus.read(R.ICR1L) | (rig.bus.read(R.ICR1H) << 8)).toBe(Math.floor(at / 8));
    expect(rig.bus.read(R.TIFR1) & 0x20).toBe(0x20);
  });
  test('T0 counts the edges of its pin', () => {
    const rig = chipRig([...puts([R.TCCR0B, 7]), forever]);
    rig.core.run(50);
    for (let edge = 0; edge < 5; edge += 1) {
      rig.bus.ports.drive(2, 4, 1, rig.core.cycle());
      rig.bus.ports.drive(2, 4, 0, rig.core.cycle());
    }
    expect(rig.bus.read(R.TCNT0)).toBe(5);
  });
  test('changing the divider under an interrupt that keeps time is told', () => {
    const rig = chipRig([...puts([R.TIMSK0, 1], [R.TCCR0B, 3], [R.TCCR0B, 4]), forever]);
    rig.core.run(100);
    expect(rig.findings.map(({ code, address }) => [code, address])).toEqual([['time-base-changed', R.TCCR0B]]);
  });
  test('a divider chosen without an interrupt is nobody’s time base', () => {
    const rig = chipRig([...puts([R.TCCR0B, 3], [R.TCCR0B, 4]), forever]);
    rig.core.run(100);
    expect(rig.findings).toEqual([]);
  });
  test('GTCCR resets the prescaler of Timer0 and Timer1, and TSM holds it', () => {
    const rig = chipRig([
      ...puts([R.TCCR0B, 3], [R.GTCCR, 0x81]),
      ...Array.from({ length: 200 }, () => nop),
      ...sts(R.GTCCR, 0),
      forever,
    ]);
    rig.core.run(200);
    expect(rig.bus.read(R.TCNT0)).toBe(0);
    rig.core.run(3 + 6 + 200 + 64 + 10);
    expect(rig.bus.read(R.TCNT0)).toBe(1);
  });
});
