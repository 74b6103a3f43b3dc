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
  kernel: Assembly['kernel'] | undefined;

  record(signal: number, cause: number): void {
    this.signals.push(signal);
    this.causes.push(cause);
    this.seconds.push(this.kernel!.now[0]!);
    this.values.push(this.kernel!.values[signal]!);
  }

  recordSample(signal: number): void {
    const kernel = this.kernel!;
    this.samples.push({ before: this.signals.length, signal, seconds: kernel.now[0]!, value: kernel.values[signal]! });
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
  const links: CauseLink[] = [];
  const seen = new Set<string>();
  let name: string | undefined = signal;
  let entry = journal.signals.length - 1;
  let wanted: Wanted | undefined;
  while (name !== undefined && links.length < LINKS_MOST && !seen.has(name)) {
    seen.add(name);
    const index = assembly.signalIndex.get(name);
    if (index === undefined) break;
    const found = latest(journal, index, entry);
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
    const cause: number = journal.causes[found.entry] ?? 0;
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

/** The latest publication or sample of a signal up to an entry. */
function latest(journal: FullJournal, signal: number, upTo: number): Found | undefined {
  for (let index = journal.samples.length - 1; index >= 0; index -= 1) {
    const sample = journal.samples[index]!;
    if (sample.signal === signal && sample.before <= upTo + 1)
      return { entry: Math.min(upTo, sample.before - 1), seconds: sample.seconds, value: sample.value };
  }
  for (let entry = upTo; entry > 0; entry -= 1) {
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
    return index === undefined ? Number.NaN : (latest(journal, index, found.entry)?.value ?? 0);
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
