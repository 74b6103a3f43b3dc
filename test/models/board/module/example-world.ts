/** A world for modules that keeps what they do to it, and gives counts from a list. */

import type { Program, Running, World } from '../../../../models/board/module/program.ts';
import { copyState, writeState } from '../../../../sim/kernel/state.ts';

export interface Example extends World {
  readonly did: string[];
  count: number;
  pins: number;
  /** What is still to be read from the serial port. */
  readonly coming: number[];
}

export function exampleWorld(): Example {
  const example: Example = {
    did: [],
    count: 0,
    pins: 0,
    coming: [],
    readCount: () => example.count,
    setCompare: (compare) => example.did.push(`compare ${compare}`),
    readPin: (pin) => (example.pins >> pin) & 1,
    setPin: (pin, isHigh) => {
      example.pins = isHigh ? example.pins | (1 << pin) : example.pins & ~(1 << pin);
      example.did.push(`pin ${pin} ${isHigh}`);
    },
    readPulse: () => 1500,
    timeUs: () => 12_345,
    print: (bytes) => example.did.push(new TextDecoder().decode(bytes)),
    readByte: () => example.coming.shift() ?? -1,
  };
  return example;
}

/** Starts a program in a world of its own and gives what it did in `init` and a pass for each count. */
export function passes(program: Program, counts: readonly number[], stepsMost = 100_000): string[] {
  const world = exampleWorld();
  const running = program.start(world, stepsMost);
  running.init();
  for (const count of counts) {
    world.count = count;
    const stop = running.pass();
    if (stop !== undefined) world.did.push(`${stop.kind}: ${stop.says}`);
  }
  return world.did;
}

/** The state of a program as a snapshot holds it, and put back. */
export const save = (running: Running): object => copyState(running.state);
export function restore(running: Running, saved: object): void {
  writeState(running.state, saved as never);
  running.restored();
}
