/**
 * The serial port of a module: both ways a byte takes ten bits, one start and one stop bit with it. What is printed waits
 * until it has gone out, what has come in until it is read.
 */
import type { Host } from '../../../sim/kernel/part.ts';
import { TEXT_MOST } from '../serial-in.ts';

export interface SerialPort {
  print(bytes: Uint8Array): void;
  /** The next byte that has come in; -1 where there is none. */
  readByte(): number;
  /** Somebody sends a text, one byte a character. It waits where the program does not run. */
  receive(text: string): void;
  /** The program starts, and nothing has come in yet. */
  begin(): void;
  /** The board has stopped: what waited to go out is gone. */
  end(): void;
}

/** Start bit, eight bits, stop bit. */
const BITS_A_BYTE = 10;

export function serialPort(host: Host, bitsASecond: number, sent: (byte: number) => void): SerialPort {
  const { now } = host;
  const lost = (says: string): void =>
    host.finding(
      says === PRINTS ? 'printed-too-much' : 'received-too-much',
      `${says}: what is beyond ${TEXT_MOST - 1} bytes is lost`,
    );
  const read = queue(host);
  const going = line(host, bitsASecond, sent);
  const coming = line(host, bitsASecond, (byte) => {
    if (!read.add(byte)) lost('the program does not read what comes in over its serial port');
  });
  return {
    print: (bytes) => {
      for (const byte of bytes)
        if (!going.add(byte, now[0]!)) {
          lost(PRINTS);
          return;
        }
    },
    readByte: () => (read.isEmpty() ? -1 : read.take()),
    receive: (text) => {
      for (const character of text)
        if (!coming.add(character.charCodeAt(0) & 0xff, now[0]!))
          lost('more text is sent to the program than can wait');
    },
    begin: () => {
      going.begin(now[0]!);
      coming.begin(now[0]!);
    },
    end: () => {
      going.stop();
      going.clear();
      coming.stop();
      read.clear();
    },
  };
}

const PRINTS = 'the program prints faster than its serial port sends';

interface Queue {
  isEmpty(): boolean;
  /** False where there is no room. */
  add(byte: number): boolean;
  first(): number;
  take(): number;
  clear(): void;
}

function queue(host: Host): Queue {
  const state = { bytes: new Uint8Array(TEXT_MOST), from: 0, to: 0 };
  host.attach({ state, restored: () => {} });
  const next = (place: number): number => (place + 1) % TEXT_MOST;
  return {
    isEmpty: () => state.from === state.to,
    add: (byte) => {
      if (next(state.to) === state.from) return false;
      state.bytes[state.to] = byte;
      state.to = next(state.to);
      return true;
    },
    first: () => state.bytes[state.from]!,
    take: () => {
      const byte = state.bytes[state.from]!;
      state.from = next(state.from);
      return byte;
    },
    clear: () => {
      state.from = state.to;
    },
  };
}

interface Line {
  add(byte: number, seconds: number): boolean;
  /** From now on what waits goes along it. */
  begin(seconds: number): void;
  stop(): void;
  clear(): void;
}

/** Bytes that go along a wire one after the other; `arrived` gets each when its stop bit is over. */
function line(host: Host, bitsASecond: number, arrived: (byte: number) => void): Line {
  const waiting = queue(host);
  const state = { isAtWork: false, restSeconds: 0, count: 0 };
  host.attach({ state, restored: () => {} });
  const timer = host.timer(() => {
    // It waits until it has arrived, so that one which is broken off begins anew.
    const byte = waiting.first();
    arrived(byte);
    waiting.take();
    state.count += 1;
    goOn();
  });
  /** The instant at which the next byte has come through, counted from when the line was last at rest. */
  const goOn = (): void => {
    if (waiting.isEmpty()) host.sleep(timer);
    else host.wake(timer, state.restSeconds + ((state.count + 1) * BITS_A_BYTE) / bitsASecond);
  };
  const start = (seconds: number): void => {
    state.restSeconds = seconds;
    state.count = 0;
    goOn();
  };
  return {
    add: (byte, seconds) => {
      const wasAtRest = waiting.isEmpty();
      if (!waiting.add(byte)) return false;
      if (wasAtRest && state.isAtWork) start(seconds);
      return true;
    },
    begin: (seconds) => {
      state.isAtWork = true;
      start(seconds);
    },
    stop: () => {
      state.isAtWork = false;
      host.sleep(timer);
    },
    clear: () => waiting.clear(),
  };
}
