/**
 * What a list of parts is before any number of it is settled: its signals and their numbers, and the ports of each part.
 * A campaign assembles the same parts thousands of times, so the latest plan is kept.
 */
import { tableOf } from '../chart/table.ts';
import type { InPort, OutPort, PartKind } from '../kernel/part.ts';
import type { SignalInfo } from '../kernel/signal.ts';

/** A part as far as a plan goes. */
export interface PlannedPart {
  readonly name: string;
  readonly kind: PartKind;
}

/** A part of a plan, with its ports laid out. */
export interface PartPlan extends PlannedPart {
  readonly inPorts: readonly (readonly [port: string, inPort: InPort])[];
  /** The bit of each in port. */
  readonly bits: Readonly<Record<string, number>>;
  readonly outPorts: readonly (readonly [port: string, out: OutPort, signal: number])[];
  /** Number of the signal at each out port, and of the part's mode. */
  readonly out: Readonly<Record<string, number>>;
}

export interface Plan {
  readonly parts: readonly PartPlan[];
  /** All signals that these parts give out, in rank order. */
  readonly signals: readonly SignalInfo[];
  /** Index of a signal by its name. */
  readonly signalIndex: ReadonlyMap<string, number>;
  /** Signals that only follow from others, and are no part of a digest. */
  readonly derived: readonly number[];
  readonly partNames: ReadonlySet<string>;
  readonly rankOf: ReadonlyMap<string, number>;
  /** Numbers of the signals at an out port of all parts of a kind. */
  signalsAt(kind: string, port: string): readonly number[];
}

let latest: Plan | undefined;

/** The plan of these parts; it hangs on their names and kinds alone. */
export function planOf(parts: readonly PlannedPart[]): Plan {
  if (latest === undefined || !isFor(latest, parts)) latest = planned(parts);
  return latest;
}

function isFor({ parts }: Plan, wanted: readonly PlannedPart[]): boolean {
  return (
    parts.length === wanted.length &&
    parts.every(({ name, kind }, rank) => name === wanted[rank]!.name && kind === wanted[rank]!.kind)
  );
}

function planned(parts: readonly PlannedPart[]): Plan {
  const signals = parts.flatMap(signalsOfPart);
  const signalIndex = new Map(signals.map((signal, index) => [signal.name, index]));
  const plans = parts.map(({ name, kind }): PartPlan => {
    const inPorts = Object.entries(kind.ports.in);
    const outPorts = Object.entries(kind.ports.out).map(
      ([port, out]) => [port, out, signalIndex.get(`${name}.${port}`)!] as const,
    );
    return {
      name,
      kind,
      inPorts,
      bits: Object.fromEntries(inPorts.map(([port], index) => [port, 1 << index])),
      outPorts,
      out: Object.fromEntries([
        ['mode', signalIndex.get(`${name}.mode`)!],
        ...outPorts.map(([port, , signal]) => [port, signal] as const),
      ]),
    };
  });
  const atPorts = new Map<string, readonly number[]>();
  return {
    parts: plans,
    signals,
    signalIndex,
    derived: plans.flatMap(({ outPorts }) =>
      outPorts.flatMap(([, out, signal]) => (out.derived === true ? [signal] : [])),
    ),
    partNames: new Set(parts.map(({ name }) => name)),
    rankOf: new Map(parts.map(({ name }, rank) => [name, rank])),
    signalsAt: (kind, port) => {
      const key = `${kind}.${port}`;
      const known = atPorts.get(key);
      if (known !== undefined) return known;
      const found = parts.flatMap((part) =>
        part.kind.kind === kind ? [signalIndex.get(`${part.name}.${port}`)!] : [],
      );
      atPorts.set(key, found);
      return found;
    },
  };
}

function signalsOfPart({ name, kind }: PlannedPart): SignalInfo[] {
  return [
    {
      name: `${name}.mode`,
      dimension: 'count',
      shape: 'held',
      modes: tableOf(kind.chart).leaves,
      means: `mode of ${name}`,
      ...(kind.gauges === undefined
        ? {}
        : { gauges: Object.fromEntries(Object.entries(kind.gauges).map(([mode, port]) => [mode, `${name}.${port}`])) }),
    },
    ...Object.entries(kind.ports.out).map(([port, out]) => signalOf(`${name}.${port}`, out)),
  ];
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
    ...(out.isBytes === true ? { isBytes: true } : {}),
  };
}
