/** The serial port's flags and what arrives, on a whole chip. Source: ATmega328P datasheet 8161D chapter 19. */
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { type ChipRig, chipRig, forever, put, puts, reti, sbi, sei, sleep } from './chip-rig.ts';

const RXC = 0x80;
const TXC = 0x40;
const UDRE = 0x20;
const FE = 0x10;

/** Receiver and transmitter on, the receive buffer filled with `bytes` at 16 cycles a bit. */
function withReceived(bytes: readonly number[], words: readonly number[] = []): ChipRig {
  const rig = chipRig([...puts([R.UCSR0B, 0x18]), ...words, forever]);
  rig.core.run(10);
  for (const byte of bytes) {
    rig.bus.usart.receive(byte, 16, rig.core.cycle());
    rig.core.run(rig.core.cycle() + 165);
  }
  return rig;
}

describe('chip serial port: frames', () => {
  test('9 bits by UCSZ02: 1 + 9 + 1 bit times of 16 cycles (table 19-7)', () => {
    const rig = chipRig([...puts([R.UCSR0B, 0x0c], [R.UDR0, 1]), forever]);
    rig.core.run(300);
    // The store to UDR0 begins in cycle 7.
    expect(rig.sent[0]!.cycle - 7).toBe(11 * 16);
  });
  test('the high bits of UBRR count: 0x101 is 16 x 258 cycles a bit (table 19-1)', () => {
    const rig = chipRig([...puts([R.UBRR0H, 1], [R.UBRR0L, 1], [R.UCSR0B, 8], [R.UDR0, 1]), forever]);
    rig.core.run(50_000);
    // The store to UDR0 begins in cycle 13.
    expect(rig.sent[0]!.cycle - 13).toBe(10 * 16 * 258);
  });
  test('power-down stops a byte half-way, and it goes on with the I/O clock (section 9.5)', () => {
    const rig = chipRig(
      [...puts([R.PCMSK2, 0x10], [R.PCICR, 4], [R.SMCR, 5], [R.UCSR0B, 8], [R.UDR0, 1]), sei, sleep, forever],
      { vectors: { [V.PCINT2]: [reti] } },
    );
    while (!rig.core.isAsleep()) rig.core.run(rig.core.cycle() + 1);
    const asleepSince = rig.core.cycle();
    rig.core.run(20_000);
    expect(rig.sent).toEqual([]);
    rig.bus.ports.drive(2, 4, 1, rig.core.cycle());
    rig.core.run(40_000);
    // The store to UDR0 begins in cycle 16; 16,384 cycles pass until the oscillator is steady.
    expect(rig.sent[0]!.cycle).toBe(16 + 160 + (20_000 + 16_384 - asleepSince));
  });
  test('put back to before its last bit, a byte leaves again at the same cycle, whatever came next meanwhile', () => {
    const rig = chipRig([
      ...puts([R.DDRD, 0x40], [R.TCCR0A, 0x42], [R.OCR0A, 200], [R.UCSR0B, 8], [R.UDR0, 1], [R.TCCR0B, 1]),
      forever,
    ]);
    rig.core.run(100);
    const saved = rig.core.snapshot();
    rig.core.run(200);
    rig.core.restore(saved);
    rig.core.run(200);
    // The store to UDR0 begins in cycle 16; the timer has its next event after that.
    expect(rig.sent.map(({ cycle }) => cycle)).toEqual([16 + 160, 16 + 160]);
  });
  test('without TXEN nothing is sent', () => {
    const rig = chipRig([...puts([R.UDR0, 1]), forever]);
    rig.core.run(1000);
    expect(rig.sent).toEqual([]);
    expect(rig.core.data[R.UCSR0A]).toBe(UDRE);
  });
});

describe('chip serial port: transmit complete', () => {
  test('TXC rises when the last byte has left and none waits (section 19.6.3)', () => {
    const rig = chipRig([...puts([R.UCSR0B, 8], [R.UDR0, 1], [R.UDR0, 2]), forever]);
    rig.core.run(200);
    expect(rig.sent).toHaveLength(1);
    expect(rig.core.data[R.UCSR0A]! & TXC).toBe(0);
    rig.core.run(400);
    expect(rig.core.data[R.UCSR0A]! & TXC).toBe(TXC);
  });
  test('a one written to it clears it, a zero leaves it (section 19.10.2)', () => {
    const rig = chipRig([...puts([R.UCSR0B, 8], [R.UDR0, 1]), forever]);
    rig.core.run(300);
    rig.bus.write(R.UCSR0A, 0);
    expect(rig.core.data[R.UCSR0A]! & TXC).toBe(TXC);
    rig.bus.write(R.UCSR0A, TXC);
    expect(rig.core.data[R.UCSR0A]! & TXC).toBe(0);
  });
  test('its interrupt clears it: one interrupt a transmission', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.UCSR0B, 0x48], [R.UDR0, 1]), sei, forever], {
      vectors: { [V.USART_TX]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(1000);
    expect(rig.times('PB0', 1)).toHaveLength(1);
    expect(rig.times('PB0', 0)).toHaveLength(1);
    expect(rig.core.data[R.UCSR0A]! & TXC).toBe(0);
  });
});

describe('chip serial port: what arrives', () => {
  test('RXC stays while a byte waits, and falls with the last one read', () => {
    const rig = withReceived([1, 2]);
    expect(rig.bus.read(R.UDR0)).toBe(1);
    expect(rig.core.data[R.UCSR0A]! & RXC).toBe(RXC);
    expect(rig.bus.read(R.UDR0)).toBe(2);
    expect(rig.core.data[R.UCSR0A]! & RXC).toBe(0);
  });
  test('FE is that of the byte that is read next (section 19.7.4)', () => {
    const rig = withReceived([1]);
    rig.bus.usart.receive(2, 20, rig.core.cycle());
    rig.core.run(rig.core.cycle() + 210);
    expect(rig.core.data[R.UCSR0A]! & FE).toBe(0);
    rig.bus.read(R.UDR0);
    expect(rig.core.data[R.UCSR0A]! & FE).toBe(FE);
    rig.bus.read(R.UDR0);
    expect(rig.core.data[R.UCSR0A]! & FE).toBe(0);
  });
  test('without RXEN nothing is received', () => {
    const rig = chipRig([...puts([R.UCSR0B, 8]), forever]);
    rig.core.run(10);
    rig.bus.usart.receive(1, 16, rig.core.cycle());
    rig.core.run(300);
    expect(rig.core.data[R.UCSR0A]! & RXC).toBe(0);
    expect(rig.bus.usart.isReceiving()).toBe(false);
  });
  test('switching the receiver off empties its buffer (section 19.7.7)', () => {
    const rig = withReceived([1, 2]);
    rig.bus.write(R.UCSR0B, 8);
    expect(rig.core.data[R.UCSR0A]! & RXC).toBe(0);
    rig.bus.write(R.UCSR0B, 0x18);
    rig.bus.usart.receive(3, 16, rig.core.cycle());
    rig.core.run(rig.core.cycle() + 165);
    expect(rig.bus.read(R.UDR0)).toBe(3);
  });
  test('the receive interrupt comes again until UDR0 is read', () => {
    const rig = chipRig([...puts([R.DDRB, 1], [R.UCSR0B, 0x90]), sei, ...put(R.GPIOR0, 0), forever], {
      vectors: { [V.USART_RX]: [sbi(R.PINB, 0), reti] },
    });
    rig.core.run(20);
    rig.bus.usart.receive(1, 16, 20);
    rig.core.run(400);
    expect(rig.edges.length).toBeGreaterThan(5);
    rig.bus.read(R.UDR0);
    rig.core.run(440);
    const { length } = rig.edges;
    rig.core.run(600);
    expect(rig.edges).toHaveLength(length);
  });
});
