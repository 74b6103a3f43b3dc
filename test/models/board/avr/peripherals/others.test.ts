/** Serial port, watchdog, ports with their interrupts, EEPROM, sleep and clock, on a whole chip. */
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { chipRig, forever, jmp, lds, nop, put, puts, reti, sbi, sei, sleep, sts, wdr } from './chip-rig.ts';

const wait = (count: number): number[] => Array.from({ length: count }, () => nop);

describe('chip serial port', () => {
  // Bit times: 8161D table 19-1; UBRR values for 16 MHz: table 19-12.
  test.each([
    [103, 0, 9600, 0.2],
    [51, 0, 19_200, 0.2],
    [8, 0, 115_200, -3.5],
    [16, 2, 115_200, 2.1],
    [0, 0, 1e6, 0],
  ])('UBRR %i, U2X %i: %i baud within %f %%, ten bits a byte', (ubrr, doubled, baud, error) => {
    const rig = chipRig([...puts([R.UBRR0L, ubrr], [R.UCSR0A, doubled], [R.UCSR0B, 8], [R.UDR0, 0x55]), forever]);
    rig.core.run(40_000);
    // The store to UDR0 begins in cycle 13.
    const bit = (rig.sent[0]!.cycle - 13) / 10;
    expect(rig.sent[0]!.byte).toBe(0x55);
    expect((16e6 / bit / baud - 1) * 100).toBeCloseTo(error, 1);
  });
  test('a second byte waits, a third one stored meanwhile is lost and told; the flags say so', () => {
    const rig = chipRig([
      ...puts([R.UCSR0B, 8], [R.UDR0, 65], [R.UDR0, 66]),
      ...lds(20, R.UCSR0A),
      ...put(R.UDR0, 67),
      forever,
    ]);
    rig.core.run(400);
    expect(rig.core.data[20]! & 0x20).toBe(0);
    expect(rig.sent.map(({ byte }) => byte)).toEqual([65, 66]);
    expect(rig.sent[1]!.cycle - rig.sent[0]!.cycle).toBe(160);
    expect(rig.findings.map(({ code }) => code)).toEqual(['text-lost']);
    expect(rig.core.data[R.UCSR0A]! & 0x60).toBe(0x60);
  });
  test('frames have the length that UCSR0C says: 5 to 9 bits, parity, one or two stop bits', () => {
    // 8 bits with parity and two stop bits: 1 + 8 + 1 + 2 = 12 bit times of 16 cycles.
    const rig = chipRig([...puts([R.UCSR0C, 0x2e], [R.UCSR0B, 8], [R.UDR0, 1]), forever]);
    rig.core.run(400);
    expect(rig.sent[0]!.cycle - 10).toBe(12 * 16);
  });
  test('what arrives is read in order, at most two bytes wait, and the third is an overrun', () => {
    const rig = chipRig([
      ...puts([R.UCSR0B, 0x10]),
      ...wait(600),
      ...lds(20, R.UCSR0A),
      ...lds(21, R.UDR0),
      ...lds(22, R.UDR0),
      ...lds(23, R.UCSR0A),
      forever,
    ]);
    rig.core.run(10);
    for (const byte of [1, 2, 3]) {
      expect(rig.bus.usart.receive(byte, 16, rig.core.cycle())).toBe(true);
      rig.core.run(rig.core.cycle() + 165);
    }
    rig.core.run(700);
    expect(rig.core.data[20]! & 0x88).toBe(0x88);
    expect([rig.core.data[21], rig.core.data[22]]).toEqual([1, 2]);
    expect(rig.core.data[23]! & 0x80).toBe(0);
  });
  test('a sender more than 4.5 % off is garbled, and that is told', () => {
    const rig = chipRig([...puts([R.UCSR0B, 0x10]), forever]);
    rig.core.run(10);
    rig.bus.usart.receive(0x41, 17, rig.core.cycle());
    rig.core.run(300);
    expect(rig.bus.read(R.UDR0)).not.toBe(0x41);
    expect(rig.findings.map(({ code }) => code)).toEqual(['text-garbled']);
  });
});

describe('chip watchdog', () => {
  // Typical time-outs at 128 kHz: 8161D table 10-2 (16 ms to 8 s; rounded there, 2048 x 2^n cycles exactly).
  test.each([
    [0, 0.016],
    [1, 0.032],
    [2, 0.064],
    [3, 0.128],
    [4, 0.256],
    [5, 0.512],
    [6, 1.024],
    [7, 2.048],
    [0x20, 4.096],
    [0x21, 8.192],
  ])('WDP bits %i: resets after %f s', (bits, seconds) => {
    const rig = chipRig([...puts([R.WDTCSR, 0x18], [R.WDTCSR, 8 | bits]), forever], { hertz: 1e6 });
    rig.core.run(1e6 * seconds * 0.999);
    expect(rig.resets).toEqual([]);
    rig.core.run(1e6 * seconds * 1.001 + 20);
    expect(rig.resets).toHaveLength(1);
    expect(rig.core.data[R.MCUSR]! & 8).toBe(8);
  });
  test('WDR begins the time anew', () => {
    const rig = chipRig([...puts([R.WDTCSR, 0x18], [R.WDTCSR, 8]), ...wait(12_000), wdr, forever], { hertz: 1e6 });
    rig.core.run(27_000);
    expect(rig.resets).toEqual([]);
    rig.core.run(29_000);
    expect(rig.resets).toHaveLength(1);
  });
  test('without the announcement within 4 cycles nothing but the interrupt is switched (8161D section 10.8.2)', () => {
    const rig = chipRig([...puts([R.WDTCSR, 0x18]), ...wait(5), ...put(R.WDTCSR, 0x0f), forever], { hertz: 1e6 });
    rig.core.run(100);
    expect(rig.core.data[R.WDTCSR]! & 7).toBe(0);
  });
  test('interrupt and reset mode: the interrupt first, the reset one time-out later (8161D table 10-1)', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.WDTCSR, 0x18], [R.WDTCSR, 0x48]), sei, forever], {
      hertz: 1e6,
      vectors: { [V.WDT]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(40_000);
    expect(rig.times('PB0', 1)[0]! / 1e6).toBeCloseTo(0.016, 3);
    expect(rig.resets[0]! / 1e6).toBeCloseTo(0.032, 3);
  });
  test('after its reset it runs on at 16 ms until the flag is cleared and it is switched off', () => {
    const rig = chipRig([...puts([R.WDTCSR, 0x18], [R.WDTCSR, 8]), forever], { hertz: 1e6 });
    rig.core.run(100_000);
    expect(rig.resets.length).toBeGreaterThanOrEqual(5);
  });
});

describe('chip ports', () => {
  test('a store of ones to PINx toggles PORTx; SBI on PINx toggles one bit (8161D section 13.2.2)', () => {
    const rig = chipRig([...puts([R.DDRB, 0xff], [R.PORTB, 0x0f], [R.PINB, 0x3c]), sbi(R.PINB, 0), forever]);
    rig.core.run(100);
    expect(rig.core.data[R.PORTB]).toBe(0x0f ^ 0x3c ^ 1);
    expect(rig.core.data[R.PINB]).toBe(0x0f ^ 0x3c ^ 1);
  });
  test('an input reads the outside, else its pull-up, and PUD switches all pull-ups off', () => {
    const rig = chipRig([...puts([R.PORTD, 0xff]), ...wait(10), ...put(R.MCUCR, 0x10), forever]);
    rig.core.run(8);
    expect(rig.core.data[R.PIND]).toBe(0xff);
    rig.bus.ports.drive(2, 3, 0, rig.core.cycle());
    expect(rig.core.data[R.PIND]).toBe(0xf7);
    rig.core.run(40);
    expect(rig.core.data[R.PIND]).toBe(0);
  });
  test.each([
    [1, [1, 1, 1]],
    [2, [0, 1, 1]],
    [3, [1, 1, 2]],
  ])('INT0 with sense %i: interrupts after a rise, a fall and a rise', (sense, counts) => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.EICRA, sense], [R.EIMSK, 1]), sei, forever], {
      vectors: { [V.INT0]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(50);
    const seen: number[] = [];
    const before = rig.edges.length;
    for (const level of [1, 0, 1]) {
      rig.bus.ports.drive(2, 2, level, rig.core.cycle());
      rig.core.run(rig.core.cycle() + 50);
      seen.push(rig.edges.length - before);
    }
    expect(seen).toEqual(sense === 1 ? [1, 2, 3] : counts);
  });
  test('a pin change interrupts where its mask bit is set, for outputs too (8161D section 12.1)', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.PCMSK2, 0x10], [R.PCICR, 4]), sei, forever], {
      vectors: { [V.PCINT2]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(50);
    const before = rig.edges.length;
    rig.bus.ports.drive(2, 5, 1, rig.core.cycle());
    rig.core.run(100);
    expect(rig.edges.length).toBe(before);
    rig.bus.ports.drive(2, 4, 1, rig.core.cycle());
    rig.core.run(150);
    expect(rig.edges.length).toBe(before + 1);
  });
  test('a low level holds its interrupt on for as long as it lasts', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.PORTD, 4], [R.EIMSK, 1]), sei, forever], {
      vectors: { [V.INT0]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(50);
    rig.bus.ports.drive(2, 2, 0, rig.core.cycle());
    rig.core.run(150);
    const during = rig.edges.length;
    expect(during).toBeGreaterThan(5);
    rig.bus.ports.drive(2, 2, 1, rig.core.cycle());
    rig.core.run(400);
    expect(rig.edges.length - during).toBeLessThanOrEqual(1);
  });
});

describe('chip EEPROM, sleep, clock and the rest', () => {
  test('a byte is written in 3.3 ms after the timed sequence, and reads back (8161D section 7.4)', () => {
    const rig = chipRig([...puts([R.EEARL, 7], [R.EEDR, 0x5a]), sbi(R.EECR, 2), sbi(R.EECR, 1), forever]);
    rig.core.run(3.2e-3 * 16e6);
    expect(rig.core.data[R.EECR]! & 2).toBe(2);
    rig.core.run(3.4e-3 * 16e6);
    expect(rig.core.data[R.EECR]! & 2).toBe(0);
    expect(rig.bus.eeprom.bytes[7]).toBe(0x5a);
  });
  test('without EEMPE, or more than 4 cycles after it, nothing is written', () => {
    const rig = chipRig([...puts([R.EEARL, 7], [R.EEDR, 0x5a]), sbi(R.EECR, 2), ...wait(4), sbi(R.EECR, 1), forever]);
    rig.core.run(1e5);
    expect(rig.bus.eeprom.bytes[7]).toBe(0xff);
  });
  test('idle: timers run on and wake the core, with 4 cycles for the interrupt and 4 for waking', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.SMCR, 1], [R.TIMSK0, 1], [R.TCCR0B, 1]), sei, sleep, forever], {
      vectors: { [V.TIMER0_OVF]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(600);
    // The store to TCCR0B begins in cycle 13; the flag rises at 14 + 256. The routine's own store is latched a cycle after its start.
    expect(rig.times('PB0', 1)[0]).toBe(14 + 256 + 8 + 1);
  });
  test('power-down stops the timers; a pin change wakes, after the start-up of the oscillator', () => {
    const rig = chipRig(
      [...puts([R.DDRB, 1], [R.SMCR, 5], [R.PCMSK2, 0x10], [R.PCICR, 4], [R.TCCR0B, 1]), sei, sleep, forever],
      { vectors: { [V.PCINT2]: [sbi(R.PINB, 0), reti] } },
    );
    rig.core.run(10_000);
    const count = rig.bus.read(R.TCNT0);
    rig.core.run(20_000);
    expect(rig.bus.read(R.TCNT0)).toBe(count);
    rig.bus.ports.drive(2, 4, 1, rig.core.cycle());
    rig.core.run(60_000);
    expect(rig.times('PB0', 1)[0]! - 20_000).toBe(16_384 + 8 + 1);
  });
  test.each([20_000, 20_001, 20_017, 20_063])(
    'power-down stops the prescaler as well, which goes on where it was: woken at cycle %d',
    (wakes) => {
      // Timer0 toggles OC0A on every tick of 64 cycles. The I/O clock, from which the prescaler counts, stands still (8161D section 9.5).
      const rig = chipRig(
        [
          ...puts([R.DDRD, 0x40], [R.SMCR, 5], [R.PCMSK2, 0x10], [R.PCICR, 4], [R.TCCR0A, 0x42], [R.TCCR0B, 3]),
          ...wait(300),
          ...[sei, sleep, forever],
        ],
        { vectors: { [V.PCINT2]: [reti] } },
      );
      while (!rig.core.isAsleep()) rig.core.run(rig.core.cycle() + 1);
      const asleepSince = rig.core.cycle();
      const before = rig.edges.filter(({ pin }) => pin === 'PD6').map(({ cycle }) => cycle);
      rig.core.run(wakes);
      rig.bus.ports.drive(2, 4, 1, rig.core.cycle());
      rig.core.run(wakes + 36_384);
      const after = rig.edges.map(({ cycle }) => cycle).filter((cycle) => cycle > asleepSince);
      expect(before.length).toBeGreaterThan(3);
      // 16,384 cycles more until the oscillator is steady.
      expect(after[0]).toBe(before.at(-1)! + 64 + (wakes + 16_384 - asleepSince));
      expect(after[1]! - after[0]!).toBe(64);
    },
  );
  test('CLKPR divides the clock after its announcement, within 4 cycles (8161D section 8.12.2)', () => {
    const right = chipRig([...puts([R.CLKPR, 0x80], [R.CLKPR, 3]), forever]);
    right.core.run(40);
    expect(right.bus.divider()).toBe(8);
    const late = chipRig([...puts([R.CLKPR, 0x80]), ...wait(5), ...put(R.CLKPR, 3), forever]);
    late.core.run(40);
    expect(late.bus.divider()).toBe(1);
    expect(chipRig([forever], { isClockDivided: true }).bus.divider()).toBe(8);
  });
  test('MCUSR keeps its causes until the program clears them', () => {
    const rig = chipRig([...lds(20, R.MCUSR), ...sts(R.MCUSR, 1), forever]);
    rig.core.run(20);
    expect(rig.core.data[20]).toBe(1);
    rig.bus.resetBy('brown-out');
    rig.core.run(40);
    expect(rig.core.data[20]).toBe(4);
  });
  test('a store to an address without a register, and use of what is not modelled, are told', () => {
    const rig = chipRig([...puts([0x65, 1], [R.TWCR, 0x84]), forever]);
    rig.core.run(40);
    expect(rig.findings.map(({ code, address }) => [code, address])).toEqual([
      ['reserved-register', 0x65],
      ['not-modelled', R.TWCR],
    ]);
  });
  test('power reduction stops a timer where it stands', () => {
    const rig = chipRig([...puts([R.TCCR0B, 1], [R.PRR, 0x20]), forever]);
    rig.core.run(40);
    const count = rig.bus.read(R.TCNT0);
    rig.core.run(400);
    expect(rig.bus.read(R.TCNT0)).toBe(count);
  });
  test('a snapshot put back goes on with the same edges, whatever was done in between', () => {
    const words = [
      ...puts(
        [R.DDRD, 0x40],
        [R.OCR0A, 46],
        [R.TCCR0A, 0x83],
        [R.TCCR0B, 2],
        [R.ADCSRA, 0xe7],
        [R.UCSR0B, 8],
        [R.UDR0, 65],
      ),
      ...jmp(0x40 + 18),
    ];
    const rig = chipRig(words);
    rig.core.run(10_000);
    const saved = rig.core.snapshot();
    const from = rig.edges.length;
    rig.core.run(60_000);
    const first = rig.edges.splice(from);
    rig.bus.write(R.OCR0A, 200);
    rig.bus.write(R.TCCR0B, 3);
    rig.core.run(90_000);
    rig.edges.splice(from);
    rig.core.restore(saved);
    rig.core.run(60_000);
    expect(rig.edges.splice(from)).toEqual(first);
    expect(first.length).toBeGreaterThan(40);
  });
});
