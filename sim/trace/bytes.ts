/** What is sent over a serial port, byte for byte: a trace keeps values, and two equal bytes in a row are one value. */
import type { Assembly } from '../bench/assemble.ts';
import type { SignalInfo } from './signal.ts';

/** The signals that are serial ports. */
export function bytePorts(signals: readonly SignalInfo[]): SignalInfo[] {
  return signals.filter(({ isBytes }) => isBytes === true);
}

/**
 * Calls `take` with each byte from now on, in order. To be called after a recorder of the same bench was made, which goes
 * on hearing what it asked for and nothing else.
 */
export function listenForBytes({ kernel, signals }: Assembly, take: (byte: number) => void): void {
  const { observer, values } = kernel;
  const isPort = Uint8Array.from(signals, ({ isBytes }) => (isBytes === true ? 1 : 0));
  const isRecorded = kernel.watched.slice();
  isPort.forEach((one, signal) => {
    if (one === 1) kernel.watched[signal] = 1;
  });
  kernel.observer = {
    observe: (signal) => {
      if (isPort[signal] === 1) take(values[signal]!);
      if (isRecorded[signal] === 1) observer?.observe(signal);
    },
  };
}
