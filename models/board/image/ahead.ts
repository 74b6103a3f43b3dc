/**
 * A chip that runs ahead of the bench. Between two instants at which the world outside can reach it, a program depends on
 * nothing but itself: it is run at once over a slice of time, and what it does to the outside is kept with its cycle, to
 * be published when the bench gets there. Something that comes in the middle of a slice throws the rest of it away: the
 * chip goes back to the start of the slice and is run again, up to that instant.
 *
 * The state at the start of the slice is kept in flat arrays, which is all that a snapshot of the bench needs.
 */

import { assert } from '../../../sim/kernel/assert.ts';
import type { Chip } from '../avr/chips.ts';
import { type Core, type CoreSnapshot, createCore, type EngineKind } from '../avr/core.ts';
import type { FindingKind } from '../avr/finding.ts';
import type { Image } from '../avr/image/image.ts';
import { AT } from '../avr/machine.ts';
import { type BusFindingCode, type Outside, STORE_CYCLES, type Stop } from '../avr/peripherals/around.ts';
import {
  type BusSnapshot,
  type ChipSettings,
  createPeripherals,
  type Peripherals,
} from '../avr/peripherals/peripherals.ts';
import { WAVES } from '../avr/peripherals/timer-plans.ts';
import type { Pin } from './pins.ts';

/** What the chip does to the outside, by code; each with one number. */
export const DID = {
  output: 0,
  written: 1,
  writer: 2,
  latched: 3,
  divider: 4,
  top: 5,
  wave: 6,
  action: 7,
  sent: 8,
  converts: 9,
  found: 10,
} as const;

/** What the program did that somebody should know of, and where. */
export interface Found {
  readonly code: FindingKind | BusFindingCode;
  readonly cycle: number;
  /** Byte address of the instruction. */
  readonly pc: number;
  /** Register or data address concerned. */
  readonly address: number;
  readonly says: string;
}

/** The world as the chip meets it at the instant at which the bench is, when it has waited for it. */
export interface World {
  hold(channel: number, reference: number, settlingCycles: number): void;
  watchdogCycles(): number;
}

export interface AheadOptions {
  readonly chip: Chip;
  readonly image: Image;
  readonly settings: Omit<ChipSettings, 'watched'>;
  /** The pin that is listened to, and the timer channel that can drive it. */
  readonly pin: Pin;
  readonly channel: { readonly timer: number; readonly channel: 'A' | 'B' } | undefined;
  readonly world: World;
  /** Carries out plain instructions; the interpreter unless another one is given, with the same outcome. */
  readonly engine?: EngineKind;
}

export interface Ahead {
  readonly core: Core;
  readonly bus: Peripherals;
  /** Flat: the start of the slice, and where the slice ends. */
  readonly state: AheadState;
  readonly found: readonly Found[];
  /** Cycle of the next thing to be published, or of the slice's end. */
  nextCycle(): number;
  /** Publishes what was done up to a cycle, in order. */
  publish(cycle: number, tell: Tell): void;
  /** Takes a reset that was asked for, or lets the event pass for which the chip waits (a result with its count), and publishes what that did up to `cycle`. */
  pass(stop: Stop | undefined, count: number, cycle: number, tell: Tell): void;
  /** Starts a slice at the present cycle and runs it to its end: `cycle`, or earlier where the chip must wait. */
  run(cycle: number): void;
  /** Ends the slice at `cycle`, or just after it where an instruction stands across it. */
  cut(cycle: number): void;
  /** Makes the program stand still with its peripherals running on, or go on from where it was. */
  hang(isHung: boolean): void;
  /** What lies in `state` was restored: brings the chip to where it was. */
  restored(): void;
}

/** Told of one thing that the chip did: its code (`DID`), and its number. */
export type Tell = (code: number, value: number) => void;

export interface AheadState {
  readonly memory: Uint8Array;
  readonly words: Int32Array;
  readonly clock: Float64Array;
  readonly dues: Float64Array;
  readonly numbers: Float64Array;
  readonly eeprom: Uint8Array;
  end: number;
  /** How many of the things done in the slice have been published. */
  published: number;
  /** Done before the start of the slice, by events that an instruction stood across, and not yet published. */
  readonly kept: Float64Array;
  keptCount: number;
  isHung: number;
  /** The interrupt flag that a program that stands still goes on with. */
  flagBefore: number;
  /** What was found before the start of the slice: a row of `FOUND_NUMBERS` each. */
  readonly foundRows: Float64Array;
  foundCount: number;
}

/** More than this is no longer read by anybody. */
const FOUND_MOST = 100;
/** Place of the code among the texts, cycle, program counter, address, place of the words among the texts. */
const FOUND_NUMBERS = 5;
const KEPT_MOST = 64;
/** Cycle, code and value of one thing done. */
const DID_NUMBERS = 3;
/** Room for so many at first; it grows. */
const DONE_FIRST = 256;

export function createAhead({ chip, image, settings, pin, channel, world, engine }: AheadOptions): Ahead {
  // What was done in the slice: a row of `DID_NUMBERS` each, in the order of the cycles.
  let done = new Float64Array(DID_NUMBERS * DONE_FIRST);
  let doneCount = 0;
  const found: Found[] = [];
  let ready: Stop | undefined;
  let readyCount = 0;
  let core: Core | undefined;
  // Codes and words of what was found, so that the state needs numbers only. Never shortened: a snapshot may count on it.
  const texts: string[] = [];
  let coreFindings = 0;

  const did = (code: number, value: number, cycle: number): void => {
    if (DID_NUMBERS * doneCount === done.length) {
      const longer = new Float64Array(2 * done.length);
      longer.set(done);
      done = longer;
    }
    let at = DID_NUMBERS * doneCount;
    while (at > 0 && done[at - DID_NUMBERS]! > cycle) at -= DID_NUMBERS;
    if (at < DID_NUMBERS * doneCount) done.copyWithin(at + DID_NUMBERS, at, DID_NUMBERS * doneCount);
    done[at] = cycle;
    done[at + 1] = code;
    done[at + 2] = value;
    doneCount += 1;
  };
  const find = (code: Found['code'], pc: number, address: number, says: string, cycle: number): void => {
    // Where the program has left its image it passes one word after the other: the first one says it all.
    const isTold = found.some((one) => one.code === code && (one.pc === pc || code === 'outside-image'));
    if (isTold || found.length >= FOUND_MOST) return;
    found.push({ code, pc, address, says, cycle });
    did(DID.found, found.length - 1, cycle);
  };
  const pcNow = (): number => core?.registers().pc ?? 0;

  const outside: Outside = {
    isReady: (stop) => {
      const isReady = stop === ready;
      if (isReady) ready = undefined;
      return isReady;
    },
    hold: (number, reference, settling) => world.hold(number, reference, settling),
    result: () => readyCount,
    pin: (_port, _bit, level, cycle) => did(DID.output, level, cycle),
    timer: (index, what, cycle) => {
      if (channel === undefined || index !== channel.timer) return;
      const look = bus.timers[index]!.look(channel.channel, cycle);
      if (what === 'writtenA' || what === 'writtenB') {
        if (!what.endsWith(channel.channel)) return;
        did(DID.writer, pcNow(), cycle);
        did(DID.written, look.written, cycle);
      } else if (what === 'clock') did(DID.divider, look.divider, cycle);
      else {
        did(DID.latched, look.latched, cycle);
        did(DID.top, look.top, cycle);
        if (what === 'latched') return;
        did(DID.wave, WAVES.indexOf(look.wave), cycle);
        did(DID.action, look.action, cycle);
      }
    },
    converts: (cycle) => did(DID.converts, 1, cycle),
    sent: (byte, cycle) => did(DID.sent, byte, cycle),
    watchdogCycles: () => world.watchdogCycles(),
    watchdogReset: () => undefined,
    report: (code, address, says, cycle) => find(code, pcNow(), address, says, cycle + STORE_CYCLES),
  };
  const watched = [0, 0, 0];
  watched[pin.port] = 1 << pin.bit;
  const bus = createPeripherals({ ...settings, watched }, outside);
  core = createCore({ chip, image, bus, ...(engine === undefined ? {} : { engine }) });
  const chipCore = core;
  const first = chipCore.snapshot();
  const state = flatOf(first);
  const words = { data: state.memory, state: state.words, clock: state.clock };
  const keepChip = (): void => {
    chipCore.keep(words);
    bus.keep(state);
  };
  keepChip();

  const runTo = (cycle: number): void => {
    chipCore.run(cycle);
    const { findings } = chipCore;
    for (; coreFindings < findings.length; coreFindings += 1) {
      const one = findings[coreFindings]!;
      find(one.kind, one.pc, one.address, '', one.cycle + STORE_CYCLES);
    }
  };
  const forget = (): void => {
    doneCount = 0;
    state.published = 0;
  };
  /** Leaves only what has not been published, and keeps it with the slice that begins. */
  const keepRest = (): void => {
    const { published } = state;
    const count = doneCount - published;
    assert(count >= 0 && count <= KEPT_MOST, 'what was done and not published does not fit', { count });
    state.keptCount = count;
    if (count > 0) state.kept.set(done.subarray(DID_NUMBERS * published, DID_NUMBERS * doneCount));
    takeKept();
  };
  const placeOf = (text: string): number => {
    const place = texts.indexOf(text);
    return place === -1 ? texts.push(text) - 1 : place;
  };
  const keepFound = (): void => {
    for (; state.foundCount < found.length; state.foundCount += 1) {
      const { code, cycle, pc, address, says } = found[state.foundCount]!;
      state.foundRows.set([placeOf(code), cycle, pc, address, placeOf(says)], FOUND_NUMBERS * state.foundCount);
    }
  };
  /** What is found later in a run must not be known after a snapshot was restored: it would not be told again. */
  const takeFound = (): void => {
    found.length = 0;
    for (let index = 0; index < state.foundCount; index += 1) {
      const [code, cycle, pc, address, says] = state.foundRows.subarray(FOUND_NUMBERS * index);
      found.push({
        code: texts[code!] as Found['code'],
        cycle: cycle!,
        pc: pc!,
        address: address!,
        says: texts[says!]!,
      });
    }
  };
  const takeKept = (): void => {
    forget();
    for (let index = 0; index < state.keptCount; index += 1)
      did(state.kept[DID_NUMBERS * index + 1]!, state.kept[DID_NUMBERS * index + 2]!, state.kept[DID_NUMBERS * index]!);
  };
  /** The chip may have come to its end an instruction after the event that it waits with. */
  const endNow = (): number => (bus.waitsFor() === undefined ? chipCore.cycle() : bus.waitsSince());
  const publish = (cycle: number, tell: Tell): void => {
    while (state.published < doneCount && done[DID_NUMBERS * state.published]! <= cycle) {
      const at = DID_NUMBERS * state.published;
      state.published += 1;
      tell(done[at + 1]!, done[at + 2]!);
    }
  };
  const back = (): void => {
    chipCore.restore(unflat(state));
    // What was published stays so: the same will be done again up to there.
    const { published } = state;
    takeKept();
    state.published = published;
    takeFound();
    coreFindings = 0;
    ready = undefined;
  };
  return {
    core: chipCore,
    bus,
    state,
    found,
    nextCycle: () =>
      state.published < doneCount ? Math.min(done[DID_NUMBERS * state.published]!, state.end) : state.end,
    publish,
    pass: (stop, count, cycle, tell) => {
      ready = stop;
      readyCount = count;
      runTo(chipCore.cycle());
      ready = undefined;
      publish(cycle, tell);
    },
    run: (cycle) => {
      keepRest();
      keepChip();
      keepFound();
      runTo(cycle);
      state.end = endNow();
    },
    cut: (cycle) => {
      if (state.end <= cycle) return;
      back();
      runTo(cycle);
      state.end = endNow();
    },
    hang: (isHung) => {
      if (isHung === (state.isHung === 1)) return;
      const snapshot = chipCore.snapshot();
      const words = snapshot.state.slice();
      // A core asleep that no interrupt may wake: the clocks are not stopped, as no SLEEP was carried out.
      if (isHung) state.flagBefore = words[AT.i]!;
      words[AT.asleep] = isHung ? 1 : 0;
      words[AT.i] = isHung ? 0 : state.flagBefore;
      state.isHung = isHung ? 1 : 0;
      chipCore.restore({ ...snapshot, state: words });
    },
    restored: () => {
      back();
      runTo(state.end);
    },
  };
}

function flatOf(snapshot: CoreSnapshot): AheadState {
  const bus = snapshot.bus as BusSnapshot;
  return {
    memory: new Uint8Array(snapshot.data.length),
    words: new Int32Array(snapshot.state.length),
    clock: new Float64Array(snapshot.clock.length),
    dues: new Float64Array(bus.dues.length),
    numbers: new Float64Array(bus.numbers.length),
    eeprom: new Uint8Array(bus.eeprom.length),
    end: 0,
    published: 0,
    kept: new Float64Array(DID_NUMBERS * KEPT_MOST),
    keptCount: 0,
    isHung: 0,
    flagBefore: 0,
    foundRows: new Float64Array(FOUND_NUMBERS * FOUND_MOST),
    foundCount: 0,
  };
}

/** A snapshot of the core again. Findings are found anew. */
function unflat({ memory, words, clock, dues, numbers, eeprom }: AheadState): CoreSnapshot {
  return { data: memory, state: words, clock, findings: [], bus: { dues, numbers, eeprom } satisfies BusSnapshot };
}
