/** What a timer's registers keep and what a change of mode does, on a whole chip. Source: ATmega328P datasheet 8161D chapters 14 and 15. */
import { describe, expect, test } from 'vitest';
import { R } from '../../../../../models/board/avr/peripherals/registers.ts';
import { chipRig, forever, nop, puts } from './chip-rig.ts';

const nops = (count: number): number[] => new Array<number>(count).fill(nop);

describe('chip timer registers', () => {
  test.each([
    ['TCCR0A', R.TCCR0A, 0xf3],
    ['TCCR0B', R.TCCR0B, 0x0f],
    ['TCCR1A', R.TCCR1A, 0xf3],
    ['TCCR1B', R.TCCR1B, 0xdf],
    ['TIMSK0', R.TIMSK0, 0x07],
    ['TIMSK1', R.TIMSK1, 0x27],
  ])('%s: reserved bits and those of a forced compare read as zero', (_name, register, read) => {
    const rig = chipRig([...puts([register, 0xff]), forever]);
    rig.core.run(20);
    expect(rig.core.data[register]).toBe(read);
  });
  test('a forced compare does nothing in PWM modes (section 14.9.2)', () => {
    // OC0A set by a match: in fast PWM it is low until then, for nearly a frame.
    const words = (mode: number): number[] => [
      ...puts([R.DDRD, 0x40], [R.OCR0A, 200], [R.TCCR0A, 0xc0 | mode], [R.TCCR0B, 0x85]),
      forever,
    ];
    const high = (mode: number): number => {
      const rig = chipRig(words(mode));
      rig.core.run(100);
      return rig.times('PD6', 1).length;
    };
    expect(high(0)).toBe(1);
    expect(high(3)).toBe(0);
  });
  test('a counter on its way down goes up again in a mode that has no way down', () => {
    const rig = chipRig([...puts([R.TCCR0A, 1], [R.TCCR0B, 1]), ...nops(300), ...puts([R.TCCR0A, 0]), forever]);
    rig.core.run(320);
    const count = rig.bus.read(R.TCNT0);
    rig.core.run(330);
    expect(rig.bus.read(R.TCNT0)).toBe(count + 10);
  });
  test('a store to the counter blocks a match on the next tick (section 14.7.2)', () => {
    const flag = (count: number): number => {
      const rig = chipRig([...puts([R.OCR0A, 100], [R.TCCR0B, 3], [R.TCNT0, count]), forever]);
      rig.core.run(300);
      return rig.bus.read(R.TIFR0) & 2;
    };
    expect(flag(99)).toBe(2);
    expect(flag(100)).toBe(0);
  });
  test('PSRSYNC begins the prescaler anew: the next tick comes a whole divider later (section 16.4.1)', () => {
    // OC0A toggles on every tick of 8 cycles.
    const rig = chipRig([
      ...puts([R.DDRD, 0x40], [R.TCCR0A, 0x42], [R.TCCR0B, 2]),
      ...nops(50),
      ...puts([R.GTCCR, 1]),
      forever,
    ]);
    rig.core.run(200);
    // The store begins in cycle 3 + 9 + 50 + 1 and is latched a cycle later.
    const after = rig.edges.map(({ cycle }) => cycle).filter((cycle) => cycle > 64);
    expect(after.slice(0, 3)).toEqual([64 + 8, 64 + 16, 64 + 24]);
  });
  test('a high byte stored long after a low one is not told of as the wrong order', () => {
    const told = (apart: number): string[] => {
      const rig = chipRig([...puts([R.OCR1AL, 1]), ...nops(apart), ...puts([R.OCR1AH, 1], [R.OCR1AL, 2]), forever]);
      rig.core.run(200);
      return rig.findings.map(({ code }) => code);
    };
    expect(told(0)).toEqual(['low-byte-first']);
    expect(told(60)).toEqual([]);
  });
  test.each([
    ['compare match B of Timer1', 5, [R.OCR1BL, 50]],
    ['input capture of Timer1', 7, [R.OCR1BL, 0]],
  ] as const)('%s starts a conversion with ADTS %i (table 23-6)', (_flag, source, compare) => {
    const rig = chipRig([
      ...puts([R.ADCSRB, source], [R.ADCSRA, 0xa2], [R.OCR1BH, 1], compare, [R.TCCR1B, 1]),
      forever,
    ]);
    rig.core.run(100);
    expect(rig.core.data[R.ADCSRA]! & 0x40).toBe(0);
    if (source === 7) {
      // A falling edge is captured, as ICES1 is 0.
      rig.bus.ports.drive(0, 0, 1, rig.core.cycle());
      rig.core.run(150);
      expect(rig.core.data[R.ADCSRA]! & 0x40).toBe(0);
      rig.bus.ports.drive(0, 0, 0, rig.core.cycle());
      rig.core.run(160);
    } else rig.core.run(340);
    expect(rig.core.data[R.ADCSRA]! & 0x40).toBe(0x40);
  });
  test('so it does where the converter is told so only when the timer runs', () => {
    const rig = chipRig([
      ...puts([R.OCR1BH, 1], [R.OCR1BL, 0], [R.TCCR1B, 1], [R.ADCSRB, 5], [R.ADCSRA, 0xa2]),
      forever,
    ]);
    rig.core.run(260);
    expect(rig.core.data[R.ADCSRA]! & 0x40).toBe(0);
    rig.core.run(280);
    expect(rig.core.data[R.ADCSRA]! & 0x40).toBe(0x40);
  });
});
