/** What every part must keep, on benches that between them hold every kind of part, driven by random scripts. */
import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { partKinds } from '../../models/index.ts';
import { type Act, type Assembly, assemble, type SettledPart } from '../../sim/bench/assemble.ts';
import { loadBench } from '../../sim/bench/load-bench.ts';
import { settleParts } from '../../sim/bench/schema.ts';
import { record } from '../../sim/trace/record.ts';
import type { Trace } from '../../sim/trace/trace.ts';
import { benchParts } from './rig.ts';

const shipped = fileURLToPath(new URL('../../scenarios/orchard-cart/bench.yaml', import.meta.url));

const left = {
  pulse: { neutral: '1500 us', full: '2000 us', reverse: '1000 us' },
  arming: { window: '± 40 us', hold: '0.3 s', refuse: { then: 'lock-out', after: '1 s' } },
  reverse: 'delayed',
  cutoff: { warn: '23 V', limit: '22.5 V', cut: '22 V', delay: '50 ms', release: '22.2 V', latched: false },
  'signal-loss': { after: '100 ms', then: 'hold', rearm: 'at-once' },
  learning: { hold: '0.3 s' },
};
const motor = { resistance: '95 mohm', inductance: '120 uH', constant: '0.061 V.s/rad', gear: 28 };
const whole = {
  bench: 'everything at once',
  rail: { from: 'left' },
  pedal: { kind: 'hall', noise: '10 mV', lag: '5 ms', ratiometric: true },
  selector: { positions: ['reverse', 'neutral', 'forward', 'high'], start: 'forward' },
  receiver: { jitter: '2 us', loss: { after: '200 ms' } },
  board: {
    clock: '8 MHz',
    'boot-loader': '50 ms',
    adc: { prescaler: 64 },
    pwm: { prescaler: 256 },
    firmware: {
      kind: 'mapping',
      input: [184, 839],
      output: [46, 61],
      slew: '100 1/s',
      hold: '0.2 s',
      filter: 1,
      'dead-band': 8,
      plausible: [60, 960],
      'plausible-after': '30 ms',
      radio: { beyond: '20 %', keep: '0.3 s' },
      ranges: { forward: { output: [46, 61] }, high: { output: [46, 66] }, reverse: { output: [46, 31] } },
      'keeps-time': { prescaler: 64 },
    },
  },
  controllers: {
    left,
    right: { ...left, input: 'receiver', 'signal-loss': { then: 'brake' }, reverse: 'brake-first' },
  },
  motors: { left: motor, right: motor },
  vehicle: { mass: '140 kg', wheel: '0.16 m', rolling: 0.03, on: 'ground' },
};
const switched = {
  ...whole,
  bench: 'a switch, a phase-correct timer',
  pedal: { kind: 'switch', bounce: '5 ms' },
  board: {
    clock: '16 MHz',
    adc: { prescaler: 128, pull: 'none' },
    pwm: { bits: 16, mode: 'phase-and-frequency-correct', prescaler: 8, top: 10_000, inverted: true },
    firmware: { kind: 'mapping', input: [0, 1023], output: [9250, 9000], integer: 32, clamp: true },
  },
};

const benches: readonly (readonly [name: string, parts: readonly SettledPart[]])[] = [
  ['orchard cart', settleParts(loadBench(shipped).value!.parts)],
  ['everything at once', benchParts(whole)],
  ['a switch, a phase-correct timer', benchParts(switched)],
];

const SECONDS = 2;
const unit = fc.double({ min: 0, max: 1, noNaN: true });

/** What a form that is a map may hold; a form that is missing here fails the test that looks for it. */
const contentsOf: Readonly<Record<string, fc.Arbitrary<unknown>>> = {
  'pedal.press': fc.record({ press: unit, over: fc.constantFrom(0, 0.3) }),
  'pedal.release': fc.constantFrom(undefined, { release: 0.2 }),
  'selector.to': fc.constantFrom('reverse', 'neutral', 'forward', 'high').map((to) => ({ to })),
  'receiver.stick': fc.double({ min: -1, max: 1, noNaN: true }).map((stick) => ({ stick })),
  'battery.connect': fc.constant(undefined),
  'battery.disconnect': fc.constant(undefined),
  'battery.charge': unit.map((charge) => ({ charge })),
  'battery.temperature': fc
    .integer({ min: -20, max: 60 })
    .map((temperature) => ({ temperature: 273.15 + temperature })),
  'harness.switch': fc.constantFrom({ switch: 'open' }, { switch: 'close' }),
  'harness.temperature': fc
    .integer({ min: -20, max: 90 })
    .map((temperature) => ({ temperature: 273.15 + temperature })),
  'rail.load': fc.double({ min: 0, max: 1.5, noNaN: true }).map((load) => ({ load })),
  'vehicle.grade': fc.double({ min: -0.2, max: 0.2, noNaN: true }).map((grade) => ({ grade })),
  'vehicle.mass': fc.double({ min: 20, max: 300, noNaN: true }).map((mass) => ({ mass })),
  'vehicle.on': fc.constantFrom({ on: 'stands' }, { on: 'ground' }),
};

const instants = fc.integer({ min: 0, max: SECONDS * 1000 - 1 }).map((milliseconds) => milliseconds / 1000);

/** A script that connects the battery, mostly at the start, and then does and breaks things at random. */
function scripts(parts: readonly SettledPart[]): fc.Arbitrary<Act[]> {
  const said = parts.flatMap(({ name, kind }) =>
    Object.keys(kind.steps ?? {}).map((form) =>
      fc
        .record({ seconds: instants, contents: contentsOf[`${kind.kind}.${form}`]! })
        .map(({ seconds, contents }): Act[] => [{ seconds, part: name, form, contents }]),
    ),
  );
  const broken = parts.flatMap(({ name, kind }) =>
    Object.values(kind.faults).map((fault) =>
      fc.record({ seconds: instants, lasts: instants }).map(({ seconds, lasts }): Act[] => [
        { seconds, part: name, event: fault.enter, amount: fault.amount?.default ?? 0 },
        { seconds: seconds + lasts, part: name, event: fault.leave, amount: 0 },
      ]),
    ),
  );
  const connect: Act = { seconds: 0, part: 'battery', form: 'connect', contents: undefined };
  return fc
    .array(fc.oneof({ weight: 1, arbitrary: fc.oneof(...said) }, { weight: 1, arbitrary: fc.oneof(...broken) }), {
      maxLength: 12,
    })
    .map((lists) => [connect, ...lists.flat()].sort((a, b) => a.seconds - b.seconds));
}

const digestOf = (parts: readonly SettledPart[], seed: number, acts: readonly Act[]): string => {
  const { kernel } = assemble(parts, seed, acts);
  kernel.run(SECONDS);
  return kernel.digestText();
};

/** The first sample after an instant in which two traces differ; fresh draws of noise and books are nobody's state. */
function differenceAfter(seconds: number, one: Trace, other: Trace): string | undefined {
  for (const column of one.columns) {
    if (column.signal.isDrawn === true || column.signal.isBook === true) continue;
    const twin = other.column(column.signal.name)!;
    for (let index = column.indexAt(seconds) + 1; index < column.length; index += 1) {
      const [at, value] = [column.secondsAt(index), column.at(column.secondsAt(index))];
      if (!Object.is(twin.at(at) + 0, value + 0)) return `${column.signal.name} at ${at}: ${value} and ${twin.at(at)}`;
    }
  }
  return undefined;
}

const recorded = (assembly: Assembly): Trace => {
  const recorder = record(assembly, 'all');
  recorder.runTo(SECONDS);
  return recorder.trace;
};

const runs = (numRuns: number) => ({ seed: 20261125, numRuns });

test('laws: every kind of part is on a bench here, and every word that one can be told has contents', () => {
  const seen = new Set(benches.flatMap(([, parts]) => parts.map(({ kind }) => kind)));
  const stands = (kind: (typeof partKinds)[number]) => seen.has(kind) || kind.variant !== undefined;
  expect(partKinds.filter((kind) => !stands(kind)).map((kind) => kind.kind)).toEqual([]);
  const forms = [...seen].flatMap((kind) => Object.keys(kind.steps ?? {}).map((form) => `${kind.kind}.${form}`));
  expect(forms.filter((form) => contentsOf[form] === undefined)).toEqual([]);
});

describe.each(benches)('laws: %s', (_name, parts) => {
  test('same files, same seed, same digest', () =>
    fc.assert(
      fc.property(scripts(parts), fc.nat(1000), (acts, seed) => {
        expect(digestOf(parts, seed, acts)).toBe(digestOf(parts, seed, acts));
      }),
      runs(15),
    ));

  test('another seed, another digest, as there is noise in it', () => {
    const acts: Act[] = [
      { seconds: 0, part: 'battery', form: 'connect', contents: undefined },
      { seconds: 0.5, part: 'pedal', event: 'chattering', amount: 0 },
    ];
    expect(new Set([1, 2, 3, 4].map((seed) => digestOf(parts, seed, acts))).size).toBe(4);
  });

  test('recording changes nothing: not all signals, not any of them', () =>
    fc.assert(
      fc.property(scripts(parts), fc.nat(1000), fc.array(fc.nat(1000), { maxLength: 6 }), (acts, seed, picks) => {
        const plain = digestOf(parts, seed, acts);
        const all = assemble(parts, seed, acts);
        recorded(all);
        expect(all.kernel.digestText()).toBe(plain);
        const some = assemble(parts, seed, acts);
        const names = picks.map((pick) => some.signals[pick % some.signals.length]!.name);
        record(some, names, 137).runTo(SECONDS);
        expect(some.kernel.digestText()).toBe(plain);
      }),
      runs(15),
    ));

  test('saved at any event and gone on from there, in the same run or in a fresh one, is the same as straight through', () =>
    fc.assert(
      fc.property(scripts(parts), fc.nat(1000), unit, (acts, seed, share) => {
        const straight = assemble(parts, seed, acts);
        const trace = recorded(straight);
        const digest = straight.kernel.digestText();
        const again = assemble(parts, seed, acts);
        const eventCount = Math.floor(share * straight.kernel.eventCount);
        while (again.kernel.eventCount < eventCount && again.kernel.step(SECONDS)) {
          // Each step is one event.
        }
        const snapshot = again.kernel.save();
        again.kernel.run(SECONDS);
        expect(again.kernel.digestText()).toBe(digest);
        again.kernel.restore(snapshot);
        expect(differenceAfter(snapshot.seconds, trace, recorded(again))).toBeUndefined();
        expect(again.kernel.digestText()).toBe(digest);
        const fresh = assemble(parts, seed, acts);
        fresh.kernel.restore(snapshot);
        expect(differenceAfter(snapshot.seconds, trace, recorded(fresh))).toBeUndefined();
        expect(fresh.kernel.digestText()).toBe(digest);
      }),
      runs(15),
    ));

  test('every fault can be entered and left at any time, in whatever mode: no exception, and numbers stay numbers', () => {
    const modes = new Set<string>();
    fc.assert(
      fc.property(scripts(parts), fc.nat(1000), (acts, seed) => {
        const assembly = assemble(parts, seed, acts);
        const trace = recorded(assembly);
        for (const column of trace.columns) {
          for (const { value } of column) {
            if (Number.isNaN(value)) throw new Error(`${column.signal.name} is not a number`);
            if (column.signal.name.endsWith('.mode')) modes.add(`${column.signal.name} ${column.signal.modes![value]}`);
          }
        }
      }),
      runs(60),
    );
    // The scripts do reach the parts' modes: the law would say little about a bench that stood still.
    expect(modes.size).toBeGreaterThan(25);
  });
});

describe('laws: pinned streams', () => {
  const acts: Act[] = [
    { seconds: 0, part: 'battery', form: 'connect', contents: undefined },
    { seconds: 1.2, part: 'pedal', form: 'press', contents: { press: 0.6, over: 0.3 } },
    { seconds: 1.7, part: 'pedal', event: 'chattering', amount: 0 },
  ];
  // A change here is a change of every run that anybody has pinned: the commit says why.
  test.each(benches)('%s', (name, parts) => {
    expect({ [name]: digestOf(parts, 7, acts) }).toEqual({ [name]: PINNED[name] });
  });
});

describe('laws: allocation', () => {
  test('a steady bench allocates nothing for an event: less than half a boxed number on average, and nothing that grows', () => {
    const script = fileURLToPath(new URL('./steady.ts', import.meta.url));
    const heap = ['--expose-gc', '--min-semi-space-size=64', '--max-semi-space-size=64', '--import', 'tsx'];
    const printed = execFileSync(process.execPath, [...heap, script, shipped], { encoding: 'utf8' });
    const { events, bytesPerEvent, heardCount } = JSON.parse(printed) as Record<string, number>;
    expect(events).toBeGreaterThan(30_000);
    expect(heardCount).toBeGreaterThan(100_000);
    // Measured: 4 bytes, most of them the compiler's own; one boxed number for each event would be 16.
    expect(bytesPerEvent).toBeLessThan(8);
  });
});

const PINNED: Readonly<Record<string, string>> = {
  'orchard cart': 'afbe415c2733fdd0',
  'everything at once': '7538ca74624d4e7c',
  'a switch, a phase-correct timer': '39dc67fd230242c0',
};
