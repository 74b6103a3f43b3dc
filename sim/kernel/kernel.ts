/**
 * The run loop: takes the next event, lets one part act on it, delivers what the part published, and so on.
 *
 * Order at one instant: by rank of the part in the wiring order; a part sees what arrived before its own timers; its
 * own timers go in the order in which they were set. Signals that arrive at one instant reach a part together, as
 * one bag with a bit for each port.
 *
 * After `start` nothing here allocates. Instants stay in typed arrays because a float64 passed to a function that is
 * not inlined is boxed. Hot path; see test/speed/kernel.bench.ts.
 */
import { Agenda, type AgendaState } from './agenda.ts';
import { assert } from './assert.ts';
import { Continuum, type StepLimits } from './continuum.ts';
import { Digest } from './digest.ts';
import type { Attachment, Live } from './part.ts';
import { type StreamState, Streams } from './random.ts';
import { Room } from './room.ts';
import { copyState, type SavedState, writeState } from './state.ts';

/** How a part is placed in the kernel; made by the wiring, in rank order. */
export interface Placement {
  readonly name: string;
  readonly live: Live;
  readonly attachments: readonly Attachment[];
  /** What the part does when each of its timers is due. */
  readonly timers: readonly (() => void)[];
}

/** A script step, ready to be said to a part. */
export interface Command {
  readonly seconds: number;
  readonly act: () => void;
}

/** Told of every publication of a watched signal, with `now` and `values` already up to date. */
export interface Observer {
  observe(signal: number): void;
}

/** One publication: which signal took which value when, and the number of the publication that led to it. */
export interface Journal {
  /** Publication numbers start at 1; `cause` 0 means that nothing in the run led to it (the start, or the script). */
  record(signal: number, cause: number): void;
  /** A flowing signal was asked for. */
  recordSample(signal: number): void;
}

export interface Snapshot {
  readonly seconds: number;
  readonly values: Float64Array;
  readonly agenda: AgendaState;
  readonly changed: Int32Array;
  readonly pending: Int32Array;
  readonly inputCauses: Float64Array;
  readonly timerCauses: Float64Array;
  readonly lastEntries: Float64Array;
  readonly counters: readonly number[];
  readonly states: readonly (readonly SavedState[])[];
  readonly streams: readonly StreamState[];
  readonly digest: Int32Array;
  readonly continuum: readonly Float64Array[];
}

/** Timers that the parts of a bench may have on average; few have more than four. */
const TIMERS_PER_PART = 32;

/** More deliveries than this at one instant mean that parts answer each other for ever. */
const DELIVERIES_PER_INSTANT = 100_000;

export class Kernel {
  /** `now[0]` is the present instant in seconds. */
  readonly now = new Float64Array(1);
  readonly values: Float64Array;
  /** When each timer is due, timers being numbered through all parts in rank order. Write here, then call `moved`. */
  readonly due: Float64Array;
  readonly streams: Streams;
  readonly continuum: Continuum;
  /** Events handled so far: deliveries and timers. */
  eventCount = 0;
  observer: Observer | undefined;
  journal: Journal | undefined;
  /** 1 for each signal whose publications make up the digest: all but those that only follow from others. */
  readonly digested: Uint8Array;
  /** 1 for each flowing signal that the continuum's sweeps write. */
  readonly swept: Uint8Array;
  /** 1 for each signal that the observer wants to hear of. */
  readonly watched: Uint8Array;

  private readonly room = new Room();
  private readonly digest = new Digest();
  private agenda: Agenda;
  private placements: readonly Placement[] = [];
  private flowTimer = 0;
  /** The timer that is due before all others, kept out of the tree; -1 when the tree has it. */
  private front = -1;
  /** Where events are taken one by one, none goes straight on to the next. */
  private mayLeap = false;
  private inputs: ((changed: number) => void)[] = [];
  private readonly timers: (() => void)[] = [];
  private commands: readonly Command[] = [];
  private readonly routeStarts: Int32Array;
  private readonly routeRanks: Int32Array;
  private readonly routeBits: Int32Array;
  private changed = new Int32Array(0);
  private readonly pending: Int32Array;
  private inputCauses = new Float64Array(0);
  private timerCauses = new Float64Array(0);
  private readonly lastEntries: Float64Array;
  private publicationCount = 0;
  private cause = 0;
  private deliveriesNow = 0;
  private readonly until = new Float64Array(1);
  private nextCommand = 0;
  /** Parts with something in `changed`. */
  private pendingCount = 0;
  /** When the next script step is due. */
  private readonly commandDue = Float64Array.of(Number.POSITIVE_INFINITY);
  private readonly samplers: ((() => void) | undefined)[];

  /** `routes[signal]` lists who is woken by a signal: rank of the part, bit of the port. */
  constructor(
    seed: number,
    routes: readonly (readonly (readonly [rank: number, bit: number])[])[],
    partCount: number,
    limits?: StepLimits,
  ) {
    const signalCount = routes.length;
    const { room } = this;
    this.streams = new Streams(seed, room);
    this.values = room.doubles(signalCount);
    // One more is the flow's own.
    this.due = room.doubles(TIMERS_PER_PART * partCount + 1).fill(Number.POSITIVE_INFINITY);
    this.continuum = new Continuum(this.values, limits, room);
    this.agenda = new Agenda([0], this.due, room);
    this.watched = room.bytes(signalCount);
    this.swept = room.bytes(signalCount);
    this.digested = room.bytes(signalCount).fill(1);
    this.lastEntries = room.doubles(signalCount);
    this.samplers = new Array(signalCount).fill(undefined);
    this.routeStarts = room.integers(signalCount + 1);
    routes.forEach((targets, signal) => {
      this.routeStarts[signal + 1] = this.routeStarts[signal]! + targets.length;
    });
    this.routeRanks = room.integers(this.routeStarts[signalCount]!);
    this.routeBits = room.integers(this.routeStarts[signalCount]!);
    let route = 0;
    for (const targets of routes) {
      for (const [rank, bit] of targets) {
        this.routeRanks[route] = rank;
        this.routeBits[route] = bit;
        route += 1;
      }
    }
    this.pending = room.integers(Math.ceil(partCount / 32));
  }

  /** Places the parts, in rank order, and the script; then starts every part. */
  start(placements: readonly Placement[], commands: readonly Command[]): void {
    assert(this.placements.length === 0, 'a kernel starts once');
    const { room } = this;
    this.placements = placements;
    this.inputs = placements.map(({ live }) => live.input);
    this.commands = commands;
    this.commandDue[0] = commands[0]?.seconds ?? Number.POSITIVE_INFINITY;
    const ranks: number[] = [];
    placements.forEach((placement, rank) => {
      for (const timer of placement.timers) {
        ranks.push(rank);
        this.timers.push(timer);
      }
    });
    this.flowTimer = ranks.length;
    // After all parts, so that whatever they change at one instant is taken together.
    ranks.push(placements.length);
    this.timers.push(() => this.advanceFlow());
    assert(ranks.length <= this.due.length, 'a bench has more timers than there is room for', { count: ranks.length });
    this.agenda = new Agenda(ranks, this.due, room);
    this.timerCauses = room.doubles(ranks.length);
    this.changed = room.integers(placements.length);
    this.inputCauses = room.doubles(placements.length);
    this.continuum.close();
    for (const { live } of placements) {
      this.cause = 0;
      live.start();
    }
    if (!this.continuum.isEmpty) {
      this.due[this.flowTimer] = 0;
      this.moved(this.flowTimer);
    }
  }

  private advanceFlow(): void {
    this.continuum.advance(this.now);
    this.due[this.flowTimer] = this.continuum.instants[1]!;
    this.moved(this.flowTimer);
  }

  /** Something that the continuous states depend on has changed: their step ends at the present instant. */
  disturb(): void {
    if (!this.continuum.disturb()) return;
    this.due[this.flowTimer] = this.now[0]!;
    this.moved(this.flowTimer);
  }

  /** To be called after `due[timer]` was written. */
  moved(timer: number): void {
    this.timerCauses[timer] = this.cause;
    const { due, agenda } = this;
    const seconds = due[timer]!;
    const { front } = this;
    if (front >= 0) {
      if (front !== timer && seconds > due[front]!) {
        agenda.changed(timer);
        return;
      }
      // It is no longer alone in front: from here on the tree decides.
      this.front = -1;
      agenda.changed(front);
    }
    // A part at work often sets what comes next of all; that one need not go through the tree.
    if (seconds < due[agenda.first]!) {
      this.front = timer;
      return;
    }
    agenda.changed(timer);
  }

  /**
   * `moved` as the last thing that a part does. True where nothing else comes before that timer: the present is then its
   * instant, and the part goes on at once as if it had been woken. Most timers of a quick chain of events are of this kind.
   */
  leapt(timer: number): boolean {
    const { due, agenda, now } = this;
    const seconds = due[timer]!;
    if (
      this.mayLeap &&
      this.pendingCount === 0 &&
      seconds < due[agenda.first]! &&
      (this.front < 0 || seconds < due[this.front]!) &&
      seconds < this.commandDue[0]! &&
      seconds <= this.until[0]!
    ) {
      due[timer] = Number.POSITIVE_INFINITY;
      agenda.dropped(timer);
      this.timerCauses[timer] = this.cause;
      if (seconds !== now[0]!) {
        if (seconds < now[0]!) assert(false, 'an event lies in the past', { seconds, now: now[0] });
        this.deliveriesNow = 0;
        now[0] = seconds;
      }
      this.eventCount += 1;
      return true;
    }
    this.moved(timer);
    return false;
  }

  setSampler(signal: number, sampler: () => void): void {
    this.samplers[signal] = sampler;
  }

  /** What `sample` would call: set for parts of lower rank while a part is made. */
  samplerOf(signal: number): (() => void) | undefined {
    if (this.samplers[signal] === undefined) return undefined;
    return this.journal === undefined ? this.samplers[signal] : () => this.sample(signal);
  }

  /** Brings a flowing signal up to the present instant. */
  sample(signal: number): void {
    const sampler = this.samplers[signal];
    if (sampler === undefined) return;
    sampler();
    if (this.journal !== undefined) this.journal.recordSample(signal);
  }

  /** To be called after `values[signal]` was written: notes it and wakes those who listen. */
  publish(signal: number): void {
    const entry = ++this.publicationCount;
    this.lastEntries[signal] = entry;
    if (this.digested[signal] === 1) this.digest.add(signal, this.now, this.values);
    if (this.journal !== undefined) this.journal.record(signal, this.cause);
    if (this.watched[signal] === 1 && this.observer !== undefined) this.observer.observe(signal);
    const end = this.routeStarts[signal + 1]!;
    for (let route = this.routeStarts[signal]!; route < end; route += 1) {
      const rank = this.routeRanks[route]!;
      const changed = this.changed[rank]!;
      this.changed[rank] = changed | this.routeBits[route]!;
      if (changed === 0) {
        this.pending[rank >> 5]! |= 1 << (rank & 31);
        this.pendingCount += 1;
      }
      this.inputCauses[rank] = entry;
    }
  }

  /** To be called after `values[signal]` of a quiet signal was written. */
  note(signal: number): void {
    if (this.journal !== undefined) {
      this.lastEntries[signal] = ++this.publicationCount;
      this.journal.record(signal, this.cause);
    }
    if (this.watched[signal] === 1 && this.observer !== undefined) this.observer.observe(signal);
  }

  /** What is published next by the part at work follows from the latest value of `signal`. */
  blame(signal: number): void {
    if (signal >= 0) this.cause = this.lastEntries[signal]!;
  }

  /** Publication number of the latest value of a signal; 0 if it was never published. */
  lastEntry(signal: number): number {
    return this.lastEntries[signal]!;
  }

  /** Handles every event up to and including `untilSeconds`, then moves the present there. */
  run(untilSeconds: number): void {
    this.until[0] = untilSeconds;
    this.mayLeap = true;
    while (this.next()) {
      // `next` has done the work.
    }
    this.now[0] = untilSeconds;
  }

  /** Handles the next event if it is due by `untilSeconds`. False when there is none. */
  step(untilSeconds: number): boolean {
    this.until[0] = untilSeconds;
    this.mayLeap = false;
    return this.next();
  }

  private next(): boolean {
    const { agenda, now, due } = this;
    const timer = this.front >= 0 ? this.front : agenda.first;
    const timerDue = due[timer]!;
    if (this.pendingCount > 0) {
      const rank = this.lowestPending();
      if (timerDue > now[0]! || agenda.rank(timer) >= rank) {
        this.deliver(rank);
        return true;
      }
    } else if (this.commandDue[0]! <= timerDue) {
      if (this.commandDue[0]! > this.until[0]!) return false;
      this.callCommand();
      return true;
    }
    if (timerDue > this.until[0]!) return false;
    if (timerDue !== now[0]!) {
      if (timerDue < now[0]!) assert(false, 'an event lies in the past', { timerDue, now: now[0] });
      this.deliveriesNow = 0;
      now[0] = timerDue;
    }
    this.eventCount += 1;
    this.cause = this.timerCauses[timer]!;
    due[timer] = Number.POSITIVE_INFINITY;
    this.front = -1;
    // Also the one in front: the tree may still show it from an earlier setting.
    agenda.dropped(timer);
    this.timers[timer]!();
    return true;
  }

  /** Script steps come before anything else at their instant, in the order of the file. */
  private callCommand(): void {
    const command = this.commands[this.nextCommand]!;
    this.now[0] = command.seconds;
    this.deliveriesNow = 0;
    this.nextCommand += 1;
    this.commandDue[0] = this.commands[this.nextCommand]?.seconds ?? Number.POSITIVE_INFINITY;
    this.eventCount += 1;
    this.cause = 0;
    command.act();
  }

  /**
   * Puts another script in place, sorted by time: what it says up to the present instant counts as done. After
   * `restore`, this is how a run goes on in another way than it went.
   */
  rescript(commands: readonly Command[]): void {
    this.commands = commands;
    const next = commands.findIndex(({ seconds }) => seconds > this.now[0]!);
    this.nextCommand = next === -1 ? commands.length : next;
    this.commandDue[0] = commands[this.nextCommand]?.seconds ?? Number.POSITIVE_INFINITY;
  }

  private lowestPending(): number {
    const { pending } = this;
    const low = pending[0]!;
    if (low !== 0) return 31 - Math.clz32(low & -low);
    for (let word = 1; word < pending.length; word += 1) {
      const bits = pending[word]!;
      if (bits !== 0) return 32 * word + 31 - Math.clz32(bits & -bits);
    }
    return -1;
  }

  private deliver(rank: number): void {
    this.deliveriesNow += 1;
    this.eventCount += 1;
    if (this.deliveriesNow > DELIVERIES_PER_INSTANT) {
      assert(false, 'parts answer each other without end at one instant', {
        part: this.placements[rank]!.name,
        now: this.now[0],
      });
    }
    const changed = this.changed[rank]!;
    this.changed[rank] = 0;
    this.pending[rank >> 5]! &= ~(1 << (rank & 31));
    this.pendingCount -= 1;
    this.cause = this.inputCauses[rank]!;
    this.inputs[rank]!(changed);
  }

  digestText(): string {
    return this.digest.toString();
  }

  /** Everything needed to go on from here with the same result. */
  save(): Snapshot {
    if (this.front >= 0) this.agenda.changed(this.front);
    this.front = -1;
    return {
      seconds: this.now[0]!,
      values: this.values.slice(),
      agenda: this.agenda.save(),
      changed: this.changed.slice(),
      pending: this.pending.slice(),
      inputCauses: this.inputCauses.slice(),
      timerCauses: this.timerCauses.slice(),
      lastEntries: this.lastEntries.slice(),
      counters: [
        this.publicationCount,
        this.cause,
        this.deliveriesNow,
        this.nextCommand,
        this.eventCount,
        this.pendingCount,
      ],
      states: this.placements.map(({ live, attachments }) =>
        [live, ...attachments].map(({ state }) => copyState(state)),
      ),
      streams: this.streams.save(),
      digest: this.digest.save(),
      continuum: this.continuum.save(),
    };
  }

  restore(snapshot: Snapshot): void {
    this.now[0] = snapshot.seconds;
    this.values.set(snapshot.values);
    this.agenda.restore(snapshot.agenda);
    this.front = -1;
    this.changed.set(snapshot.changed);
    this.pending.set(snapshot.pending);
    this.inputCauses.set(snapshot.inputCauses);
    this.timerCauses.set(snapshot.timerCauses);
    this.lastEntries.set(snapshot.lastEntries);
    [this.publicationCount, this.cause, this.deliveriesNow, this.nextCommand, this.eventCount, this.pendingCount] =
      snapshot.counters as [number, number, number, number, number, number];
    this.commandDue[0] = this.commands[this.nextCommand]?.seconds ?? Number.POSITIVE_INFINITY;
    this.placements.forEach(({ live, attachments }, rank) => {
      [live, ...attachments].forEach(({ state }, index) => {
        writeState(state, snapshot.states[rank]![index]!);
      });
    });
    this.streams.restore(snapshot.streams);
    this.digest.restore(snapshot.digest);
    this.continuum.restore(snapshot.continuum);
    for (const { attachments } of this.placements) for (const { restored } of attachments) restored?.();
  }
}
