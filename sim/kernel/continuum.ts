/**
 * What changes continuously between events: currents, speeds, charge. All parts' states lie in one vector and are
 * integrated together, since they are coupled through wires and shafts.
 *
 * A network of parts is a tree (battery, harness, controllers, motors, vehicle), so that one evaluation is three
 * sweeps: `draw` from the leaves to the root (who takes what current), `feed` from the root to the leaves (what voltage
 * arrives), `slope` (how each state changes). A few draws depend on the voltage that only the feed after them tells (a
 * bridge at its current limit takes constant power). They start from what that voltage was at the start of the step, and
 * the sweeps are repeated while one of them leans on it: an evaluation is thus a function of the states alone, and
 * looking at a run changes nothing in it.
 *
 * Method: Kutta's third-order rule with error control, in its exponential form for the fast states (Cox and Matthews, J.
 * Comput. Phys. 176, 2002, ETD3RK). The design named RK4 with a bounded step; a motor's current settles in a millisecond and
 * then follows its speed for seconds, and any rule without the exponential would have to go on in milliseconds. The rate
 * at which a fast state falls back is measured on the network itself; off by a half, the rule still holds. A step runs
 * ahead of the present on the assumption that no event comes; between its ends slow states are read from the cubic
 * Hermite polynomial and fast ones from the rule's own expansion; an event that changes an input starts a new step from
 * the present. Hot path; see test/speed/power.bench.ts.
 */
import type { Flow } from './part.ts';

/** Number of states and of books (running integrals that feed nothing back) that one bench may have. */
const CAPACITY = 192;
/** Error allowed a step, as a share of a state's value and of a tenth of its scale. */
const TOLERANCE = 1e-5;
const FLOOR_SHARE = 0.1;
const LEAST_STEP_SECONDS = 1e-7;
const MOST_STEP_SECONDS = 0.1;
const FIRST_STEP_SECONDS = 1e-4;
/** Sweeps are repeated until a voltage that somebody leaned on moves less than this share, or so often. */
const LOOP_TOLERANCE = 1e-7;
const LOOP_ROUNDS = 24;
/** Change of a fast state, as a share of its scale, by which its rate is measured. */
const PROBE_SHARE = 1e-5;
/** Rates measured by whole and by half of that change differ by no more than this share where the slope is smooth. */
const SMOOTH_SHARE = 0.1;
/** Below this product of rate and step the exponential functions are taken from their series. */
const SERIES_BELOW = 0.2;

/** The numbers of a bench ran away: a fault of its parameters, or of the models' range of validity. */
export class NumericalBlowUp extends Error {
  readonly part: string;
  readonly state: string;
  readonly seconds: number;

  constructor(part: string, state: string, seconds: number) {
    super(`the ${state} of ${part} is no longer a number at ${seconds} s`);
    this.name = 'NumericalBlowUp';
    this.part = part;
    this.state = state;
    this.seconds = seconds;
  }
}

interface Member {
  readonly part: string;
  readonly flow: Flow;
  readonly base: number;
}

/** A halved limit for step and error shows whether a verdict hangs on them. */
export interface StepLimits {
  readonly tolerance: number;
  readonly mostSeconds: number;
}

/** What is used unless a caller says otherwise. */
export const STEP_LIMITS: StepLimits = { tolerance: TOLERANCE, mostSeconds: MOST_STEP_SECONDS };

export class Continuum {
  /** Present states and their slopes while parts evaluate; books of all parts likewise. */
  readonly x = new Float64Array(CAPACITY);
  readonly dx = new Float64Array(CAPACITY);
  readonly books = new Float64Array(CAPACITY);
  readonly bookRates = new Float64Array(CAPACITY);
  /** Length of the stretch that a part settles, in seconds. */
  readonly elapsed = new Float64Array(1);
  stateCount = 0;
  bookCount = 0;
  /** Somebody reads the books: only then are they kept. */
  isBooking = false;
  /** Set to 1 by a draw whose result hangs on one of the signals in its `loops`. */
  readonly leaning = new Uint8Array(1);

  private readonly members: Member[] = [];
  private readonly scales = new Float64Array(CAPACITY);
  private readonly draws: (() => void)[] = [];
  private readonly feeds: (() => void)[] = [];
  private readonly slopes: (() => void)[] = [];
  private readonly settles: (() => boolean)[] = [];
  private readonly excesses: (() => number)[] = [];
  /** Signals that draws read before they are fed, and what they were at the start of the step under way. */
  private loops: number[] = [];
  private readonly guesses = new Float64Array(CAPACITY);
  private readonly used = new Float64Array(CAPACITY);
  private readonly values: Float64Array;
  private readonly tolerance: number;
  private readonly mostSeconds: number;
  /** Start (A) and end (B) of the step under way: states, slopes, books and their rates (`book2` at A). */
  private readonly xA = new Float64Array(CAPACITY);
  private readonly kA = new Float64Array(CAPACITY);
  private readonly xB = new Float64Array(CAPACITY);
  private readonly kB = new Float64Array(CAPACITY);
  private readonly k2 = new Float64Array(CAPACITY);
  /** Numbers of the fast states; the rate of each, and the rest of its slope at start, middle and end of the step. */
  private fast: number[] = [];
  private readonly rates = new Float64Array(CAPACITY);
  private readonly halfRates = new Float64Array(CAPACITY);
  private readonly n1 = new Float64Array(CAPACITY);
  private readonly n2 = new Float64Array(CAPACITY);
  private readonly n3 = new Float64Array(CAPACITY);
  /** phi1, phi2 and phi3 of the latest argument. */
  private readonly phi = new Float64Array(3);
  private readonly bookA = new Float64Array(CAPACITY);
  private readonly bookB = new Float64Array(CAPACITY);
  private readonly bookRateB = new Float64Array(CAPACITY);
  private readonly book2 = new Float64Array(CAPACITY);
  private readonly book3 = new Float64Array(CAPACITY);
  /** [start, end, next step to try, instant that `x` and the signals stand at, end of the last settled stretch] in seconds. */
  readonly instants = new Float64Array([0, 0, FIRST_STEP_SECONDS, -1, 0]);
  /** The step that is tried, in seconds, and its error: in an array, so that neither is boxed. */
  private readonly attempted = new Float64Array(2);
  private isDisturbed = true;
  /** A step was refused: the rates of the fast states may no longer be true. */
  private isRough = true;

  /** `values` are those of all signals of the bench. */
  constructor(values: Float64Array, limits: StepLimits = STEP_LIMITS) {
    this.values = values;
    this.tolerance = limits.tolerance;
    this.mostSeconds = limits.mostSeconds;
  }

  get isEmpty(): boolean {
    return this.members.length === 0;
  }

  /** Enters a part, in rank order; returns where its states and books begin. */
  join(part: string, flow: Flow): { readonly state: number; readonly book: number } {
    const place = { state: this.stateCount, book: this.bookCount };
    flow.states.forEach(({ start, scale, isFast }, index) => {
      if (isFast === true) this.fast.push(place.state + index);
      this.x[place.state + index] = start;
      this.scales[place.state + index] = scale;
    });
    this.stateCount += flow.states.length;
    this.bookCount += flow.bookCount ?? 0;
    if (this.stateCount > CAPACITY || this.bookCount > CAPACITY)
      throw new RangeError('a bench has more continuous states than there is room for');
    this.members.push({ part, flow, base: place.state });
    const { draw, feed, slope, settle, excess } = flow;
    if (draw !== undefined) this.draws.unshift(draw);
    if (feed !== undefined) this.feeds.push(feed);
    if (slope !== undefined) this.slopes.push(slope);
    if (settle !== undefined) this.settles.push(settle);
    if (excess !== undefined) this.excesses.push(excess);
    this.loops.push(...(flow.loops ?? []));
    return place;
  }

  /** An event has changed something that the states depend on: the step under way is no longer true. */
  disturb(): boolean {
    this.instants[3] = -1;
    if (this.isDisturbed) return false;
    this.isDisturbed = true;
    return true;
  }

  /** The states were changed by hand at the present instant: the step under way shrinks to that instant. */
  jump(now: Float64Array): void {
    const { x, instants } = this;
    this.xA.set(x);
    this.xB.set(x);
    this.kA.fill(0);
    this.kB.fill(0);
    this.bookA.set(this.books);
    this.bookB.set(this.books);
    this.book2.fill(0);
    this.bookRateB.fill(0);
    instants[0] = now[0]!;
    instants[1] = now[0]!;
  }

  /** Brings states and flowing signals to `now`. `now` lies in the step under way. */
  refresh(now: Float64Array): void {
    const seconds = now[0]!;
    if (this.instants[3] === seconds) return;
    this.interpolate(seconds);
    this.sweep();
    this.instants[3] = seconds;
  }

  /** Ends a step (or cuts it short at `now`), lets the parts settle, and computes the next one; its end is `instants[1]`. */
  advance(now: Float64Array): void {
    const { x, instants, stateCount } = this;
    const seconds = now[0]!;
    const isWhole = !this.isDisturbed && seconds === instants[1];
    if (isWhole) {
      for (let index = 0; index < stateCount; index += 1) x[index] = this.xB[index]!;
      if (this.isBooking)
        for (let index = 0; index < this.bookCount; index += 1) this.books[index] = this.bookB[index]!;
    } else {
      this.interpolate(seconds);
    }
    this.sweep();
    instants[3] = seconds;
    this.elapsed[0] = seconds - instants[4]!;
    instants[4] = seconds;
    let hasJumped = false;
    for (let index = 0; index < this.settles.length; index += 1) hasJumped = this.settles[index]!() || hasJumped;
    if (hasJumped || !isWhole) {
      this.sweep();
      this.slope();
      this.kA.set(this.dx);
    } else {
      this.kA.set(this.kB);
      if (this.isBooking) this.slope();
    }
    this.xA.set(x);
    if (this.isBooking) {
      this.bookA.set(this.books);
      this.book2.set(this.bookRates);
    }
    for (let index = 0; index < this.loops.length; index += 1) this.guesses[index] = this.values[this.loops[index]!]!;
    this.isDisturbed = false;
    instants[0] = seconds;
    if (!isWhole) instants[2] = Math.min(instants[2]!, FIRST_STEP_SECONDS * 5);
    if (hasJumped || !isWhole || this.isRough) this.measureRates();
    this.plan();
  }

  /**
   * How fast each fast state falls back when all of them are moved a little: the slopes at A are in `kA`. They are moved
   * by half of that as well: a slope that breaks off between the two (a bridge at the edge of its limit) has no rate, and
   * one taken there would hold the state where it is.
   */
  private measureRates(): void {
    const { fast, rates, halfRates } = this;
    this.isRough = false;
    if (fast.length === 0) return;
    this.probe(0.5 * PROBE_SHARE, halfRates);
    this.probe(PROBE_SHARE, rates);
    for (let at = 0; at < fast.length; at += 1) {
      const index = fast[at]!;
      const rate = rates[index]!;
      const isSmooth = Math.abs(rate - halfRates[index]!) <= SMOOTH_SHARE * rate;
      if (!(isSmooth && rate > 0 && rate < Number.POSITIVE_INFINITY)) rates[index] = 0;
    }
  }

  /** Change of each fast state's slope, divided by that of the state, when all are moved by a share of their scales. */
  private probe(share: number, into: Float64Array): void {
    const { x, dx, xA, kA, fast, scales } = this;
    x.set(xA);
    for (let at = 0; at < fast.length; at += 1) x[fast[at]!]! += share * scales[fast[at]!]!;
    this.sweep();
    this.slope();
    for (let at = 0; at < fast.length; at += 1) {
      const index = fast[at]!;
      into[index] = (kA[index]! - dx[index]!) / (share * scales[index]!);
    }
  }

  private plan(): void {
    const { instants } = this;
    let h = Math.min(instants[2]!, this.mostSeconds);
    for (;;) {
      this.attempted[0] = h;
      this.attempt();
      const error = this.attempted[1]!;
      if (error <= 1 || h <= LEAST_STEP_SECONDS) {
        if (!(error < Number.POSITIVE_INFINITY)) this.reportBlowUp();
        instants[1] = instants[0]! + h;
        // The third root of the error says how much longer the next step may be; 0.9 for safety.
        instants[2] = h * Math.min(4, 0.9 / Math.cbrt(Math.max(error, 1e-3)));
        instants[3] = -1;
        return;
      }
      this.isRough = true;
      h = Math.max(
        LEAST_STEP_SECONDS,
        error < Number.POSITIVE_INFINITY ? h * Math.max(0.2, 0.9 / Math.cbrt(error)) : h * 0.1,
      );
    }
  }

  /** One step of `attempted[0]` seconds from A to B; leaves the error, as a share of what is allowed, in `attempted[1]`. */
  private attempt(): void {
    const h = this.attempted[0]!;
    const { x, dx, xA, xB, kA, kB, k2, scales, stateCount, tolerance, fast, rates, n1, n2, n3, phi } = this;
    for (let index = 0; index < stateCount; index += 1) x[index] = xA[index]! + 0.5 * h * kA[index]!;
    for (let at = 0; at < fast.length; at += 1) {
      const index = fast[at]!;
      const z = -0.5 * h * rates[index]!;
      this.expand(z);
      n1[index] = kA[index]! + rates[index]! * xA[index]!;
      x[index] = (1 + z * phi[0]!) * xA[index]! + 0.5 * h * phi[0]! * n1[index]!;
    }
    this.sweep();
    this.slope();
    if (this.isBooking) this.book3.set(this.bookRates);
    for (let at = 0; at < fast.length; at += 1) n2[fast[at]!] = dx[fast[at]!]! + rates[fast[at]!]! * x[fast[at]!]!;
    for (let index = 0; index < stateCount; index += 1) {
      k2[index] = dx[index]!;
      x[index] = xA[index]! + h * (2 * dx[index]! - kA[index]!);
    }
    for (let at = 0; at < fast.length; at += 1) {
      const index = fast[at]!;
      const z = -h * rates[index]!;
      this.expand(z);
      x[index] = (1 + z * phi[0]!) * xA[index]! + h * phi[0]! * (2 * n2[index]! - n1[index]!);
    }
    this.sweep();
    this.slope();
    if (this.isBooking) this.closeBooks();
    for (let at = 0; at < fast.length; at += 1) n3[fast[at]!] = dx[fast[at]!]! + rates[fast[at]!]! * x[fast[at]!]!;
    for (let index = 0; index < stateCount; index += 1) {
      x[index] = xA[index]! + h * ((1 / 6) * kA[index]! + (2 / 3) * k2[index]! + (1 / 6) * dx[index]!);
      xB[index] = x[index]!;
    }
    for (let at = 0; at < fast.length; at += 1) {
      x[fast[at]!] = this.expansion(fast[at]!, 1);
      xB[fast[at]!] = x[fast[at]!]!;
    }
    this.sweep();
    this.slope();
    if (this.isBooking) this.bookRateB.set(this.bookRates);
    let worst = 0;
    for (let index = 0; index < stateCount; index += 1) {
      kB[index] = dx[index]!;
      const change = rates[index]! > 0 ? this.bend(index) : (1 / 6) * (kA[index]! - 2 * k2[index]! + dx[index]!);
      const error = Math.abs(h * change) / (tolerance * (FLOOR_SHARE * scales[index]! + Math.abs(xB[index]!)));
      // Written so that a NaN counts as the worst.
      if (!(error <= worst)) worst = Number.isNaN(error) ? Number.POSITIVE_INFINITY : error;
    }
    for (let index = 0; index < this.excesses.length; index += 1) worst = Math.max(worst, this.excesses[index]!());
    this.attempted[1] = worst;
  }

  /** The books of a step by the same third-order rule; `book2` and `book3` hold the rates of its first two stages. */
  private closeBooks(): void {
    const h = this.attempted[0]!;
    for (let index = 0; index < this.bookCount; index += 1) {
      this.bookB[index] =
        this.bookA[index]! +
        h * ((1 / 6) * this.book2[index]! + (2 / 3) * this.book3[index]! + (1 / 6) * this.bookRates[index]!);
    }
  }

  /** A fast state at a share of the step under way: what it falls back from, and the rest of its slope as a parabola. */
  private expansion(index: number, share: number): number {
    const { phi } = this;
    const h = this.attempted[0]!;
    const z = -h * share * this.rates[index]!;
    this.expand(z);
    const first = this.n1[index]!;
    const turn = 4 * this.n2[index]! - 3 * first - this.n3[index]!;
    const bow = 2 * (first - 2 * this.n2[index]! + this.n3[index]!);
    return (
      (1 + z * phi[0]!) * this.xA[index]! +
      h * share * (phi[0]! * first + share * (phi[1]! * turn + 2 * share * phi[2]! * bow))
    );
  }

  /** By how much a fast state's slope may be off: the bend of the rest of it, as it works on the state. */
  private bend(index: number): number {
    this.expand(-this.attempted[0]! * this.rates[index]!);
    const last = this.kB[index]! + this.rates[index]! * this.xB[index]!;
    return this.phi[2]! * (this.n1[index]! - 2 * this.n2[index]! + last);
  }

  /** phi1 = (e^z - 1) / z, phi2 = (phi1 - 1) / z, phi3 = (phi2 - 1/2) / z, for z not above 0. */
  private expand(z: number): void {
    const { phi } = this;
    if (z > -SERIES_BELOW) {
      phi[2] = 1 / 6 + z * (1 / 24 + z * (1 / 120 + z * (1 / 720 + z * (1 / 5040 + z / 40320))));
      phi[1] = 0.5 + z * phi[2]!;
      phi[0] = 1 + z * phi[1]!;
      return;
    }
    phi[0] = Math.expm1(z) / z;
    phi[1] = (phi[0]! - 1) / z;
    phi[2] = (phi[1]! - 0.5) / z;
  }

  private sweep(): void {
    const { draws, feeds, loops, guesses, values, leaning, used } = this;
    for (let index = 0; index < loops.length; index += 1) values[loops[index]!] = guesses[index]!;
    for (let round = 0; round < LOOP_ROUNDS; round += 1) {
      leaning[0] = 0;
      for (let index = 0; index < loops.length; index += 1) used[index] = values[loops[index]!]!;
      for (let index = 0; index < draws.length; index += 1) draws[index]!();
      for (let index = 0; index < feeds.length; index += 1) feeds[index]!();
      if (leaning[0] === 0) return;
      let moved = 0;
      for (let index = 0; index < loops.length; index += 1) {
        const value = values[loops[index]!]!;
        moved = Math.max(moved, Math.abs(value - used[index]!) / (1 + Math.abs(value)));
      }
      if (!(moved > LOOP_TOLERANCE)) return;
    }
  }

  private slope(): void {
    const { slopes } = this;
    for (let index = 0; index < slopes.length; index += 1) slopes[index]!();
  }

  private interpolate(seconds: number): void {
    const { x, xA, xB, kA, kB, instants, stateCount } = this;
    const h = instants[1]! - instants[0]!;
    if (h <= 0) return;
    const s = (seconds - instants[0]!) / h;
    const a = (1 + 2 * s) * (1 - s) * (1 - s);
    const b = s * s * (3 - 2 * s);
    const c = s * (1 - s) * (1 - s) * h;
    const d = s * s * (s - 1) * h;
    for (let index = 0; index < stateCount; index += 1)
      x[index] = a * xA[index]! + b * xB[index]! + c * kA[index]! + d * kB[index]!;
    this.attempted[0] = h;
    for (let at = 0; at < this.fast.length; at += 1) x[this.fast[at]!] = this.expansion(this.fast[at]!, s);
    if (!this.isBooking) return;
    const { books, bookA, bookB, book2, bookRateB, bookCount } = this;
    for (let index = 0; index < bookCount; index += 1)
      books[index] = a * bookA[index]! + b * bookB[index]! + c * book2[index]! + d * bookRateB[index]!;
  }

  private reportBlowUp(): never {
    const index = this.xB.findIndex((value, at) => !Number.isFinite(value) || !Number.isFinite(this.kB[at]));
    const member = [...this.members].reverse().find(({ base }) => base <= Math.max(index, 0));
    throw new NumericalBlowUp(
      member?.part ?? 'the bench',
      member?.flow.states[index - member.base]?.name ?? 'state',
      this.instants[0]!,
    );
  }

  save(): readonly Float64Array[] {
    return [...this.arrays(), Float64Array.of(this.isDisturbed ? 1 : 0, this.isRough ? 1 : 0)].map((array) =>
      array.slice(),
    );
  }

  restore(saved: readonly Float64Array[]): void {
    const arrays = this.arrays();
    arrays.forEach((array, index) => {
      array.set(saved[index]!);
    });
    this.isDisturbed = saved[arrays.length]![0] === 1;
    this.isRough = saved[arrays.length]![1] === 1;
    // Signals are recomputed when somebody asks.
    this.instants[3] = -1;
  }

  private arrays(): readonly Float64Array[] {
    const { x, books, xA, kA, xB, kB, bookA, bookB, book2, bookRateB, guesses, instants, rates, n1, n2, n3 } = this;
    return [x, books, xA, kA, xB, kB, bookA, bookB, book2, bookRateB, guesses, instants, rates, n1, n2, n3];
  }
}
