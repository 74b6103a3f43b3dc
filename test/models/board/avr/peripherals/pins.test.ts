/** Flags of pin changes and external interrupts, on a whole chip. Source: ATmega328P datasheet 8161D chapter 12. */
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { type ChipRig, chipRig, forever, puts, reti, sbi, sei, sleep } from './chip-rig.ts';

/** Runs `words`, then has the pins of port D driven, one after the other. */
function driven(words: readonly number[], ...pins: readonly (readonly [bit: number, level: number])[]): ChipRig {
  const rig = chipRig(words, {
    vectors: { [V.PCINT2]: [sbi(R.PINB, 0), reti], [V.INT0]: [sbi(R.PINB, 0), reti] },
  });
  rig.core.run(60);
  for (const [bit, level] of pins) {
    rig.bus.ports.drive(2, bit, level, rig.core.cycle());
    rig.core.run(rig.core.cycle() + 30);
  }
  return rig;
}

describe('chip pins: changes', () => {
  test('the flag rises without the enable bit, which an interrupt needs (section 12.2.4)', () => {
    const rig = driven([...puts([R.DDRB, 1], [R.PCMSK2, 0x10]), sei, forever], [4, 1]);
    expect(rig.core.data[R.PCIFR]).toBe(4);
    expect(rig.edges.filter(({ level }) => level === 1)).toEqual([]);
    rig.bus.write(R.PCICR, 4);
    rig.core.run(200);
    expect(rig.times('PB0', 1)).toHaveLength(1);
  });
  test('the interrupt clears it', () => {
    const rig = driven([...puts([R.DDRB, 1], [R.PCMSK2, 0x10], [R.PCICR, 4]), sei, forever], [4, 1]);
    expect(rig.times('PB0', 1)).toHaveLength(1);
    expect(rig.core.data[R.PCIFR]).toBe(0);
  });
  test.each([
    ['a store of ones', (rig: ChipRig) => rig.bus.write(R.PCIFR, 1)],
    ['SBI', (rig: ChipRig) => rig.bus.writeBit(R.PCIFR, 0, true)],
  ])('%s clears the flags that it names, and no others', (_how, clear) => {
    const rig = driven([...puts([R.PCMSK0, 1], [R.PCMSK2, 0x10]), forever], [4, 1]);
    rig.bus.ports.drive(0, 0, 1, rig.core.cycle());
    expect(rig.core.data[R.PCIFR]).toBe(5);
    clear(rig);
    expect(rig.core.data[R.PCIFR]).toBe(4);
  });
  test('CBI on the flags changes nothing', () => {
    const rig = driven([...puts([R.PCMSK2, 0x10]), forever], [4, 1]);
    rig.bus.writeBit(R.PCIFR, 2, false);
    expect(rig.core.data[R.PCIFR]).toBe(4);
  });
});

describe('chip pins: external interrupts', () => {
  test('the flag of INT0 starts a conversion with ADTS 2 (table 23-6)', () => {
    const words = [...puts([R.ADCSRB, 2], [R.ADCSRA, 0xa2], [R.EICRA, 3]), forever];
    expect(driven(words, [2, 0]).core.data[R.ADCSRA]! & 0x40).toBe(0);
    expect(driven(words, [2, 1]).core.data[R.ADCSRA]! & 0x40).toBe(0x40);
    expect(driven(words, [3, 1]).core.data[R.ADCSRA]! & 0x40).toBe(0);
  });
  test('edges need the I/O clock: in power-down a rise goes unseen, a low level wakes (section 12.1)', () => {
    const rise = driven([...puts([R.DDRB, 1], [R.SMCR, 5], [R.EICRA, 3], [R.EIMSK, 1]), sei, sleep, forever], [2, 1]);
    rise.core.run(60_000);
    expect(rise.core.data[R.EIFR]).toBe(0);
    expect(rise.core.isAsleep()).toBe(true);
    const words = [...puts([R.PORTD, 4], [R.DDRB, 1], [R.SMCR, 5], [R.EIMSK, 1]), sei, sleep, forever];
    const low = driven(words, [2, 0]);
    low.core.run(60_000);
    expect(low.core.isAsleep()).toBe(false);
    expect(low.times('PB0', 1).length).toBeGreaterThan(0);
  });
});
