/** A chip that runs ahead in slices does what one does that is run straight on, wherever its slices are cut. */
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CHIPS } from '../../../../models/board/avr/chips.ts';
import { createCore, type EngineKind } from '../../../../models/board/avr/core.ts';
import { type Image, readImage } from '../../../../models/board/avr/image/image.ts';
import type { Outside } from '../../../../models/board/avr/peripherals/around.ts';
import { createPeripherals } from '../../../../models/board/avr/peripherals/peripherals.ts';
import { translatedEngine } from '../../../../models/board/avr/translate/engine.ts';
import { type Ahead, createAhead, DID } from '../../../../models/board/image/ahead.ts';

const chip = CHIPS.atmega328p;
const imageOf = (name: string): Image =>
  readImage(new Uint8Array(readFileSync(fileURLToPath(new URL(name, import.meta.url)))), chip).image!;
const settings = (image: Image) => ({
  eeprom: image.eeprom,
  isClockDivided: false,
  isWatchdogAlwaysOn: false,
  wakeCycles: 16_384,
  hertz: () => 8e6,
});

interface Touch {
  readonly cycle: number;
  readonly bit: number;
  readonly level: number;
}
type Edge = readonly [cycle: number, level: number];

const END = 40_000;

/** The chip as it is, run from touch to touch. */
function straight(image: Image, touches: readonly Touch[]): Edge[] {
  const edges: Edge[] = [];
  const outside: Outside = {
    isReady: () => true,
    hold: () => undefined,
    result: () => 400,
    pin: (_port, _bit, level, cycle) => edges.push([cycle, level]),
    timer: () => undefined,
    converts: () => undefined,
    sent: () => undefined,
    watchdogCycles: () => 62.5,
    watchdogReset: () => undefined,
    report: () => undefined,
  };
  const bus = createPeripherals({ ...settings(image), watched: [2, 0, 0] }, outside);
  const core = createCore({ chip, image, bus });
  for (const { cycle, bit, level } of touches) {
    core.run(cycle);
    bus.ports.drive(2, bit, level, core.cycle());
  }
  core.run(END);
  return edges.filter(([cycle]) => cycle <= END);
}

/** The chip ahead, in slices of the lengths given in turn, cut at each touch and at each of `cuts`. */
function inSlices(
  image: Image,
  touches: readonly Touch[],
  slices: readonly number[],
  cuts: readonly number[],
  breaks: (ahead: Ahead) => void,
  engine?: EngineKind,
): Edge[] {
  const edges: Edge[] = [];
  const ahead = createAhead({
    chip,
    image,
    pin: { port: 0, bit: 1 },
    channel: { timer: 1, channel: 'A' },
    settings: settings(image),
    world: { hold: () => undefined, watchdogCycles: () => 62.5 },
    ...(engine === undefined ? {} : { engine }),
  });
  let present = 0;
  const tell = (code: number, value: number): void => {
    if (code === DID.output) edges.push([present, value]);
  };
  const goOn = (slice: number): void => {
    ahead.pass(ahead.bus.waitsFor(), 400, present, tell);
    ahead.run(ahead.core.cycle() + slice);
  };
  let turn = 0;
  const next = (): number => slices[turn++ % slices.length]!;
  /** Publishes and starts slices until the bench stands at `cycle`. */
  const comeTo = (cycle: number): void => {
    while (ahead.nextCycle() <= cycle) {
      present = ahead.nextCycle();
      ahead.publish(present, tell);
      if (present >= ahead.state.end) goOn(next());
    }
    present = cycle;
  };
  goOn(next());
  const stops = [
    ...touches.map((touch) => ({ ...touch, isTouch: true })),
    ...cuts.map((cycle) => ({ cycle, bit: 0, level: 0, isTouch: false })),
  ];
  for (const { cycle, bit, level, isTouch } of stops.sort((a, b) => a.cycle - b.cycle)) {
    comeTo(cycle);
    breaks(ahead);
    ahead.cut(cycle);
    present = ahead.state.end;
    ahead.publish(present, tell);
    ahead.pass(ahead.bus.waitsFor(), 400, present, tell);
    if (isTouch) ahead.bus.ports.drive(2, bit, level, ahead.core.cycle());
    ahead.run(ahead.core.cycle() + next());
  }
  comeTo(END);
  return edges.filter(([cycle]) => cycle <= END);
}

const touch = fc.record({
  cycle: fc.integer({ min: 20, max: END - 100 }),
  bit: fc.constantFrom(2, 4),
  level: fc.constantFrom(0, 1, 2),
});
// Two touches so near that one instruction stands across both would come in another order.
const touches = fc
  .uniqueArray(touch, { maxLength: 12, selector: ({ cycle }) => Math.floor(cycle / 16) })
  .map((list) => list.sort((a, b) => a.cycle - b.cycle));
const slices = fc.array(fc.integer({ min: 1, max: 9000 }), { minLength: 1, maxLength: 5 });
const cuts = fc.array(fc.integer({ min: 20, max: END - 100 }), { maxLength: 8 });

describe('chip ahead: slices', () => {
  test.each(['copy.elf', 'law.elf', 'serial.elf'])(
    '%s: law: touched at any cycle, in slices of any length, it gives the edges of a straight run',
    (name) => {
      const image = imageOf(name);
      fc.assert(
        fc.property(touches, slices, (list, lengths) => {
          const apart = list.filter(({ cycle }, index) => index === 0 || cycle - list[index - 1]!.cycle > 16);
          expect(inSlices(image, apart, lengths, [], () => undefined)).toEqual(straight(image, apart));
        }),
        { seed: 20261125, numRuns: 25 },
      );
    },
  );
  test('law: cutting a slice, and bringing the chip back from its flat state, changes nothing', () => {
    const image = imageOf('serial.elf');
    fc.assert(
      fc.property(slices, cuts, (lengths, list) => {
        expect(inSlices(image, [], lengths, list, (ahead) => ahead.restored())).toEqual(straight(image, []));
      }),
      { seed: 20261125, numRuns: 25 },
    );
  });
  test('law: translated code gives the same edges as the interpreter', () => {
    const image = imageOf('copy.elf');
    fc.assert(
      fc.property(touches, slices, (list, lengths) => {
        const apart = list.filter(({ cycle }, index) => index === 0 || cycle - list[index - 1]!.cycle > 16);
        expect(inSlices(image, apart, lengths, [], () => undefined, translatedEngine)).toEqual(straight(image, apart));
      }),
      { seed: 20261125, numRuns: 15 },
    );
  });
});
