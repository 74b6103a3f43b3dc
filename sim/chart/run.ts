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
import { type ChartTable, Op, type Row, tableOf } from './table.ts';

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

class TableRun implements ChartRun {
  readonly table: ChartTable;
  readonly taken: Uint32Array;
  readonly state: { mode: number };
  private readonly host: Host;
  private readonly timers: readonly number[];
  private readonly eventArguments: readonly { context: object; event: { type: string } }[];
  private readonly startArguments: { context: object; event: { type: string } };
  private readonly eventCount: number;
  private isBusy = false;

  constructor(host: Host, table: ChartTable, context: object) {
    this.host = host;
    this.table = table;
    this.taken = new Uint32Array(table.transitions.length);
    this.state = { mode: table.initialLeaf };
    this.eventCount = table.events.length;
    this.eventArguments = table.events.map((type) => ({ context, event: { type } }));
    this.startArguments = { context, event: { type: 'xstate.init' } };
    this.timers = table.timers.map(({ event }) => host.timer(() => this.send(event)));
    host.attach({ state: this.state, taken: this.taken });
  }

  start(): void {
    this.perform(this.table.initialProgram, this.startArguments);
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
    const taken = this.take(this.table.rows[before * this.eventCount + event]!, args);
    // As in XState, an event that leads nowhere still lets eventless transitions be looked at again.
    this.settle(args);
    this.isBusy = false;
    if (this.state.mode !== before) this.publish();
    return taken;
  }

  inside(name: string): Uint8Array {
    const flags = Uint8Array.from(this.table.leaves, (leaf) => (leaf === name || leaf.startsWith(`${name}.`) ? 1 : 0));
    assert(flags.includes(1), 'a chart has no such state', { chart: this.table.id, name });
    return flags;
  }

  private take(rows: readonly Row[], args: { context: object; event: { type: string } }): boolean {
    for (let index = 0; index < rows.length; index += 1) {
      const row = rows[index]!;
      if (row.guard >= 0 && !this.table.guards[row.guard]!(args)) continue;
      this.taken[row.transition]! += 1;
      this.perform(row.program, args);
      if (row.target >= 0) this.state.mode = row.target;
      return true;
    }
    return false;
  }

  private settle(args: { context: object; event: { type: string } }): void {
    for (let count = 0; this.take(this.table.eventless[this.state.mode]!, args); count += 1) {
      if (count >= EVENTLESS_LIMIT) assert(false, 'eventless transitions do not end', { chart: this.table.id, mode: this.state.mode });
    }
  }

  private perform(program: Int32Array, args: { context: object; event: { type: string } }): void {
    for (let index = 0; index < program.length; index += 1) {
      const op = program[index]!;
      if (op < Op.START) this.table.actions[op]!(args);
      else if (op < Op.STOP) this.startTimer(op - Op.START, args);
      else this.host.sleep(this.timers[op - Op.STOP]!);
    }
  }

  private startTimer(index: number, args: { context: object; event: { type: string } }): void {
    const delaySeconds = this.table.delays[this.table.timers[index]!.delay]!(args);
    if (delaySeconds < Number.POSITIVE_INFINITY) this.host.wake(this.timers[index]!, this.host.now[0]! + delaySeconds);
  }

  private publish(): void {
    const mode = (this.host.out as Record<string, number>).mode;
    if (mode !== undefined) this.host.update(mode, this.state.mode);
  }
}
