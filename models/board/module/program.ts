/**
 * What the bench and a module of firmware know of each other, whatever language the module came from.
 *
 * A module is called once when its board starts (`init`) and once each control pass (`pass`). In between it does nothing;
 * while it is called, no time passes on the bench.
 */

/** What a module can do to its board; `place` says where in the program, for causes. */
export interface World {
  /** Count of the conversion that this pass began with; 0 before the first. */
  readCount(): number;
  setCompare(compare: number, place: number): void;
  /** 1 where the pin is high, 0 where it is low. */
  readPin(pin: number): number;
  setPin(pin: number, isHigh: boolean): void;
  /** Width of the latest pulse of a radio receiver, in whole microseconds; 0 where there is none. */
  readPulse(): number;
  /** Microseconds since the program started, as 32 bits without a sign hold them. */
  timeUs(): number;
  print(bytes: Uint8Array): void;
  /** The next byte that has come in over the serial port; -1 where there is none. */
  readByte(): number;
}

/** The pins that a module may name. */
export const PINS = 16;

/** Why a call did not come back. */
export interface Stop {
  /** `steps`: more of them than a call may take. `trap`: it did what cannot be done. */
  readonly kind: 'steps' | 'trap';
  readonly says: string;
  /** Where in the program; -1 where it is not known. */
  readonly place: number;
}

/** Text from a file or a program as part of a sentence: on one line, and nothing that a terminal would act on. */
export function oneLine(text: string): string {
  return text.replaceAll(/[\p{Cc}\p{Zl}\p{Zp}]+/gu, ' ').trim();
}

/** What a program says of its end, as it goes into a finding. */
export const saidText = (text: string): string => oneLine(text).slice(0, 200);

/** A module at work in one run. */
export interface Running {
  /** All that the program can change, for snapshots. */
  readonly state: object;
  /** The state was put back. */
  restored(): void;
  /** Everything as it was before the first call. */
  reset(): void;
  init(): Stop | undefined;
  pass(): Stop | undefined;
}

/** A module that was read. */
export interface Program {
  /** Words for a place in it: a function, with the line where that is known. */
  placeOf(place: number): string;
  start(world: World, stepsMost: number): Running;
}

/** What is wrong in a module's file; `at` is a byte, or a line and a column. */
export interface ModuleMistake {
  readonly at?: string;
  readonly says: string;
}

export interface ModuleRead {
  readonly program?: Program;
  readonly mistakes: readonly ModuleMistake[];
}

/** Calls within calls that a module may come to. A small chip's stack holds about as many. */
export const DEPTH_MOST = 200;
