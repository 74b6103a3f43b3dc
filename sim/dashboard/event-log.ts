/**
 * What happened lately: changes of modes and of other worded signals, each with what led to it.
 *
 * The kernel tells of every publication and of the publication that caused it. The latest ones are kept in a ring, so
 * that a change can name its cause; only changes worth reading are kept as items. Hot path: see `record`.
 */
import type { Assembly } from '../bench/assemble.ts';
import type { Journal, Kernel } from '../kernel/kernel.ts';
import type { Link } from '../kernel/part.ts';

export interface LogItem {
  /** Number of the event during which it happened. */
  readonly eventCount: number;
  readonly seconds: number;
  readonly signal: string;
  /** The words before and after. */
  readonly from: string;
  readonly to: string;
  /** The part's own sentence on it, in numbers. */
  readonly says: string;
  /** The signal whose publication led to it; undefined for the script and the start. */
  readonly cause: string | undefined;
}

/** Publications that can still be named as a cause. */
const RING = 1 << 14;
const ITEMS_MOST = 5000;

export class EventLog implements Journal {
  readonly items: LogItem[] = [];
  private readonly signals = new Int32Array(RING).fill(-1);
  private readonly entries = new Float64Array(RING).fill(-1);
  private assembly: Assembly | undefined;
  private kernel: Kernel | undefined;
  /** 1 for each signal whose changes are kept as items. */
  private noted = new Uint8Array(0);
  private latest = new Float64Array(0);

  /** Takes up a kernel that is being wired; what it publishes while it starts is no news. */
  follow(kernel: Kernel): void {
    this.kernel = kernel;
    this.assembly = undefined;
  }

  /** The wiring is done, and the kernel stands at the instant from which news count. */
  attach(assembly: Assembly): void {
    this.assembly = assembly;
    this.noted = Uint8Array.from(assembly.signals, ({ name, modes }) =>
      modes !== undefined && isNews(assembly, name) ? 1 : 0,
    );
    this.latest = assembly.kernel.values.slice();
  }

  /** Forgets what happened after an event; the kernel must already stand there again. */
  rewind(eventCount: number): void {
    const keep = this.items.findIndex((item) => item.eventCount > eventCount);
    if (keep >= 0) this.items.length = keep;
    this.latest.set(this.kernel!.values);
  }

  record(signal: number, cause: number): void {
    const kernel = this.kernel!;
    const entry = kernel.lastEntry(signal);
    const place = entry % RING;
    this.signals[place] = signal;
    this.entries[place] = entry;
    if (this.noted[signal] === 1 && this.assembly !== undefined) this.note(signal, cause);
  }

  recordSample(): void {
    // A sample is no event.
  }

  private note(signal: number, cause: number): void {
    const assembly = this.assembly!;
    const { values, now, eventCount } = assembly.kernel;
    const value = values[signal]!;
    const before = this.latest[signal]!;
    if (value === before) return;
    this.latest[signal] = value;
    const { name, modes } = assembly.signals[signal]!;
    const place = cause % RING;
    const causing =
      cause > 0 && this.entries[place] === cause ? assembly.signals[this.signals[place]!]?.name : undefined;
    this.items.push({
      eventCount,
      seconds: now[0]!,
      signal: name,
      from: modes![before] ?? String(before),
      to: modes![value] ?? String(value),
      says: saying(assembly, name, value),
      cause: causing,
    });
    if (this.items.length > ITEMS_MOST) this.items.splice(0, ITEMS_MOST / 2);
  }
}

/** Modes are news unless the part says that they change all the time; another word is where the part tells it first. */
function isNews(assembly: Assembly, name: string): boolean {
  const dot = name.lastIndexOf('.');
  const port = name.slice(dot + 1);
  const { kind } = assembly.parts.find((part) => part.name === name.slice(0, dot))!;
  if (port === 'mode') return kind.tells?.hasBusyMode !== true;
  return kind.tells?.ports[0] === port;
}

/** What the part says of a value of its signal, from the present values of all others. */
function saying(assembly: Assembly, name: string, value: number): string {
  const dot = name.lastIndexOf('.');
  const part = assembly.parts.find((candidate) => candidate.name === name.slice(0, dot))!;
  const explain = part.kind.explain?.[name.slice(dot + 1)];
  if (explain === undefined) return '';
  const { kernel, signalIndex, signals } = assembly;
  const link: Link = {
    name: part.name,
    value,
    seconds: kernel.now[0]!,
    parameters: part.parameters,
    wanted: undefined,
    read: (signal) => {
      const index = signalIndex.get(signal);
      return index === undefined ? Number.NaN : kernel.values[index]!;
    },
    wired: (port) => part.wiring[port],
    word: (signal, of) => signals[signalIndex.get(signal) ?? -1]?.modes?.[of] ?? String(of),
  };
  return explain(link).says;
}
