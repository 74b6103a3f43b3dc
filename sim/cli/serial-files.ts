/** The files that `run --serial` writes: what a program sends over its serial port, byte for byte, as it comes. */
import { signalsOf } from '../bench/assemble.ts';
import { type Problem, problemAt } from '../bench/problem.ts';
import { settleParts } from '../bench/schema.ts';
import { bytePorts } from '../trace/bytes.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import type { Streams } from './streams.ts';
import { growingFile, writtenFileProblems } from './written-files.ts';

const OPTION = '--serial';
const STANDARD_OUTPUT = '-';
/** Bytes that wait before they are written together. */
const BLOCK_BYTES = 16_384;

/** Takes the bytes of one run. */
export interface SentBytes {
  readonly take: (byte: number) => void;
  /** Writes the rest; what the system refused comes back. */
  finish(): Problem[];
  /** The run broke off: nothing is left behind. */
  drop(): void;
}

/** What is wrong with the name given to `--serial`, found before anything is run. */
export function serialProblems(wanted: string, scenarios: readonly Scenario[], streams: Streams): Problem[] {
  const refuse = (says: string): Problem[] => [problemAt(wanted, 'refused', { path: OPTION, says })];
  // Of what could not be read, that is told; whether it has a port cannot be.
  if (scenarios.length > 0 && !scenarios.some(sendsBytes))
    return refuse(
      scenarios.length === 1
        ? 'nothing on this bench has a serial port; a compiled image and a module have one'
        : 'nothing on these benches has a serial port; a compiled image and a module have one',
    );
  if (wanted !== STANDARD_OUTPUT) return writtenFileProblems(OPTION, wanted);
  if (scenarios.length > 1)
    return refuse(`standard output takes what one scenario sends, and here are ${scenarios.length}; name a file`);
  return streams.outBytes === undefined ? refuse('standard output takes no bytes here') : [];
}

export function sendsBytes(scenario: Scenario): boolean {
  return bytePorts(signalsOf(settleParts(scenario.parts))).length > 0;
}

/** Where results go: beside the bytes on standard output they could not be told from them. */
export function besideSerial(wanted: string | undefined, streams: Streams): Streams {
  if (wanted !== STANDARD_OUTPUT) return streams;
  return { ...streams, out: streams.err, isColoured: false, columns: streams.errColumns };
}

export function sentBytes(file: string, { outBytes }: Streams): SentBytes {
  const block = new Uint8Array(BLOCK_BYTES);
  let length = 0;
  const target =
    file === STANDARD_OUTPUT
      ? // A stream may keep what it is given until later.
        { add: (bytes: Uint8Array) => outBytes?.(bytes.slice()), finish: () => [], drop: () => {} }
      : growingFile(OPTION, file);
  const flush = (): void => {
    if (length > 0) target.add(block.subarray(0, length));
    length = 0;
  };
  return {
    take: (byte) => {
      block[length++] = byte;
      if (length === BLOCK_BYTES) flush();
    },
    finish: () => {
      flush();
      return target.finish();
    },
    drop: () => target.drop(),
  };
}
