/**
 * The serial port: what the program sends, byte by byte with its true duration, and what it is sent.
 *
 *     bit = 16 x (UBRR + 1) cycles, or 8 x with U2X; a frame is a start bit, 5 to 9 data bits, parity if any, 1 or 2 stop bits
 *
 * A byte begins to leave at the store; on a real chip it waits for the next tick of the baud clock, less than one bit.
 *
 * Source: 8161D chapter 19 (baud rates: table 19-1; frames: section 19.4; greatest baud error: table 19-2).
 */
import { type Around, type Peripheral, SLOT } from './around.ts';
import type { Numbers } from './numbers.ts';
import { R, V } from './registers.ts';

const RXC = 0x80;
const TXC = 0x40;
const UDRE = 0x20;
const FE = 0x10;
const DOR = 0x08;
const U2X = 0x02;
const RXEN = 0x10;
const TXEN = 0x08;
/** Beyond this share the last bits of a frame of 8 are taken wrongly (8161D table 19-2, greatest total error). */
const BAUD_ERROR_MOST = 0.045;

export interface Usart extends Peripheral {
  read(): number;
  write(address: number, value: number): boolean;
  writeBit(address: number, bit: number, isSet: boolean): boolean;
  sent(cycle: number): void;
  received(cycle: number): void;
  acknowledge(vector: number): boolean;
  /** A byte begins to arrive, with the sender's bit time; false if one is already on its way. */
  receive(byte: number, bitCycles: number, cycle: number): boolean;
  /** True while the program would have to wait before it can send another byte. */
  isFull(): boolean;
  isReceiving(): boolean;
  bitCycles(): number;
}

interface UsartState extends Numbers {
  shifting: number;
  waiting: number;
  /** Bytes received and not read, the older one first; -1 for none. Bit 8 marks a framing error. */
  first: number;
  second: number;
  arriving: number;
}

const fresh = (): UsartState => ({ shifting: -1, waiting: -1, first: -1, second: -1, arriving: -1 });

export function createUsart(around: Around): Usart {
  const state = around.numbers(fresh());
  const { outside } = around;
  const status = (): number => around.data[R.UCSR0A]!;
  const control = (): number => around.data[R.UCSR0B]!;
  const divisor = (): number => (((around.data[R.UBRR0H]! & 15) << 8) | around.data[R.UBRR0L]!) + 1;
  const bitCycles = (): number => ((status() & U2X) === 0 ? 16 : 8) * divisor();
  const frameBits = (): number => {
    const c = around.data[R.UCSR0C]!;
    const dataBits = (control() & 4) !== 0 ? 9 : 5 + ((c >> 1) & 3);
    return 1 + dataBits + ((c & 0x20) === 0 ? 0 : 1) + ((c & 8) === 0 ? 1 : 2);
  };
  const pend = (): void => {
    const pending = status() & control();
    around.level(V.USART_RX, (pending & RXC) !== 0);
    around.level(V.USART_TX, (pending & TXC) !== 0);
    around.level(V.USART_UDRE, (pending & UDRE) !== 0);
  };
  const shift = (byte: number, cycle: number): void => {
    state.shifting = byte;
    around.schedule(SLOT.sent, cycle + frameBits() * bitCycles());
  };
  const send = (byte: number): void => {
    if ((control() & TXEN) === 0) return;
    const now = around.port.now();
    if (state.waiting >= 0) {
      outside.report(
        'text-lost',
        R.UDR0,
        'a byte was stored in UDR0 while the one before still waited there, and is lost',
        now,
      );
      return;
    }
    if (state.shifting < 0) shift(byte, now);
    else {
      state.waiting = byte;
      around.data[R.UCSR0A]! &= ~UDRE;
    }
    pend();
  };
  const writeStatus = (value: number, clearsDone: boolean): void => {
    const kept = status() & (RXC | UDRE | FE | DOR | (clearsDone ? 0 : TXC));
    around.data[R.UCSR0A] = kept | (value & 3);
    pend();
  };

  return {
    state,
    reset: () => {
      Object.assign(state, fresh());
      around.data[R.UCSR0A] = UDRE;
      around.data[R.UCSR0C] = 6;
    },
    read: () => {
      const byte = state.first;
      state.first = state.second;
      state.second = -1;
      around.data[R.UCSR0A] =
        state.first < 0 ? status() & ~(RXC | DOR | FE) : (status() & ~FE) | (state.first > 0xff ? FE : 0);
      pend();
      return byte < 0 ? 0 : byte & 0xff;
    },
    write: (address, value) => {
      if (address === R.UDR0) send(value);
      else if (address === R.UCSR0A) writeStatus(value, (value & TXC) !== 0);
      else if (address === R.UCSR0B) {
        around.data[address] = value & 0xfd;
        if ((value & RXEN) === 0) {
          state.first = -1;
          state.second = -1;
          around.data[R.UCSR0A]! &= ~(RXC | FE | DOR);
        }
        pend();
      } else if (address === R.UCSR0C || address === R.UBRR0L || address === R.UBRR0H) around.data[address] = value;
      else return false;
      return true;
    },
    writeBit: (address, bit, isSet) => {
      if (address !== R.UCSR0A) return false;
      const mask = 1 << bit;
      writeStatus(isSet ? status() | mask : status() & ~mask, isSet && mask === TXC);
      return true;
    },
    sent: (cycle) => {
      outside.sent(state.shifting, cycle);
      state.shifting = -1;
      if (state.waiting >= 0) {
        shift(state.waiting, cycle);
        state.waiting = -1;
        around.data[R.UCSR0A]! |= UDRE;
      } else around.data[R.UCSR0A]! |= TXC;
      pend();
    },
    received: () => {
      const byte = state.arriving;
      state.arriving = -1;
      if ((control() & RXEN) === 0) return;
      if (state.first < 0) state.first = byte;
      else if (state.second < 0) state.second = byte;
      else {
        around.data[R.UCSR0A]! |= DOR;
        return;
      }
      around.data[R.UCSR0A]! |= RXC | (state.first > 0xff ? FE : 0);
      pend();
    },
    acknowledge: (vector) => {
      if (vector === V.USART_TX) around.data[R.UCSR0A]! &= ~TXC;
      else if (vector !== V.USART_RX && vector !== V.USART_UDRE) return false;
      // The other two go on until the program has read or sent something.
      pend();
      return true;
    },
    receive: (byte, senderCycles, cycle) => {
      if (state.arriving >= 0) return false;
      const own = bitCycles();
      const error = Math.abs(senderCycles - own) / own;
      if (error > BAUD_ERROR_MOST && (control() & RXEN) !== 0)
        outside.report(
          'text-garbled',
          R.UBRR0L,
          `the sender's bits last ${Math.round(senderCycles)} cycles, those of the program ${own}: ${(error * 100).toFixed(1)} % apart, more than the ${BAUD_ERROR_MOST * 100} % that a receiver bears`,
          cycle,
        );
      // What is read of a frame at a wrong rate is not the byte; here its bits are inverted and the frame is marked.
      state.arriving = error > BAUD_ERROR_MOST ? (byte ^ 0xff) | 0x100 : byte;
      around.schedule(SLOT.received, cycle + Math.round(frameBits() * senderCycles));
      return true;
    },
    isFull: () => state.waiting >= 0,
    isReceiving: () => state.arriving >= 0,
    bitCycles,
  };
}
