/**
 * From a list of parts with settled numbers to a kernel that is ready to run: signals are numbered, ports are wired by
 * name, hosts are made, parts are started.
 */
import { tableOf } from '../chart/table.ts';
import { assert } from '../kernel/assert.ts';
import type { StepLimits } from '../kernel/continuum.ts';
import { type Command, type Journal, Kernel } from '../kernel/kernel.ts';
import type { Attachment, Host, Live, OutPort, PartKind, Self } from '../kernel/part.ts';
import type { SignalInfo } from '../kernel/signal.ts';

/** A part of one bench, its quantities already settled to numbers. */
export interface SettledPart {
  readonly name: string;
  readonly kind: PartKind;
  readonly parameters: unknown;
}

/** Something that a part found worth telling though no expectation asked. */
export interface Finding {
  readonly part: string;
  readonly code: string;
  readonly says: string;
  readonly seconds: number;
}

export interface AssembledPart extends SettledPart {
  readonly live: Live;
  readonly attachments: readonly Attachment[];
  /** Name of the signal at each in port; undefined where nothing is wired. */
  readonly wiring: Readonly<Record<string, string | undefined>>;
}

export interface Assembly {
  readonly kernel: Kernel;
  readonly signals: readonly SignalInfo[];
  /** Index of a signal by its name. */
  readonly signalIndex: ReadonlyMap<string, number>;
  readonly parts: readonly AssembledPart[];
  readonly findings: Finding[];
}

/** What the script does to a part at an instant. */
export type Act =
  | { readonly seconds: number; readonly part: string; readonly form: string; readonly contents: unknown }
  | { readonly seconds: number; readonly part: string; readonly event: string; readonly amount: number };

/** All signals that these parts give out, in rank order. */
export function signalsOf(parts: readonly SettledPart[]): SignalInfo[] {
  return parts.flatMap(({ name, kind }) => [
    {
      name: `${name}.mode`,
      dimension: 'count' as const,
      shape: 'held' as const,
      modes: tableOf(kind.chart).leaves,
      means: `mode of ${name}`,
      ...(kind.gauges === undefined
        ? {}
        : { gauges: Object.fromEntries(Object.entries(kind.gauges).map(([mode, port]) => [mode, `${name}.${port}`])) }),
    },
    ...Object.entries(kind.ports.out).map(([port, out]) => signalOf(`${name}.${port}`, out)),
  ]);
}

function signalOf(name: string, out: OutPort): SignalInfo {
  return {
    name,
    dimension: out.dimension,
    shape: out.kind === undefined || out.kind === 'held' ? 'held' : 'linear',
    means: out.means,
    ...(out.words === undefined ? {} : { modes: out.words }),
    ...(out.kind === 'flowing' ? { isFlowing: true } : {}),
    ...(out.isBook === true ? { isBook: true } : {}),
    ...(out.drawn === true ? { isDrawn: true } : {}),
  };
}

export interface AssembleOptions {
  /** Makes the journal that every publication is written to; see verdict/cause.ts. */
  readonly journalFor?: (kernel: Kernel) => Journal;
  /** Step and error of the continuous states, where the usual ones are to be doubted. */
  readonly limits?: StepLimits;
}

/** Wires and starts the parts. `acts` must be sorted by time. */
export function assemble(
  parts: readonly SettledPart[],
  seed: number,
  acts: readonly Act[],
  options: AssembleOptions = {},
): Assembly {
  const { journalFor, limits } = options;
  const signals = signalsOf(parts);
  const signalIndex = new Map(signals.map((signal, index) => [signal.name, index]));
  const partNames = new Set(parts.map((part) => part.name));
  const wirings = parts.map((part) => wiringOf(part, parts, partNames));
  const quiet = new Set(
    parts.flatMap(({ name, kind }) =>
      Object.entries(kind.ports.out).flatMap(([port, out]) => (out.quiet === true ? [`${name}.${port}`] : [])),
    ),
  );
  const routes: [rank: number, bit: number][][] = signals.map(() => []);
  parts.forEach(({ name, kind }, rank) => {
    Object.entries(kind.ports.in).forEach(([port, inPort], index) => {
      assert(index < 31, 'a part has more in ports than a mask has bits', { name });
      const from = wirings[rank]![port];
      if (from === undefined) return;
      const signal = signalIndex.get(from);
      assert(signal !== undefined, 'a port is wired to a signal that nobody gives', { part: name, port, from });
      const isQuiet = quiet.has(from);
      assert(!isQuiet || inPort.wakes === false, 'a quiet signal cannot wake anybody', { part: name, port, from });
      if (inPort.wakes !== false) routes[signal]!.push([rank, 1 << index]);
    });
  });

  const kernel = new Kernel(seed, routes, parts.length, limits);
  parts.forEach(({ name, kind }) => {
    for (const [port, out] of Object.entries(kind.ports.out)) {
      if (out.derived === true) kernel.digested[signalIndex.get(`${name}.${port}`)!] = 0;
    }
  });
  if (journalFor !== undefined) kernel.journal = journalFor(kernel);
  const findings: Finding[] = [];
  let timerCount = 0;
  const assembled = parts.map((part, rank): AssembledPart & { timers: (() => void)[] } => {
    const attachments: Attachment[] = [];
    const timers: (() => void)[] = [];
    const host = hostOf(part, timerCount, kernel, signalIndex, wirings[rank]!, attachments, timers, findings, parts);
    const live = part.kind.make(host, part.parameters as never);
    timerCount += timers.length;
    for (const [port, out] of Object.entries(part.kind.ports.out)) {
      const sampler =
        live.samplers?.[port] ?? (out.kind === 'flowing' ? () => kernel.continuum.refresh(kernel.now) : undefined);
      if (sampler !== undefined) kernel.setSampler(host.out[port]!, sampler);
    }
    return { ...part, live, attachments, timers, wiring: wirings[rank]! };
  });
  const rankOf = new Map(parts.map((part, rank) => [part.name, rank]));
  kernel.start(
    assembled,
    acts.map((act) => commandOf(act, rankOf, assembled)),
  );
  return { kernel, signals, signalIndex, parts: assembled, findings };
}

/** Another script from the present instant on; `acts` sorted by time, what they say up to now counts as done. */
export function rescript({ kernel, parts }: Assembly, acts: readonly Act[]): void {
  const rankOf = new Map(parts.map((part, rank) => [part.name, rank]));
  kernel.rescript(acts.map((act) => commandOf(act, rankOf, parts)));
}

function commandOf(act: Act, rankOf: ReadonlyMap<string, number>, parts: readonly AssembledPart[]): Command {
  const rank = rankOf.get(act.part);
  assert(rank !== undefined, 'the script names a part that is not there', { part: act.part });
  const { live } = parts[rank]!;
  if ('event' in act) return { seconds: act.seconds, act: () => live.fault(act.event, act.amount) };
  return { seconds: act.seconds, act: () => live.command?.(act.form, act.contents) };
}

/** Ports wired to a signal that none of these parts gives: such a bench cannot be assembled. */
export function looseEnds(
  parts: readonly SettledPart[],
): { readonly part: string; readonly port: string; readonly from: string }[] {
  const partNames = new Set(parts.map((part) => part.name));
  const given = new Set(signalsOf(parts).map((signal) => signal.name));
  return parts.flatMap((part) =>
    Object.entries(wiringOf(part, parts, partNames)).flatMap(([port, from]) =>
      from === undefined || given.has(from) ? [] : [{ part: part.name, port, from }],
    ),
  );
}

function wiringOf(
  part: SettledPart,
  parts: readonly SettledPart[],
  partNames: ReadonlySet<string>,
): Record<string, string | undefined> {
  const self: Self = {
    name: part.name,
    parameters: part.parameters,
    partNames,
    gives: (signal) => isGiven(signal, parts),
    fed: (kind) => parts.filter((other) => other.kind.kind === kind).flatMap((other) => feedersIn(other.parameters)),
    named: (kind) => parts.filter((other) => other.kind.kind === kind).map((other) => other.name),
  };
  return Object.fromEntries(Object.entries(part.kind.ports.in).map(([port, inPort]) => [port, inPort.from(self)]));
}

function isGiven(signal: string, parts: readonly SettledPart[]): boolean {
  return parts.some(
    ({ name, kind }) => signal.startsWith(`${name}.`) && Object.hasOwn(kind.ports.out, signal.slice(name.length + 1)),
  );
}

/** Every `from` in a part's parameters. */
function feedersIn(parameters: unknown): string[] {
  if (typeof parameters !== 'object' || parameters === null) return [];
  return Object.entries(parameters).flatMap(([key, value]) =>
    key === 'from' && typeof value === 'string' ? [value] : feedersIn(value),
  );
}

function hostOf(
  part: SettledPart,
  firstTimer: number,
  kernel: Kernel,
  signalIndex: ReadonlyMap<string, number>,
  wiring: Readonly<Record<string, string | undefined>>,
  attachments: Attachment[],
  timers: (() => void)[],
  findings: Finding[],
  parts: readonly SettledPart[],
): Host {
  const { now, values } = kernel;
  const told = new Set<string>();
  return {
    name: part.name,
    now,
    values,
    in: Object.fromEntries(
      Object.entries(wiring).map(([port, from]) => [port, from === undefined ? -1 : signalIndex.get(from)!]),
    ),
    out: Object.fromEntries(
      ['mode', ...Object.keys(part.kind.ports.out)].map((port) => [port, signalIndex.get(`${part.name}.${port}`)!]),
    ),
    bits: Object.fromEntries(Object.keys(part.kind.ports.in).map((port, index) => [port, 1 << index])),
    timer: (due) => firstTimer + timers.push(due) - 1,
    wake: (timer, seconds) => {
      kernel.due[timer] = seconds;
      kernel.moved(timer);
    },
    sleep: (timer) => {
      if (kernel.due[timer] === Number.POSITIVE_INFINITY) return;
      kernel.due[timer] = Number.POSITIVE_INFINITY;
      kernel.moved(timer);
    },
    isAwake: (timer) => kernel.due[timer]! < Number.POSITIVE_INFINITY,
    due: kernel.due,
    moved: (timer) => kernel.moved(timer),
    leapt: (timer) => kernel.leapt(timer),
    published: (signal) => kernel.publish(signal),
    noted: (signal) => kernel.note(signal),
    isTraced: kernel.journal !== undefined,
    emit: (signal, value) => {
      values[signal] = value;
      kernel.publish(signal);
    },
    update: (signal, value) => {
      if (values[signal] === value) return;
      values[signal] = value;
      kernel.publish(signal);
    },
    note: (signal, value) => {
      values[signal] = value;
      kernel.note(signal);
    },
    sample: (signal) => kernel.sample(signal),
    samplerOf: (signal) => (signal < 0 ? undefined : kernel.samplerOf(signal)),
    blame: (signal) => kernel.blame(signal),
    all: (kind, port) =>
      parts.filter((other) => other.kind.kind === kind).map((other) => signalIndex.get(`${other.name}.${port}`)!),
    flow: (flow) => {
      const { x, dx, books, bookRates, leaning, elapsed } = kernel.continuum;
      return { x, dx, books, bookRates, leaning, elapsed, ...kernel.continuum.join(part.name, flow) };
    },
    disturb: () => kernel.disturb(),
    refresh: () => kernel.continuum.refresh(now),
    jump: () => {
      kernel.continuum.jump(now);
      kernel.disturb();
    },
    stream: (purpose) => kernel.streams.for(part.name, purpose),
    attach: (attachment) => {
      attachments.push(attachment);
    },
    finding: (code, says) => {
      if (told.has(code)) return;
      told.add(code);
      findings.push({ part: part.name, code, says, seconds: now[0]! });
    },
  };
}
