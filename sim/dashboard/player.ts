/**
 * Plays a run in simulated time, forth and back: to an instant, by one event, to the next change of a mode.
 *
 * Back means: restore the nearest earlier snapshot, forget what was recorded since, run forth again. Runs are exact
 * repeats of each other, so that the state at an instant does not depend on the way to it. What is recorded, and at
 * which instants flowing signals are looked at, is as `record` (trace/record.ts) does it: at the end of a run both
 * traces are the same.
 */
import { type Act, type Assembly, assemble, type SettledPart } from '../bench/assemble.ts';
import { assert } from '../kernel/assert.ts';
import type { Snapshot } from '../kernel/kernel.ts';
import { FlowLines, type FlowLinesPast } from '../trace/flow-lines.ts';
import { GRID_PER_SECOND } from '../trace/record.ts';
import { Trace, type TraceMark } from '../trace/trace.ts';
import { EventLog } from './event-log.ts';

export interface PlayerSetup {
  readonly parts: readonly SettledPart[];
  readonly seed: number;
  /** Sorted by time. */
  readonly acts: readonly Act[];
  readonly endSeconds: number;
  readonly record: Iterable<string>;
}

interface Keyframe {
  readonly snapshot: Snapshot;
  readonly mark: TraceMark;
  readonly lines: FlowLinesPast;
  readonly gridCount: number;
  readonly eventCount: number;
}

/** Snapshots lie this far apart at first; when there are too many, every other one goes and the distance doubles. */
const KEYFRAME_EVENTS = 1000;
const KEYFRAME_SECONDS = 1;
const KEYFRAMES_MOST = 256;

export class Player {
  readonly log = new EventLog();
  readonly trace: Trace;
  readonly endSeconds: number;
  assembly: Assembly;
  private readonly setup: PlayerSetup;
  private readonly columnOf: Int32Array;
  private readonly recorded: readonly number[];
  private flowing: readonly number[] = [];
  /** Flowing signals that are asked for on a grid; the others are told by lines. */
  private gridded: readonly number[] = [];
  private lines: FlowLines;
  /** Lines that are published at their ends only. */
  private ramps: readonly number[] = [];
  private acts: readonly Act[];
  private keyframes: Keyframe[] = [];
  private spacing = 1;
  private gridCount = 0;
  private isEnded = false;

  constructor(setup: PlayerSetup) {
    this.setup = setup;
    this.acts = setup.acts;
    this.endSeconds = setup.endSeconds;
    this.assembly = this.wire();
    const { signals, signalIndex, kernel } = this.assembly;
    this.recorded = [...new Set(setup.record)].flatMap((name) => signalIndex.get(name) ?? []);
    this.trace = new Trace(this.recorded.map((index) => signals[index]!));
    this.columnOf = new Int32Array(signals.length).fill(-1);
    this.recorded.forEach((signal, column) => {
      this.columnOf[signal] = column;
    });
    this.lines = this.listen();
    for (const signal of this.recorded) {
      if (signals[signal]!.isDrawn !== true) kernel.sample(signal);
      this.trace.append(this.columnOf[signal]!, kernel.now[0]!, kernel.values[signal]!);
    }
    this.lines.begin(undefined);
    this.keep();
  }

  get seconds(): number {
    return this.assembly.kernel.now[0]!;
  }

  get eventCount(): number {
    return this.assembly.kernel.eventCount;
  }

  get isAtEnd(): boolean {
    return this.isEnded;
  }

  get digest(): string {
    return this.assembly.kernel.digestText();
  }

  /** Runs on to an instant, or until `isTimeUp` says so; true once it is reached. */
  runTo(seconds: number, isTimeUp: () => boolean = () => false): boolean {
    const { kernel } = this.assembly;
    const target = Math.min(seconds, this.endSeconds);
    while (this.nextGrid() <= target) {
      this.crossGrid();
      if (isTimeUp()) return false;
    }
    if (target > kernel.now[0]!) kernel.run(target);
    if (target === this.endSeconds) this.finish();
    else this.trace.finish(kernel.now[0]!);
    return true;
  }

  /** Handles one event; false at the end. */
  stepForth(): boolean {
    const { kernel } = this.assembly;
    for (;;) {
      const grid = this.nextGrid();
      if (kernel.step(Math.min(grid, this.endSeconds))) {
        this.trace.finish(kernel.now[0]!);
        this.keepIfDue();
        return true;
      }
      if (grid > this.endSeconds) {
        kernel.run(this.endSeconds);
        this.finish();
        return false;
      }
      this.crossGrid();
    }
  }

  /** Undoes the latest event; false at the start. */
  stepBack(): boolean {
    if (this.eventCount === 0) return false;
    this.seekEvent(this.eventCount - 1);
    return true;
  }

  /** To an instant, forth or back. */
  seek(seconds: number): void {
    const target = Math.max(0, seconds);
    if (target < this.seconds) this.restore((keyframe) => keyframe.snapshot.seconds <= target);
    this.runTo(target);
  }

  /** To just after an event. */
  seekEvent(eventCount: number): void {
    // Strictly before, since a snapshot may have been taken some time after its last event.
    if (eventCount < this.eventCount)
      this.restore((keyframe) => keyframe.eventCount < eventCount || keyframe.eventCount === 0);
    while (this.eventCount < eventCount && this.stepForth()) {
      // `stepForth` has done the work.
    }
  }

  /** On to just after the next change that the log tells; false when the end comes first. */
  toNextChange(isTimeUp: () => boolean = () => false): boolean {
    const before = this.log.items.at(-1);
    while (this.stepForth()) {
      if (this.log.items.at(-1) !== before) return true;
      if (isTimeUp()) return false;
    }
    return false;
  }

  /** Back to the last change before the present event, or to the start. */
  toPreviousChange(): boolean {
    const item = this.log.items.findLast(({ eventCount }) => eventCount < this.eventCount);
    if (item === undefined) this.seek(0);
    else this.seekEvent(item.eventCount);
    return item !== undefined;
  }

  /** A signal's value at the present instant; NaN where there is no such signal, or where asking would draw chance. */
  present(name: string): number {
    const { kernel, signalIndex, signals } = this.assembly;
    const index = signalIndex.get(name);
    if (index === undefined || signals[index]!.isDrawn === true) return Number.NaN;
    kernel.sample(index);
    return kernel.values[index]!;
  }

  /** Other steps from here on. Those up to the present instant must be the same as before. */
  changeScript(acts: readonly Act[]): void {
    const done = (list: readonly Act[]): string =>
      JSON.stringify(list.filter(({ seconds }) => seconds <= this.seconds));
    assert(done(acts) === done(this.acts), 'the script was changed in the past', { seconds: this.seconds });
    const snapshot = this.assembly.kernel.save();
    const { findings } = this.assembly;
    this.acts = acts;
    this.assembly = this.wire();
    this.assembly.kernel.restore(snapshot);
    this.assembly.findings.push(...findings.filter(({ seconds }) => seconds <= this.seconds));
    const past = this.lines.save();
    this.lines = this.listen();
    this.lines.begin(past);
    this.isEnded = false;
  }

  private wire(): Assembly {
    const { parts, seed } = this.setup;
    return assemble(parts, seed, this.acts, {
      journalFor: (kernel) => {
        this.log.follow(kernel);
        return this.log;
      },
    });
  }

  private listen(): FlowLines {
    const { kernel, signals } = this.assembly;
    const { trace, columnOf } = this;
    const { now, values } = kernel;
    this.log.attach(this.assembly);
    for (const signal of this.recorded) {
      kernel.watched[signal] = 1;
      if (signals[signal]!.isBook === true) kernel.continuum.ledger.isKept = true;
    }
    this.flowing = this.recorded.filter(
      (signal) => signals[signal]!.isFlowing === true && signals[signal]!.isDrawn !== true,
    );
    this.ramps = this.recorded.filter(
      (signal) => signals[signal]!.isFlowing !== true && signals[signal]!.shape === 'linear',
    );
    const lined = this.flowing.filter((signal) => kernel.swept[signal] === 1);
    this.gridded = this.flowing.filter((signal) => kernel.swept[signal] !== 1);
    const lineOf = new Map(lined.map((signal, line) => [signal, line]));
    const lines = new FlowLines(kernel.continuum, now, values, lined, (line, seconds, value) =>
      trace.append(columnOf[lined[line]!]!, seconds, value),
    );
    kernel.continuum.watcher = lines;
    kernel.observer = {
      observe: (signal) => {
        const line = lineOf.get(signal);
        if (line !== undefined) lines.makeWay(line);
        trace.append(columnOf[signal]!, now[0]!, values[signal]!);
      },
    };
    return lines;
  }

  private nextGrid(): number {
    return (this.gridCount + 1) / GRID_PER_SECOND;
  }

  private crossGrid(): void {
    this.assembly.kernel.run(this.nextGrid());
    this.gridCount += 1;
    this.look(this.gridded);
    this.trace.finish(this.seconds);
    this.keepIfDue();
  }

  private look(asked: readonly number[]): void {
    const { kernel } = this.assembly;
    for (const signal of asked) {
      kernel.sample(signal);
      this.trace.append(this.columnOf[signal]!, kernel.now[0]!, kernel.values[signal]!);
    }
  }

  private finish(): void {
    if (!this.isEnded) {
      this.lines.makeWayForAll();
      this.look(this.flowing);
      this.look(this.ramps);
    }
    this.isEnded = true;
    this.trace.finish(this.seconds);
  }

  private keepIfDue(): void {
    const last = this.keyframes.at(-1)!;
    if (
      this.eventCount - last.eventCount >= KEYFRAME_EVENTS * this.spacing ||
      this.seconds - last.snapshot.seconds >= KEYFRAME_SECONDS * this.spacing
    )
      this.keep();
  }

  private keep(): void {
    const { kernel } = this.assembly;
    const { gridCount, eventCount } = this;
    this.keyframes.push({
      snapshot: kernel.save(),
      mark: this.trace.mark(),
      lines: this.lines.save(),
      gridCount,
      eventCount,
    });
    if (this.keyframes.length <= KEYFRAMES_MOST) return;
    this.keyframes = this.keyframes.filter((_, index) => index % 2 === 0);
    this.spacing *= 2;
  }

  /** To the latest snapshot that fits; those after it are forgotten, since their marks are no longer good. */
  private restore(fits: (keyframe: Keyframe) => boolean): void {
    const index = this.keyframes.findLastIndex(fits);
    const keyframe = this.keyframes[index]!;
    this.keyframes.length = index + 1;
    this.assembly.kernel.restore(keyframe.snapshot);
    this.trace.rewind(keyframe.mark);
    this.lines.begin(keyframe.lines);
    this.gridCount = keyframe.gridCount;
    this.log.rewind(keyframe.eventCount);
    this.isEnded = false;
  }
}
