/**
 * A rig for the tests of parts: real parts, assembled and wired as in a bench, with a signal generator on every in port
 * to which none of them is wired. What the generators give, and what is said and done to the parts, is scripted.
 */
import { setup } from 'xstate';
import { z } from 'zod';
import { partKinds } from '../../models/index.ts';
import { HIGH, LOW } from '../../models/pwm-timer.ts';
import { type Act, type Assembly, assemble, type SettledPart } from '../../sim/bench/assemble.ts';
import { benchFileSchema } from '../../sim/bench/load-bench.ts';
import { partsOf, settleParts } from '../../sim/bench/schema.ts';
import type { PartKind, Self } from '../../sim/kernel/part.ts';
import { record } from '../../sim/trace/record.ts';
import type { Column, Trace } from '../../sim/trace/trace.ts';
import { nominal } from '../../sim/units/index.ts';

/** Parts by name: the kind, and its section of a bench file. */
export type RigParts = Readonly<Record<string, readonly [kind: PartKind, section: object]>>;

/** One thing that happens: a generator's signal at an in port, a word said to a part, or a fault of one. */
export type Doing =
  | { readonly at: number; readonly feed: string; readonly to: number }
  | { readonly at: number; readonly say: string; readonly form: string; readonly contents?: unknown }
  | {
      readonly at: number;
      readonly fault: string;
      readonly is: string;
      readonly amount?: number;
      readonly until?: number;
    };

export interface RigRun {
  readonly assembly: Assembly;
  readonly trace: Trace;
  column(signal: string): Column;
  /** Value of a signal at an instant. */
  at(signal: string, seconds: number): number;
  /** Word of a worded signal at an instant. */
  word(signal: string, seconds: number): string;
  /** The words that a signal went through, in order. */
  words(signal: string, fromSeconds?: number): string[];
  /** Samples of a signal from an instant on, as [seconds, value]. */
  samples(signal: string, fromSeconds?: number): [seconds: number, value: number][];
  /** Every publication of a signal, also of a value that it had already. */
  published(signal: string, fromSeconds?: number): [seconds: number, value: number][];
}

export function settled(kind: PartKind, section: object): unknown {
  return nominal(kind.parameters.parse(section));
}

/** The parts and the generators that they need, in wiring order. */
export function rigParts(parts: RigParts): SettledPart[] {
  const own = Object.entries(parts)
    .map(([name, [kind, section]]): SettledPart => ({ name, kind, parameters: settled(kind, section) }))
    .sort((a, b) => partKinds.indexOf(a.kind) - partKinds.indexOf(b.kind));
  let generators: SettledPart[] = [];
  // A generator's name may wire further ports, so that its signals are looked for until no more are needed.
  for (let round = 0; round < 4; round += 1) {
    const needed = neededSignals(own, generators);
    generators = [...needed].map(([name, outs]) => ({ name, kind: generatorOf(name, outs), parameters: {} }));
  }
  return [...generators, ...own];
}

/** The parts of a whole bench, from what its file would hold. */
export function benchParts(contents: object): SettledPart[] {
  return settleParts(partsOf(benchFileSchema.parse(contents) as Readonly<Record<string, unknown>>, partKinds));
}

export function rig(parts: RigParts, script: readonly Doing[], seconds: number, seed = 7): RigRun {
  return runParts(rigParts(parts), script, seconds, seed);
}

export function runParts(all: readonly SettledPart[], script: readonly Doing[], seconds: number, seed = 7): RigRun {
  const assembly = assemble(all, seed, actsIn(all, script));
  const recorder = record(assembly, 'all');
  const { kernel, signals } = assembly;
  const recording = kernel.observer!;
  const publications: Publication[] = [];
  kernel.observer = {
    observe: (signal) => {
      publications.push({ name: signals[signal]!.name, seconds: kernel.now[0]!, value: kernel.values[signal]! });
      recording.observe(signal);
    },
  };
  recorder.runTo(seconds);
  return runOf(assembly, recorder.trace, publications);
}

interface Publication {
  readonly name: string;
  readonly seconds: number;
  readonly value: number;
}

function runOf(assembly: Assembly, trace: Trace, publications: readonly Publication[]): RigRun {
  const column = (signal: string): Column => {
    const found = trace.column(signal);
    if (found === undefined) throw new Error(`no signal ${signal}`);
    return found;
  };
  const wordIn = (signal: string, value: number): string => column(signal).signal.modes?.[value] ?? String(value);
  const samples = (signal: string, fromSeconds = 0): [number, number][] =>
    [...column(signal)].filter((one) => one.seconds >= fromSeconds).map((one) => [one.seconds, one.value]);
  return {
    assembly,
    trace,
    column,
    at: (signal, seconds) => column(signal).at(seconds),
    word: (signal, seconds) => wordIn(signal, column(signal).at(seconds)),
    words: (signal, fromSeconds = 0) => samples(signal, fromSeconds).map(([, value]) => wordIn(signal, value)),
    samples,
    published: (signal, fromSeconds = 0) =>
      publications
        .filter(({ name, seconds }) => name === signal && seconds >= fromSeconds)
        .map(({ seconds, value }) => [seconds, value]),
  };
}

/** Pulses on an in port: high for `width`, every `period`, the first rising at `from`. */
export function train(feed: string, from: number, until: number, width: number, period = 0.02): Doing[] {
  const doings: Doing[] = [];
  for (let index = 0; from + index * period < until - 1e-9; index += 1) {
    const rise = from + index * period;
    doings.push({ at: rise, feed, to: HIGH }, { at: rise + width, feed, to: LOW });
  }
  return doings;
}

export function actsIn(parts: readonly SettledPart[], script: readonly Doing[]): Act[] {
  const kindOf = (name: string): PartKind => parts.find((part) => part.name === name)!.kind;
  const acts = script.flatMap((doing): Act[] => {
    const { at } = doing;
    if ('feed' in doing) {
      const [name, port] = doing.feed.split('.') as [string, string];
      const part = parts.find((one) => one.name === name)!;
      const signal = part.kind.ports.in[port]!.from(selfOf(part, parts))!;
      const [generator, out] = halves(signal);
      return [{ seconds: at, part: generator, form: out, contents: doing.to }];
    }
    if ('say' in doing) return [{ seconds: at, part: doing.say, form: doing.form, contents: doing.contents }];
    const fault = kindOf(doing.fault).faults[doing.is]!;
    const amount = doing.amount ?? fault.amount?.default ?? 0;
    const enter: Act = { seconds: at, part: doing.fault, event: fault.enter, amount };
    return doing.until === undefined
      ? [enter]
      : [enter, { seconds: doing.until, part: doing.fault, event: fault.leave, amount: 0 }];
  });
  return acts
    .map((act, index) => ({ act, index }))
    .sort((a, b) => a.act.seconds - b.act.seconds || a.index - b.index)
    .map(({ act }) => act);
}

function neededSignals(own: readonly SettledPart[], generators: readonly SettledPart[]): Map<string, Set<string>> {
  const all = [...generators, ...own];
  const needed = new Map<string, Set<string>>();
  for (const part of own) {
    for (const port of Object.values(part.kind.ports.in)) {
      const signal = port.from(selfOf(part, all));
      if (signal === undefined) continue;
      const [name, out] = halves(signal);
      if (own.some((one) => one.name === name)) continue;
      needed.set(name, (needed.get(name) ?? new Set()).add(out));
    }
  }
  return needed;
}

function selfOf(part: SettledPart, all: readonly SettledPart[]): Self {
  return {
    name: part.name,
    parameters: part.parameters,
    partNames: new Set(all.map((one) => one.name)),
    gives: (signal: string) =>
      all.some((one) => Object.keys(one.kind.ports.out).some((port) => `${one.name}.${port}` === signal)),
    named: (kind: string) => all.filter((one) => one.kind.kind === kind).map((one) => one.name),
    fed: () => [],
  } as Self;
}

function halves(signal: string): [part: string, port: string] {
  const dot = signal.lastIndexOf('.');
  return [signal.slice(0, dot), signal.slice(dot + 1)];
}

const steady = setup({}).createMachine({ id: 'generator', initial: 'on', states: { on: {} } });

function generatorOf(name: string, outs: ReadonlySet<string>): PartKind {
  return {
    kind: `generator of ${name}`,
    means: 'signal generator',
    at: name,
    parameters: z.any(),
    ports: {
      in: {},
      out: Object.fromEntries([...outs].map((out) => [out, { means: 'scripted', dimension: 'count' as const }])),
    },
    chart: steady,
    faults: {},
    make: (host) => ({
      state: {},
      start: () => undefined,
      input: () => undefined,
      command: (out, value) => {
        host.disturb();
        host.emit(host.out[out]!, value as number);
      },
      fault: () => undefined,
    }),
  };
}
