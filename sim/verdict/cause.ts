/**
 * The cause of what was seen: the chain of publications that led to a signal's value, told link by link by the parts
 * that published them, in numbers.
 *
 * A run keeps no journal: runs are exact repeats of each other, so the cause is found by running once more up to the
 * instant in question, this time writing down every publication and what led to it.
 */
import { type Act, type Assembly, assemble, type SettledPart } from '../bench/assemble.ts';
import type { Journal } from '../kernel/kernel.ts';
import type { Link, Told, Wanted } from '../kernel/part.ts';
import type { SignalInfo } from '../kernel/signal.ts';
import { type Dimension, formatQuantity } from '../units/index.ts';

/** One line of a cause, from effect to root. */
export interface CauseLink {
  readonly seconds: number;
  readonly signal: string;
  readonly value: number;
  readonly dimension: Dimension;
  readonly says: string;
  /** A single change that would help here, if the part knows one. */
  readonly cure?: string;
}

/** A chain longer than this goes round in circles. */
const LINKS_MOST = 16;

/** Everything published in a run: entry numbers are the kernel's publication numbers, 0 is the start. */
class FullJournal implements Journal {
  readonly signals: number[] = [-1];
  readonly causes: number[] = [0];
  readonly seconds: number[] = [0];
  readonly values: number[] = [0];
  /** Samples of flowing signals: entry number before which each was taken, and what it gave. */
  readonly samples: {
    readonly before: number;
    readonly signal: number;
    readonly seconds: number;
    readonly value: number;
  }[] = [];
  /**
   * Whenever a part looked at the continuous states, all flowing values there, so that a link may tell of any of them:
   * instant, entry number before which it was, and the values one after the other.
   */
  readonly lookSeconds: number[] = [];
  readonly lookBefore: number[] = [];
  readonly looks: Float64Array[] = [];
  kernel: Assembly['kernel'] | undefined;

  record(signal: number, cause: number): void {
    const kernel = this.kernel!;
    // What is published while the continuous states settle is told with their values.
    if (kernel.continuum.instants[3] === kernel.now[0] && this.lookSeconds.at(-1) !== kernel.now[0]) this.look();
    this.signals.push(signal);
    this.causes.push(cause);
    this.seconds.push(kernel.now[0]!);
    this.values.push(kernel.values[signal]!);
  }

  recordSample(signal: number): void {
    const kernel = this.kernel!;
    if (kernel.continuum.instants[3] === kernel.now[0]) {
      this.look();
      return;
    }
    this.samples.push({ before: this.signals.length, signal, seconds: kernel.now[0]!, value: kernel.values[signal]! });
  }

  /** Keeps all values as they are now; flowing ones are up to date. */
  look(): void {
    const seconds = this.kernel!.now[0]!;
    const before = this.signals.length;
    const last = this.looks.length - 1;
    if (last >= 0 && this.lookSeconds[last] === seconds && this.lookBefore[last] === before) return;
    this.lookSeconds.push(seconds);
    this.lookBefore.push(before);
    this.looks.push(this.kernel!.values.slice());
  }
}

/** The chain that led to the value of `signal` at `atSeconds`, its effect first. */
export function causeOf(
  parts: readonly SettledPart[],
  seed: number,
  acts: readonly Act[],
  signal: string,
  atSeconds: number,
): CauseLink[] {
  const journal = new FullJournal();
  const assembly = assemble(parts, seed, acts, {
    journalFor: (kernel) => {
      journal.kernel = kernel;
      return journal;
    },
  });
  return chainFrom(assembly, journal, signal, atSeconds);
}

function chainFrom(assembly: Assembly, journal: FullJournal, signal: string, atSeconds: number): CauseLink[] {
  assembly.kernel.run(atSeconds);
  if (!assembly.kernel.continuum.isEmpty) {
    assembly.kernel.continuum.refresh(assembly.kernel.now);
    journal.look();
  }
  const links: CauseLink[] = [];
  const seen = new Set<string>();
  let name: string | undefined = signal;
  let entry = journal.signals.length - 1;
  let wanted: Wanted | undefined;
  while (name !== undefined && links.length < LINKS_MOST && !seen.has(name)) {
    seen.add(name);
    const index = assembly.signalIndex.get(name);
    if (index === undefined) break;
    // The last look was taken after the last publication.
    const found = latest(journal, index, links.length === 0 ? entry + 1 : entry, assembly.signals[index]!);
    if (found === undefined) break;
    const told = tell(assembly, journal, name, found, wanted);
    const info = assembly.signals[index] as SignalInfo;
    links.push({
      seconds: found.seconds,
      signal: name,
      value: found.value,
      dimension: info.dimension,
      says: told.says,
      ...(told.cure === undefined ? {} : { cure: told.cure }),
    });
    wanted = told.wanted;
    entry = Math.min(entry, found.entry);
    if (told.next === null) break;
    const cause: number = journal.causes[Math.floor(found.entry)] ?? 0;
    const causing = journal.signals[cause] ?? -1;
    const causingName = causing < 0 ? undefined : assembly.signals[causing]?.name;
    if (causingName !== undefined && (told.next === undefined || told.next === causingName)) entry = cause;
    name = told.next ?? causingName;
  }
  return links;
}

interface Found {
  readonly entry: number;
  readonly seconds: number;
  readonly value: number;
}

/** A flowing value at the latest look at the continuous states up to an entry. */
function latestLook(journal: FullJournal, signal: number, upTo: number): Found | undefined {
  let low = 0;
  let high = journal.looks.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (journal.lookBefore[middle]! <= upTo + 0.5) low = middle + 1;
    else high = middle;
  }
  const index = low - 1;
  if (index < 0) return undefined;
  return {
    // Half way between two publications, so that the same look is found again.
    entry: Math.min(upTo, journal.lookBefore[index]! - 0.5),
    seconds: journal.lookSeconds[index]!,
    value: journal.looks[index]![signal]!,
  };
}

/** The latest publication or sample of a signal up to an entry. */
function latest(journal: FullJournal, signal: number, upTo: number, info: SignalInfo): Found | undefined {
  if (info.isFlowing === true && !journal.samples.some((sample) => sample.signal === signal))
    return latestLook(journal, signal, upTo);
  for (let index = journal.samples.length - 1; index >= 0; index -= 1) {
    const sample = journal.samples[index]!;
    if (sample.signal === signal && sample.before <= upTo + 1)
      return { entry: Math.min(upTo, sample.before - 1), seconds: sample.seconds, value: sample.value };
  }
  for (let entry = Math.min(Math.floor(upTo), journal.signals.length - 1); entry > 0; entry -= 1) {
    if (journal.signals[entry] === signal)
      return { entry, seconds: journal.seconds[entry]!, value: journal.values[entry]! };
  }
  return undefined;
}

function tell(
  assembly: Assembly,
  journal: FullJournal,
  signal: string,
  found: Found,
  wanted: Wanted | undefined,
): Told {
  const dot = signal.lastIndexOf('.');
  const owner = signal.slice(0, dot);
  const port = signal.slice(dot + 1);
  const part = assembly.parts.find((candidate) => candidate.name === owner)!;
  const read = (name: string): number => {
    const index = assembly.signalIndex.get(name);
    return index === undefined
      ? Number.NaN
      : (latest(journal, index, found.entry, assembly.signals[index]!)?.value ?? 0);
  };
  const word = (name: string, value: number): string => {
    const index = assembly.signalIndex.get(name);
    return (index === undefined ? undefined : assembly.signals[index]?.modes?.[value]) ?? String(value);
  };
  const link: Link = {
    name: owner,
    value: found.value,
    seconds: found.seconds,
    parameters: part.parameters,
    wanted,
    read,
    wired: (inPort) => part.wiring[inPort],
    word,
  };
  return part.kind.explain?.[port]?.(link) ?? { says: `${signal} is ${valueWords(assembly, signal, found.value)}` };
}

/** A value as a reader of the cause wants it: the mode's word, or the number with its unit. */
function valueWords(assembly: Assembly, signal: string, value: number): string {
  const info = assembly.signals[assembly.signalIndex.get(signal)!]!;
  return info.modes?.[value] ?? formatQuantity(value, info.dimension);
}
