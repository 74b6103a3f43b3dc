/**
 * A chart at work in a part: the table stepped by the kernel.
 *
 * Guards and actions get the part's live numbers as their `context`, in one arguments object made beforehand. A guard
 * or action that sends its own chart another event is a broken invariant: parts schedule instead.
 *
 * Hot path; see test/speed/kernel.bench.ts.
 */
import type { AnyStateMachine } from 'xstate';
import { assert } from '../kernel/assert.ts';
import type { Host } from '../kernel/part.ts';
import { type ChartArguments, type ChartTable, Op, tableOf } from './table.ts';

/** More eventless transitions than this in a row mean that guards lead round in a circle. */
const EVENTLESS_LIMIT = 64;

export interface ChartRun {
  readonly table: ChartTable;
  /** How often each of `table.transitions` was taken. */
  readonly taken: Uint32Array;
  /** `mode` is the index of the present leaf in `table.leaves`. */
  readonly state: { mode: number };
  /** Enters the initial state. From the part's `start`. */
  start(): void;
  /** Number of an event, for `send`. */
  event(name: string): number;
  /** Sends an event; true if it led to a transition. */
  send(event: number): boolean;
  /** One byte a leaf: 1 where the leaf is the named state or lies inside it. */
  inside(name: string): Uint8Array;
}

/** Starts a chart for the part behind `host`. `context` is what its guards read and its actions call. */
export function runChart(host: Host, machine: AnyStateMachine, context: object): ChartRun {
  return new TableRun(host, tableOf(machine), context);
}

/** The table's rows laid out end to end in integers, so that taking a transition follows no pointers. */
interface Layout {
  /** Rows of (leaf, event) are `starts[leaf * events + event]` up to the next start; eventless ones likewise. */
  readonly starts: Int32Array;
  readonly eventlessStarts: Int32Array;
  readonly guards: Int32Array;
  readonly targets: Int32Array;
  readonly transitions: Int32Array;
  readonly programStarts: Int32Array;
  readonly programs: Int32Array;
  readonly events: readonly { readonly type: string }[];
  /** For each name that was asked about, which leaves lie inside it. */
  readonly insides: Map<string, Uint8Array>;
}

const layouts = new WeakMap<ChartTable, Layout>();

function layoutOf(table: ChartTable): Layout {
  let layout = layouts.get(table);
  if (layout === undefined) {
    layout = layOut(table);
    layouts.set(table, layout);
  }
  return layout;
}

function layOut(table: ChartTable): Layout {
  const lists = [...table.rows, ...table.eventless];
  const rows = lists.flat();
  const starts = [0];
  for (const list of lists) starts.push(starts.at(-1)! + list.length);
  const programStarts = [0];
  for (const row of rows) programStarts.push(programStarts.at(-1)! + row.program.length);
  return {
    starts: Int32Array.from(starts.slice(0, table.rows.length + 1)),
    eventlessStarts: Int32Array.from(starts.slice(table.rows.length)),
    guards: Int32Array.from(rows, (row) => row.guard),
    targets: Int32Array.from(rows, (row) => row.target),
    transitions: Int32Array.from(rows, (row) => row.transition),
    programStarts: Int32Array.from(programStarts),
    programs: Int32Array.from(rows.flatMap((row) => [...row.program])),
    events: table.events.map((type) => ({ type })),
    insides: new Map(),
  };
}

const START = { type: 'xstate.init' };

class TableRun implements ChartRun {
  readonly table: ChartTable;
  readonly taken: Uint32Array;
  readonly state: { mode: number };
  private readonly layout: Layout;
  private readonly host: Host;
  private readonly modeOut: number | undefined;
  private readonly timers: readonly number[];
  private readonly eventArguments: readonly ChartArguments[];
  private readonly startArguments: ChartArguments;
  private readonly eventCount: number;
  private isBusy = false;

  constructor(host: Host, table: ChartTable, context: object) {
    this.host = host;
    this.table = table;
    this.layout = layoutOf(table);
    this.modeOut = (host.out as Record<string, number>).mode;
    this.taken = new Uint32Array(table.transitions.length);
    this.state = { mode: table.initialLeaf };
    this.eventCount = table.events.length;
    this.eventArguments = this.layout.events.map((event) => ({ context, event }));
    this.startArguments = { context, event: START };
    this.timers = table.timers.map(({ event }) => host.timer(() => this.send(event)));
    host.attach({ state: this.state, taken: this.taken });
  }

  start(): void {
    for (const op of this.table.initialProgram) this.perform(op, this.startArguments);
    this.settle(this.startArguments);
    this.publish();
  }

  event(name: string): number {
    const event = this.table.events.indexOf(name);
    assert(event >= 0, 'a chart has no such event', { chart: this.table.id, name });
    return event;
  }

  send(event: number): boolean {
    if (this.isBusy) assert(false, 'a chart was sent an event while it acted on another', { chart: this.table.id });
    this.isBusy = true;
    const args = this.eventArguments[event]!;
    const before = this.state.mode;
    const { starts } = this.layout;
    const place = before * this.eventCount + event;
    const taken = this.take(starts[place]!, starts[place + 1]!, args);
    // As in XState, an event that leads nowhere still lets eventless transitions be looked at again.
    this.settle(args);
    this.isBusy = false;
    if (this.state.mode !== before) this.publish();
    return taken;
  }

  inside(name: string): Uint8Array {
    const { insides } = this.layout;
    const known = insides.get(name);
    if (known !== undefined) return known;
    const flags = Uint8Array.from(this.table.leaves, (leaf) => (leaf === name || leaf.startsWith(`${name}.`) ? 1 : 0));
    assert(flags.includes(1), 'a chart has no such state', { chart: this.table.id, name });
    insides.set(name, flags);
    return flags;
  }

  /** Takes the first of these rows whose guard agrees. */
  private take(start: number, end: number, args: ChartArguments): boolean {
    const { guards, targets, transitions, programStarts, programs } = this.layout;
    for (let row = start; row < end; row += 1) {
      const guard = guards[row]!;
      if (guard >= 0 && !this.table.guards[guard]!(args)) continue;
      this.taken[transitions[row]!]! += 1;
      for (let place = programStarts[row]!; place < programStarts[row + 1]!; place += 1)
        this.perform(programs[place]!, args);
      if (targets[row]! >= 0) this.state.mode = targets[row]!;
      return true;
    }
    return false;
  }

  private settle(args: ChartArguments): void {
    const { eventlessStarts } = this.layout;
    for (let count = 0; ; count += 1) {
      const { mode } = this.state;
      const start = eventlessStarts[mode]!;
      const end = eventlessStarts[mode + 1]!;
      if (start === end || !this.take(start, end, args)) return;
      if (count >= EVENTLESS_LIMIT) assert(false, 'eventless transitions do not end', { chart: this.table.id, mode });
    }
  }

  private perform(op: number, args: ChartArguments): void {
    if (op < Op.START) this.table.actions[op]!(args);
    else if (op < Op.STOP) this.startTimer(op - Op.START, args);
    else this.host.sleep(this.timers[op - Op.STOP]!);
  }

  private startTimer(index: number, args: ChartArguments): void {
    const delaySeconds = this.table.delays[this.table.timers[index]!.delay]!(args);
    if (delaySeconds < Number.POSITIVE_INFINITY) this.host.wake(this.timers[index]!, this.host.now[0]! + delaySeconds);
  }

  private publish(): void {
    if (this.modeOut !== undefined) this.host.update(this.modeOut, this.state.mode);
  }
}
