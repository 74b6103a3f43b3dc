/**
 * Tells flowing signals by straight lines: from each step of the continuous states it takes the instants between which a
 * line tells a signal to within a share of its greatest value so far. Each signal is told by itself, so that what is seen of
 * one does not hang on what else is recorded.
 *
 * What flows within a step is known once the step is planned. So a step is looked at when it is planned, in ever smaller
 * halves until the parabola through the ends and the middle of each holds; the lines are drawn along the parabolas, and
 * told when the step ends. An event that cuts the step short finds there what had flowed up to it: the signal then steps
 * from its value at the last instant before the event to that at the event. Hot path; see test/speed/power.bench.ts.
 */
import type { Continuum } from '../kernel/continuum.ts';

/** A line may miss a signal by this share of the signal's greatest value so far. */
const LINE_SHARE = 1e-4;
/** Shorter stretches are told by a line in any case. */
const LEAST_SECONDS = 2e-5;
/** Places of a step that can be looked at; the first is its start, the last its end. */
const PLACES = 1024;
/** Takes an instant to the one before it that a double can tell from it. */
const JUST_BEFORE = 1 - 2 ** -53;

/** What a step under way has shown so far, to go on from later. */
export interface FlowLinesPast {
  readonly numbers: readonly (Float64Array | Int16Array)[];
  /** Of each signal as many as `counts` says. */
  readonly places: Int16Array;
  readonly told: Float64Array;
}

/** Takes a sample: `line` is a place in the list of signals that are told. */
export type Tell = (line: number, seconds: number, value: number) => void;

export class FlowLines {
  private readonly continuum: Continuum;
  private readonly now: Float64Array;
  private readonly values: Float64Array;
  private readonly signals: Int32Array;
  private readonly tell: Tell;
  /** Start and length of the step, in seconds. */
  private readonly step = new Float64Array(2);
  /** The places that were looked at, and all signals' values there, one place after the other. */
  private readonly isSeen = new Uint8Array(PLACES + 1);
  private readonly seen: Float64Array;
  /** For each signal: the places that it is told in and its values there, one after the other; how many, and how many of them were. */
  private readonly places: Int16Array;
  private readonly told: Float64Array;
  private readonly counts: Int16Array;
  private readonly next: Int16Array;
  /** Up to what instant each signal was told. */
  private readonly upTo: Float64Array;
  /** Greatest value of each signal at the ends of steps so far. */
  private readonly sizes: Float64Array;

  /** `signals` are numbers among the kernel's. */
  constructor(continuum: Continuum, now: Float64Array, values: Float64Array, signals: readonly number[], tell: Tell) {
    this.continuum = continuum;
    this.now = now;
    this.values = values;
    this.signals = Int32Array.from(signals);
    this.tell = tell;
    this.seen = new Float64Array((PLACES + 1) * signals.length);
    this.places = new Int16Array(PLACES * signals.length);
    this.told = new Float64Array(PLACES * signals.length);
    this.counts = new Int16Array(signals.length);
    this.next = new Int16Array(signals.length);
    this.upTo = new Float64Array(signals.length);
    this.sizes = new Float64Array(signals.length);
  }

  /** Begins at the present instant, perhaps within a step; or goes on where another has saved. */
  begin(past: FlowLinesPast | undefined): void {
    if (past !== undefined) {
      this.restore(past);
      return;
    }
    this.upTo.fill(this.now[0]!);
    if (!this.continuum.isUnderWay) return;
    this.isSeen.fill(0);
    this.look(0);
    for (let line = 0; line < this.signals.length; line += 1) this.grow(line, this.seen[line]!);
    this.look(PLACES);
    this.divide();
  }

  save(): FlowLinesPast {
    const { counts, places, told } = this;
    const total = counts.reduce((sum, count) => sum + count, 0);
    const past = {
      numbers: this.numbers().map((array) => array.slice()),
      places: new Int16Array(total),
      told: new Float64Array(total),
    };
    let to = 0;
    for (let line = 0; line < counts.length; line += 1) {
      const from = PLACES * line;
      past.places.set(places.subarray(from, from + counts[line]!), to);
      past.told.set(told.subarray(from, from + counts[line]!), to);
      to += counts[line]!;
    }
    return past;
  }

  /** The step has ended or was cut short at the present instant. `isNew`: what flows from here on is not what flowed up to here. */
  turned(isNew: boolean): void {
    const { signals, seen, values, upTo } = this;
    const seconds = this.now[0]!;
    for (let line = 0; line < signals.length; line += 1) {
      this.tellBefore(line, isNew);
      const value = values[signals[line]!]!;
      this.grow(line, value);
      this.tell(line, seconds, value);
      upTo[line] = seconds;
      seen[line] = value;
    }
  }

  /** A step was planned, and the signals stand at its end. */
  planned(): void {
    this.isSeen.fill(0);
    this.isSeen[0] = 1;
    this.take(PLACES);
    this.divide();
  }

  /** Somebody tells a signal at the present instant: what flowed up to it comes first. */
  makeWay(line: number): void {
    if (this.now[0]! <= this.upTo[line]!) return;
    this.tellBefore(line, true);
    this.upTo[line] = this.now[0]!;
  }

  makeWayForAll(): void {
    for (let line = 0; line < this.signals.length; line += 1) this.makeWay(line);
  }

  /** Tells what flowed before the present instant; `isCut`: up to the last instant before it. */
  private tellBefore(line: number, isCut: boolean): void {
    const { step, places, told, counts, next, upTo } = this;
    const seconds = this.now[0]!;
    const first = PLACES * line;
    const end = first + counts[line]!;
    let at = first + next[line]!;
    for (; at < end; at += 1) {
      const instant = step[0]! + (step[1]! * places[at]!) / PLACES;
      if (instant >= seconds) break;
      if (instant <= upTo[line]!) continue;
      this.tell(line, instant, told[at]!);
      upTo[line] = instant;
    }
    next[line] = at - first;
    const before = seconds * JUST_BEFORE;
    if (!isCut || at >= end || before <= upTo[line]!) return;
    const from = at === first ? 0 : places[at - 1]!;
    const value = at === first ? this.seen[line]! : told[at - 1]!;
    const share = (((before - step[0]!) / step[1]!) * PLACES - from) / (places[at]! - from);
    this.tell(line, before, value + share * (told[at]! - value));
    upTo[line] = before;
  }

  private divide(): void {
    const { step, counts, next } = this;
    step[0] = this.continuum.instants[0]!;
    step[1] = this.continuum.instants[1]! - step[0]!;
    for (let line = 0; line < counts.length; line += 1) {
      counts[line] = 0;
      next[line] = 0;
      this.split(line, 0, PLACES);
    }
  }

  /** Draws lines along parabolas from one place to another, the first of which has been drawn to. */
  private split(line: number, from: number, to: number): void {
    const { seen, signals } = this;
    const count = signals.length;
    const span = to - from;
    const start = seen[from * count + line]!;
    const end = seen[to * count + line]!;
    if (span < 4 || this.step[1]! * span <= LEAST_SECONDS * PLACES) {
      this.draw(line, to, end);
      return;
    }
    const middle = from + (span >> 1);
    const quarter = from + (span >> 2);
    if (this.isSeen[middle] === 0) this.look(middle);
    if (this.isSeen[quarter] === 0) this.look(quarter);
    const allowed = LINE_SHARE * this.sizes[line]!;
    // p(s) = start + slope s + bend s^2 for s from 0 to 1.
    const bend = 2 * (start + end) - 4 * seen[middle * count + line]!;
    const slope = end - start - bend;
    if (Math.abs(start + 0.25 * slope + 0.0625 * bend - seen[quarter * count + line]!) > allowed) {
      this.split(line, from, middle);
      this.split(line, middle, to);
      return;
    }
    // A chord of a part of it misses the parabola by a quarter of its bend, times the square of the part.
    const pieces = Math.min(span, Math.ceil(Math.sqrt(Math.abs(bend) / (4 * allowed + Number.MIN_VALUE))));
    for (let piece = 1; piece < pieces; piece += 1) {
      const place = from + Math.round((span * piece) / pieces);
      const s = (place - from) / span;
      this.draw(line, place, start + s * (slope + s * bend));
    }
    this.draw(line, to, end);
  }

  private draw(line: number, place: number, value: number): void {
    const at = PLACES * line + this.counts[line]!;
    this.places[at] = place;
    this.told[at] = value;
    this.counts[line]! += 1;
  }

  private look(place: number): void {
    this.continuum.lookAhead(place, PLACES);
    this.take(place);
  }

  private take(place: number): void {
    const { signals, seen, values } = this;
    this.isSeen[place] = 1;
    for (let line = 0; line < signals.length; line += 1) seen[place * signals.length + line] = values[signals[line]!]!;
  }

  private grow(line: number, value: number): void {
    const size = Math.abs(value);
    if (size > this.sizes[line]!) this.sizes[line] = size;
  }

  private restore(past: FlowLinesPast): void {
    const { counts, places, told } = this;
    this.numbers().forEach((array, index) => {
      array.set(past.numbers[index]!);
    });
    let from = 0;
    for (let line = 0; line < counts.length; line += 1) {
      const end = from + counts[line]!;
      places.set(past.places.subarray(from, end), PLACES * line);
      told.set(past.told.subarray(from, end), PLACES * line);
      from = end;
    }
  }

  /** All that counts later, but for the lines themselves: of what was seen, the start of the step. */
  private numbers(): readonly (Float64Array | Int16Array)[] {
    const { step, seen, counts, next, upTo, sizes } = this;
    return [step, seen.subarray(0, counts.length), counts, next, upTo, sizes];
  }
}
