/** The watchdog's guarded changes and its time, on a whole chip. Source: ATmega328P datasheet 8161D section 10.8. */
import { describe, expect, test } from 'vitest';
import { R } from '../../../../../models/board/avr/peripherals/registers.ts';
import { chipRig, forever, jmp, ldi, nop, puts, sts } from './chip-rig.ts';

const WDE = 8;
const nops = (count: number): number[] => new Array<number>(count).fill(nop);
const announced = (value: number): number[] => puts([R.WDTCSR, 0x18], [R.WDTCSR, value]);
/** A megahertz: a cycle is a microsecond, and the shortest time-out of 2048 ticks of 128 kHz is 16,000 cycles. */
const slow = { hertz: 1e6 };

describe('chip watchdog: changes', () => {
  test('an announcement is good for one change (section 10.8.2: in one operation)', () => {
    const words = [ldi(16, 0x18), ldi(17, 0x0a), ldi(18, 0x0f)];
    const rig = chipRig([...words, ...[16, 17, 18].flatMap((register) => sts(R.WDTCSR, register)), forever], slow);
    rig.core.run(20);
    expect(rig.core.data[R.WDTCSR]! & 7).toBe(2);
  });
  test('with the fuse WDTON it cannot be switched off', () => {
    const rig = chipRig([...announced(0), forever], { ...slow, isWatchdogAlwaysOn: true });
    rig.core.run(20);
    expect(rig.core.data[R.WDTCSR]! & WDE).toBe(WDE);
    rig.core.run(20_000);
    expect(rig.resets).toHaveLength(1);
  });
  test('after its reset WDE stays set until WDRF is cleared (section 10.9.2)', () => {
    // Waits to be reset once, after which register 20 says which way to go.
    const words = (isCleared: boolean): number[] => [
      ...(isCleared ? puts([R.MCUSR, 0]) : []),
      ...announced(0),
      ...announced(WDE),
      ...nops(2),
      ...announced(0),
      forever,
    ];
    for (const isCleared of [false, true]) {
      const rig = chipRig(words(isCleared), slow);
      rig.core.run(60);
      rig.bus.write(R.WDTCSR, WDE);
      rig.core.run(20_000);
      expect(rig.resets).toHaveLength(1);
      rig.core.run(60_000);
      expect(rig.resets.length > 1).toBe(!isCleared);
    }
  });
  test('the flag stays through a store of zero to it, and a one clears it', () => {
    const rig = chipRig([...announced(0x40), forever], slow);
    rig.core.run(17_000);
    expect(rig.core.data[R.WDTCSR]! & 0x80).toBe(0x80);
    rig.bus.write(R.WDTCSR, 0x40);
    expect(rig.core.data[R.WDTCSR]! & 0x80).toBe(0x80);
    rig.bus.write(R.WDTCSR, 0xc0);
    expect(rig.core.data[R.WDTCSR]! & 0x80).toBe(0);
  });
});

describe('chip watchdog: time', () => {
  test('another time-out counts from the last restart on', () => {
    const rig = chipRig([...announced(WDE), ...nops(10_000), ...announced(WDE | 1), ...jmp(0x40 + 10_012)], slow);
    rig.core.run(40_000);
    expect(rig.resets[0]! / 1e6).toBeCloseTo(0.032, 4);
  });
  test('its own oscillator goes on as it was while the CPU clock is divided', () => {
    const words = [...announced(WDE), ...nops(4000), ...puts([R.CLKPR, 0x80], [R.CLKPR, 1]), ...nops(2000)];
    words.push(...announced(WDE | 1), ...jmp(0x40 + words.length + 6));
    const rig = chipRig(words, slow);
    rig.core.run(60_000);
    // 4 ms at a megahertz, the rest of the 32 ms at half of it.
    expect(0.004 + (rig.resets[0]! - 4000) / 0.5e6).toBeCloseTo(0.032, 4);
  });
  test('a time-out in interrupt mode begins the next one', () => {
    const rig = chipRig([...announced(0x40), forever], slow);
    rig.core.run(17_000);
    rig.bus.write(R.WDTCSR, 0xc0);
    rig.core.run(31_900);
    expect(rig.core.data[R.WDTCSR]! & 0x80).toBe(0);
    rig.core.run(32_100);
    expect(rig.core.data[R.WDTCSR]! & 0x80).toBe(0x80);
  });
});
