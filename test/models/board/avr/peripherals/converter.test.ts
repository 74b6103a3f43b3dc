/** The converter's times in ADC clocks, its triggers, and its data register, on a whole chip. */
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { chipRig, forever, lds, nop, put, puts, reti, sbi, sei, sleep } from './chip-rig.ts';

/** Runs a rig and says when ADSC was first seen clear after each start: cycles at which conversions ended. */
function endOfConversion(rig: ReturnType<typeof chipRig>, limit: number): number {
  let low = rig.core.cycle();
  while (low < limit) {
    rig.core.run(low + 1);
    low = rig.core.cycle();
    if ((rig.core.data[R.ADCSRA]! & 0x40) === 0) return low;
  }
  return -1;
}

describe('chip converter: times (8161D table 23-1)', () => {
  // The store that starts it begins in cycle 7 of this program, so that the ADC clock begins in cycle 8.
  const start = (control: number): number[] => [...puts([R.ADMUX, 0x40], [R.ADCSRA, control]), forever];
  test.each([
    [1, 2],
    [2, 4],
    [3, 8],
    [4, 16],
    [5, 32],
    [6, 64],
    [7, 128],
    [0, 2],
  ])('ADPS %i divides by %i: the first conversion holds after 13.5 and ends after 25 clocks', (bits, divider) => {
    const rig = chipRig(start(0xc0 | bits), { count: () => 321 });
    rig.core.run(20);
    const end = endOfConversion(rig, 8 + 40 * divider);
    expect(rig.holds[0]!.cycle).toBe(8 + 13.5 * divider);
    // The loop is two cycles long, so that the end is seen at the next of its boundaries.
    expect(end - (8 + 25 * divider)).toBeGreaterThanOrEqual(0);
    expect(end - (8 + 25 * divider)).toBeLessThanOrEqual(1);
  });
  test('at 16 MHz and divider 128 a first conversion takes 200 us and one more 104 us', () => {
    const rig = chipRig([
      ...puts([R.ADMUX, 0x40], [R.ADCSRA, 0xc7]),
      ...Array.from({ length: 3200 }, () => nop),
      ...put(R.ADCSRA, 0xc7),
      forever,
    ]);
    rig.core.run(100);
    expect((endOfConversion(rig, 4000) - 8) / 16).toBeCloseTo(200, 1);
    rig.core.run(3300);
    const [, second] = rig.holds;
    const end = endOfConversion(rig, 8000);
    rig.core.run(8000);
    const heldAt = rig.holds[1]!.cycle;
    expect(second).toBeUndefined();
    // From the hold instant, 1.5 clocks after the start, to the end: 11.5 clocks of 128 cycles.
    expect(Math.abs(end - heldAt - 11.5 * 128)).toBeLessThanOrEqual(1);
    expect((heldAt - 8) % 128).toBe(64);
  });
  test('free-running: a result every 13 clocks, 9615 a second at 125 kHz', () => {
    const rig = chipRig(start(0xe7));
    rig.core.run(16e6 / 100);
    const gaps = rig.holds.slice(2).map(({ cycle }, index) => cycle - rig.holds[index + 1]!.cycle);
    expect(new Set(gaps)).toEqual(new Set([13 * 128]));
  });
  test('started by the overflow of Timer0: held 2 clocks after the flag and its synchronization (8161D section 23.4)', () => {
    const rig = chipRig([...puts([R.ADMUX, 0x40], [R.ADCSRB, 4], [R.ADCSRA, 0xa7], [R.TCCR0B, 4]), forever]);
    rig.core.run(65_536 + 4000);
    const first = rig.holds[0]!.cycle;
    // 256 ticks of 256 cycles; the first conversion after switching on takes 13.5 clocks to its hold.
    expect(first).toBe(65_536 + 3 + 13.5 * 128);
    // The flag stays set, so that nothing starts again until it is cleared.
    rig.core.run(5 * 65_536);
    expect(rig.holds).toHaveLength(1);
    rig.bus.write(R.TIFR0, 1);
    rig.core.run(7 * 65_536);
    expect(rig.holds[1]!.cycle).toBe(6 * 65_536 + 3 + 2 * 128);
  });
});

describe('chip converter: registers', () => {
  const read = (mux: number): number[] => [
    ...puts([R.ADMUX, mux], [R.ADCSRA, 0xc0]),
    ...Array.from({ length: 60 }, () => nop),
    ...lds(20, R.ADCL),
    ...lds(21, R.ADCH),
    forever,
  ];
  test.each([
    [0x40, 0x2a5, 0xa5, 0x02],
    [0x60, 0x2a5, 0x40, 0xa9],
  ])('ADMUX %i: count %i reads as low %i, high %i (8161D section 23.9.3)', (mux, count, low, high) => {
    const rig = chipRig(read(mux), { count: () => count });
    rig.core.run(120);
    expect([rig.core.data[20], rig.core.data[21]]).toEqual([low, high]);
  });
  test('between the reads of ADCL and ADCH a new result is not taken', () => {
    let count = 0x0ff;
    const rig = chipRig(
      [
        ...puts([R.ADMUX, 0x40], [R.ADCSRA, 0xe0]),
        ...Array.from({ length: 60 }, () => nop),
        ...lds(20, R.ADCL),
        ...Array.from({ length: 60 }, () => nop),
        ...lds(21, R.ADCH),
        forever,
      ],
      {
        count: () => count,
      },
    );
    rig.core.run(75);
    count = 0x300;
    rig.core.run(200);
    expect([rig.core.data[20], rig.core.data[21]]).toEqual([0xff, 0]);
  });
  test('channel and reference are those at the start of the conversion', () => {
    const rig = chipRig([...puts([R.ADMUX, 0x43], [R.ADCSRA, 0xc7], [R.ADMUX, 0xce]), forever]);
    rig.core.run(5000);
    expect(rig.holds.map(({ channel, reference }) => [channel, reference])).toEqual([[3, 1]]);
  });
  test('the interrupt comes with the result and clears its flag', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.ADMUX, 0x40], [R.ADCSRA, 0xcf]), sei, forever], {
      vectors: { [V.ADC]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(4000);
    const [toggle] = rig.times('PB0', 1);
    expect(toggle! - (11 + 25 * 128)).toBeGreaterThanOrEqual(4);
    expect(toggle! - (11 + 25 * 128)).toBeLessThanOrEqual(6);
    expect(rig.core.data[R.ADCSRA]! & 0x10).toBe(0);
  });
  test('a clock above 200 kHz is told, once a start', () => {
    const rig = chipRig([...puts([R.ADCSRA, 0xc4]), forever]);
    rig.core.run(1000);
    expect(rig.findings.map(({ code }) => code)).toEqual(['adc-clock']);
  });
  test('falling asleep in the quiet mode starts a conversion, whose interrupt wakes (8161D section 23.7)', () => {
    const rig = chipRig(
      [...puts([R.DDRB, 1], [R.ADMUX, 0x40], [R.ADCSRA, 0x8f], [R.SMCR, 0x03]), sei, sleep, forever],
      { vectors: { [V.ADC]: [sbi(R.PINB, 0), reti] } },
    );
    rig.core.run(8000);
    expect(rig.holds).toHaveLength(1);
    expect(rig.times('PB0', 1)).toHaveLength(1);
  });
});
