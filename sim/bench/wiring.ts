/**
 * Which signal arrives at each in port of the parts of a bench, and who is woken by each signal.
 *
 * That hangs on the words in a bench file, never on a quantity (test/bench/wiring.test.ts holds every part to it), so
 * that a spread's thousands of draws from one file are wired once: the latest links are kept.
 */
import { assert } from '../kernel/assert.ts';
import type { Self } from '../kernel/part.ts';
import type { Plan, PlannedPart } from './plan.ts';

/** Which signal arrives at each in port of a part; undefined where nothing is wired. */
export type Wiring = Readonly<Record<string, string | undefined>>;

/** Who is woken by each signal. */
export type Routes = readonly (readonly (readonly [rank: number, bit: number])[])[];

export interface Links {
  /** In rank order, as are `inputs`. */
  readonly wirings: readonly Wiring[];
  /** Number of the signal at each in port of a part; -1 where nothing is wired. */
  readonly inputs: readonly Readonly<Record<string, number>>[];
  readonly routes: Routes;
}

/** A part as far as its wiring goes. */
export interface WiredPart extends PlannedPart {
  readonly parameters: unknown;
  /** The tree that its parameters were settled from, if there was one. */
  readonly origin?: unknown;
}

let latest: { readonly plan: Plan; readonly origins: readonly unknown[]; readonly links: Links } | undefined;

/** The links of parts that `plan` is the plan of. */
export function linksOf(plan: Plan, parts: readonly WiredPart[]): Links {
  if (latest?.plan === plan && isFrom(latest.origins, parts)) return latest.links;
  const wirings = wiringsOf(plan, parts);
  const routes = routesOf(plan, wirings);
  const links = { wirings, inputs: inputsOf(plan, wirings), routes };
  latest = { plan, origins: parts.map(({ origin }) => origin), links };
  return links;
}

function isFrom(origins: readonly unknown[], parts: readonly WiredPart[]): boolean {
  return parts.every(({ origin }, rank) => origin !== undefined && origin === origins[rank]);
}

/** How these parts are wired, in rank order. */
export function wiringsOf(plan: Plan, parts: readonly WiredPart[]): Wiring[] {
  const { partNames, signalIndex } = plan;
  const ofKind = (kind: string): number[] =>
    plan.parts.flatMap((part, rank) => (part.kind.kind === kind ? [rank] : []));
  const shared = {
    partNames,
    gives: (signal: string) => signalIndex.has(signal) && !signal.endsWith('.mode'),
    fed: (kind: string) => ofKind(kind).flatMap((rank) => feedersIn(parts[rank]!.parameters)),
    named: (kind: string) => ofKind(kind).map((rank) => plan.parts[rank]!.name),
  };
  return plan.parts.map(({ name, inPorts }, rank) => {
    const self: Self = { ...shared, name, parameters: parts[rank]!.parameters };
    const wiring: Record<string, string | undefined> = {};
    for (const [port, inPort] of inPorts) wiring[port] = inPort.from(self);
    return wiring;
  });
}

/** Every `from` in a part's parameters. */
function feedersIn(parameters: unknown): string[] {
  if (typeof parameters !== 'object' || parameters === null) return [];
  return Object.entries(parameters).flatMap(([key, value]) =>
    key === 'from' && typeof value === 'string' ? [value] : feedersIn(value),
  );
}

function inputsOf({ parts, signalIndex }: Plan, wirings: readonly Wiring[]): Record<string, number>[] {
  return parts.map(({ inPorts }, rank) => {
    const numbers: Record<string, number> = {};
    for (const [port] of inPorts) {
      const from = wirings[rank]![port];
      numbers[port] = from === undefined ? -1 : signalIndex.get(from)!;
    }
    return numbers;
  });
}

/** Most signals wake nobody. */
const NOBODY: Routes[number] = [];

function routesOf({ parts, signals, signalIndex }: Plan, wirings: readonly Wiring[]): Routes {
  const routes: ([rank: number, bit: number][] | undefined)[] = signals.map(() => undefined);
  const quiet = new Set(
    parts.flatMap(({ outPorts }) => outPorts.flatMap(([, out, signal]) => (out.quiet === true ? [signal] : []))),
  );
  parts.forEach(({ name, inPorts, bits }, rank) => {
    assert(inPorts.length <= 31, 'a part has more in ports than a mask has bits', { name });
    for (const [port, inPort] of inPorts) {
      const from = wirings[rank]![port];
      if (from === undefined) continue;
      const signal = signalIndex.get(from);
      assert(signal !== undefined, 'a port is wired to a signal that nobody gives', { part: name, port, from });
      if (inPort.wakes === false) continue;
      assert(!quiet.has(signal), 'a quiet signal cannot wake anybody', { part: name, port, from });
      const targets = routes[signal];
      if (targets === undefined) routes[signal] = [[rank, bits[port]!]];
      else targets.push([rank, bits[port]!]);
    }
  });
  return routes.map((targets) => targets ?? NOBODY);
}
