/** The EEPROM's modes and guards, on a whole chip. Source: ATmega328P datasheet 8161D section 7.6. */
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { type ChipRig, chipRig, forever, put, puts, reti, sbi, sei } from './chip-rig.ts';

const EERE = 1;
const EEPE = 2;
const EERIE = 8;
const write = [sbi(R.EECR, 2), sbi(R.EECR, 1)];
const hertz = 8e6;

/** Writes 0x5a to address 7, then `words`; the clock is that of the oscillator which times the writing. */
function written(...words: number[]): ChipRig {
  return chipRig([...puts([R.EEARL, 7], [R.EEDR, 0x5a]), ...write, ...words, forever], { hertz });
}

describe('chip EEPROM: modes', () => {
  // Table 7-1: erase and write 3.4 ms, erase only 1.8 ms, write only 1.8 ms; table 7-2 gives 3.3 ms for the whole.
  test.each([
    [0x00, 'erases and writes', 0x0f, 3.3e-3],
    [0x10, 'erases only', 0xff, 1.75e-3],
    [0x20, 'only clears bits', 0x5a & 0x0f, 1.75e-3],
  ])('EEPM 0x%s %s', (mode, _what, byte, seconds) => {
    const rig = written();
    rig.core.run(4e-3 * hertz);
    for (const [register, value] of [
      [R.EEDR, 0x0f],
      [R.EECR, mode | 4],
      [R.EECR, mode | EEPE],
    ] as const)
      rig.bus.write(register, value);
    rig.core.run((4e-3 + seconds - 0.05e-3) * hertz);
    expect(rig.core.data[R.EECR]! & EEPE).toBe(EEPE);
    rig.core.run((4e-3 + seconds + 0.1e-3) * hertz);
    expect(rig.core.data[R.EECR]! & EEPE).toBe(0);
    expect(rig.bus.eeprom.bytes[7]).toBe(byte);
  });
});

describe('chip EEPROM: while it is written', () => {
  test('the address does not change and nothing is read', () => {
    const rig = written(...puts([R.EEARL, 8], [R.EEDR, 0x11], [R.EECR, EERE]));
    rig.core.run(1e-3 * hertz);
    expect(rig.core.data[R.EEARL]).toBe(7);
    expect(rig.core.data[R.EEDR]).toBe(0x11);
  });
  test('the mode bits do not change', () => {
    const rig = written(...put(R.EECR, 0x30));
    rig.core.run(1e-3 * hertz);
    expect(rig.core.data[R.EECR]! & 0x30).toBe(0);
    expect(rig.core.data[R.EECR]! & EEPE).toBe(EEPE);
  });
  test('its interrupt waits, and then comes again and again, a level', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.EEDR, 1]), ...write, ...put(R.EECR, EERIE), sei, forever], {
      hertz,
      vectors: { [V.EE_READY]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(3.2e-3 * hertz);
    expect(rig.edges.filter(({ level }) => level === 1)).toEqual([]);
    rig.core.run(3.4e-3 * hertz);
    expect(rig.times('PB0', 1).length).toBeGreaterThan(10);
  });
});

describe('chip EEPROM: reading', () => {
  test('EERE gives the byte at once, EEARH has two bits', () => {
    const rig = written();
    rig.core.run(4e-3 * hertz);
    rig.bus.write(R.EEDR, 0);
    rig.bus.write(R.EECR, EERE);
    expect(rig.core.data[R.EEDR]).toBe(0x5a);
    rig.bus.write(R.EEARH, 0xfd);
    expect(rig.core.data[R.EEARH]).toBe(1);
    rig.bus.write(R.EECR, EERE);
    expect(rig.core.data[R.EEDR]).toBe(0xff);
  });
});
