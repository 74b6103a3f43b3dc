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
 * Method: Kutta's third-order rule with error control, in its exponential form for pairs of states that work on each other
 * quickly (Cox and Matthews, J. Comput. Phys. 176, 2002, ETD3RK). The design named RK4 with a bounded step; a motor's
 * current settles in a millisecond, its bare shaft in ten, and both then follow the vehicle for seconds: any rule without
 * the exponential would have to go on in milliseconds. The linear part of a pair's slopes is measured on the network
 * itself; off by a half, the rule still holds. A step runs ahead of the present on the assumption that no event comes;
 * between its ends states are read from the cubic Hermite polynomial, or pairs from the rule's own expansion where that
 * says more; an event that changes an input starts a new step from the present. A step that passes a limit of a part ends where the limit is met. Hot path; see test/speed/power.bench.ts.
 */
import { Ledger } from './ledger.ts';
import { MATRIX_SIZE } from './pair-functions.ts';
import { BETWEEN, Pairs } from './pairs.ts';
import type { Flow } from './part.ts';
import { Room } from './room.ts';

/** Number of states and of books (running integrals that feed nothing back) that one bench may have. */
const CAPACITY = 192;
/** What a vector is until it is known how many states there are. */
const NONE = new Float64Array(0);
/** Error allowed a step, as a share of a state's value and of a tenth of its scale. */
const TOLERANCE = 1e-5;
const FLOOR_SHARE = 0.1;
const LEAST_STEP_SECONDS = 1e-7;
const MOST_STEP_SECONDS = 0.1;
const FIRST_STEP_SECONDS = 1e-4;
/** What an event has changed is followed by a step of at most this share of the longest: what comes is not known yet. */
const AFTER_CUT_SHARE = 0.05;
/** Sweeps are repeated until a voltage that somebody leaned on moves less than this share, or so often. */
const LOOP_TOLERANCE = 1e-7;
const LOOP_ROUNDS = 24;
/** Change of a paired state, as a share of its scale, by which the linear part of the slopes is measured. */
const PROBE_SHARE = 1e-5;
/** What is measured by whole and by half of that change differs by no more than this share where the slope is smooth. */
const SMOOTH_SHARE = 0.1;
/** A limit that a step passes is met with half the excess that is allowed, as nearly as so many looks bring it. */
const MIDDLE_EXCESS = 0.5;
const SEEK_ROUNDS = 40;
/** Differences of slopes below this share of the slope are those of rounding. */
const ROUNDING_SHARE = 1e-10;
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

/** Told of each step when it begins and when it is planned; it may look at a planned step, and changes nothing. */
export interface StepWatcher {
  /** The signals stand at the present instant, where a step begins. `isNew`: not as they stood at the end of the one before. */
  turned(isNew: boolean): void;
  /** The signals stand at the end of the planned step. */
  planned(): void;
}

export class Continuum {
  /** Present states and their slopes while parts evaluate; running sums of all parts likewise. */
  readonly x: Float64Array;
  readonly dx: Float64Array;
  readonly ledger: Ledger;
  /** Length of the stretch that a part settles, in seconds. */
  readonly elapsed = new Float64Array(1);
  stateCount = 0;
  watcher: StepWatcher | undefined;
  /** Set to 1 by a draw whose result hangs on one of the signals in its `loops`. */
  readonly leaning = new Uint8Array(1);
  /** How far parts are beyond their limits: see `Flow.excess`. */
  readonly excess = new Float64Array(1);

  private readonly members: Member[] = [];
  private readonly scales: Float64Array;
  private readonly draws: (() => void)[] = [];
  private readonly feeds: (() => void)[] = [];
  private readonly slopes: (() => void)[] = [];
  private readonly settles: (() => boolean)[] = [];
  private readonly excesses: (() => void)[] = [];
  /** First of the two states of each pair. */
  private readonly firsts: number[] = [];
  /** Signals that draws read before they are fed, and what they were at the start of the step under way. */
  private loops: number[] = [];
  private guesses: Float64Array = NONE;
  private used: Float64Array = NONE;
  private readonly values: Float64Array;
  private readonly tolerance: number;
  private readonly mostSeconds: number;
  /** Start (A) and end (B) of the step under way: states and slopes. */
  private xA: Float64Array = NONE;
  private kA: Float64Array = NONE;
  private xB: Float64Array = NONE;
  private kB: Float64Array = NONE;
  private k2: Float64Array = NONE;
  /** End and slope there of states outside pairs, without what the pairs do to them. */
  private restB: Float64Array = NONE;
  private restSlopeB: Float64Array = NONE;
  /** Changes of the other states' slopes when all firsts, or all seconds, of pairs are moved a little, and by half of that. */
  private byFirst: Float64Array = NONE;
  private bySecond: Float64Array = NONE;
  private byHalf: Float64Array = NONE;
  private doubt: Float64Array = NONE;
  private allowed: Float64Array = NONE;
  /** Share of the step under way that was interpolated last: in an array, so that it is not boxed. */
  private readonly share = new Float64Array(1);
  private pairs: Pairs;
  /** [start, end, next step to try, instant that `x` and the signals stand at, end of the last settled stretch] in seconds. */
  readonly instants = Float64Array.of(0, 0, FIRST_STEP_SECONDS, -1, 0);
  /** The step that is tried, in seconds, and its error: in an array, so that neither is boxed. */
  private readonly attempted = new Float64Array(2);
  private isDisturbed = true;
  /** A step was refused: the linear part of the pairs may no longer be true. */
  private isRough = true;

  private readonly room: Room;

  /** `values` are those of all signals of the bench. */
  constructor(values: Float64Array, limits: StepLimits = STEP_LIMITS, room: Room = new Room()) {
    this.values = values;
    this.room = room;
    this.x = room.doubles(CAPACITY);
    this.dx = room.doubles(CAPACITY);
    this.scales = room.doubles(CAPACITY);
    this.ledger = new Ledger(CAPACITY, room);
    this.tolerance = limits.tolerance;
    this.mostSeconds = limits.mostSeconds;
    this.pairs = this.pairsNow();
  }

  get isEmpty(): boolean {
    return this.members.length === 0;
  }

  /** Enters a part, in rank order; returns where its states and books begin. */
  join(part: string, flow: Flow): { readonly state: number; readonly book: number } {
    const place = { state: this.stateCount, book: this.ledger.count };
    flow.states.forEach(({ start, scale, isPairedWithNext }, index) => {
      if (isPairedWithNext === true) this.firsts.push(place.state + index);
      this.x[place.state + index] = start;
      this.scales[place.state + index] = scale;
    });
    this.stateCount += flow.states.length;
    this.ledger.count += flow.bookCount ?? 0;
    if (this.stateCount > CAPACITY || this.ledger.count > CAPACITY)
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

  /** All parts have joined: makes room for a step of their states, and no more, since a campaign does it for every run. */
  close(): void {
    const { stateCount, loops, room } = this;
    const vector = (): Float64Array => room.doubles(stateCount);
    this.guesses = room.doubles(loops.length);
    this.used = room.doubles(loops.length);
    this.xA = vector();
    this.kA = vector();
    this.xB = vector();
    this.kB = vector();
    this.k2 = vector();
    this.restB = vector();
    this.restSlopeB = vector();
    this.byFirst = vector();
    this.bySecond = vector();
    this.byHalf = vector();
    this.doubt = vector();
    this.allowed = vector();
    this.pairs = this.pairsNow();
  }

  private pairsNow(): Pairs {
    const { x, dx, xA, kA, xB, kB, k2, allowed, attempted, scales, firsts, stateCount, room } = this;
    const sizes = room.doubles(stateCount);
    for (let index = 0; index < stateCount; index += 1) sizes[index] = PROBE_SHARE * firsts.length * scales[index]!;
    return new Pairs(firsts, sizes, { x, dx, xA, kA, xB, kB, k2, allowed, attempted }, room);
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
    const { x, xA, xB, instants, stateCount } = this;
    for (let index = 0; index < stateCount; index += 1) {
      xA[index] = x[index]!;
      xB[index] = x[index]!;
    }
    this.kA.fill(0);
    this.kB.fill(0);
    this.ledger.jump();
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

  /** A step is planned that is still true. */
  get isUnderWay(): boolean {
    return !this.isDisturbed && this.instants[1]! > this.instants[0]!;
  }

  /** Brings states and flowing signals to a place of the step under way, in parts of its length. */
  lookAhead(part: number, parts: number): void {
    const { instants } = this;
    this.interpolate(instants[0]! + ((instants[1]! - instants[0]!) * part) / parts);
    this.sweep();
    instants[3] = -1;
  }

  /** Ends a step (or cuts it short at `now`), lets the parts settle, and computes the next one; its end is `instants[1]`. */
  advance(now: Float64Array): void {
    const { x, dx, xA, kA, xB, kB, instants, stateCount } = this;
    const seconds = now[0]!;
    const isWhole = !this.isDisturbed && seconds === instants[1];
    if (isWhole) {
      for (let index = 0; index < stateCount; index += 1) x[index] = xB[index]!;
      if (this.ledger.isKept) this.ledger.end();
    } else {
      this.interpolate(seconds);
    }
    this.sweep();
    instants[3] = seconds;
    this.elapsed[0] = seconds - instants[4]!;
    instants[4] = seconds;
    let hasJumped = false;
    for (let index = 0; index < this.settles.length; index += 1) hasJumped = this.settles[index]!() || hasJumped;
    const isNew = hasJumped || !isWhole;
    if (isNew) {
      this.sweep();
      this.slope();
      for (let index = 0; index < stateCount; index += 1) kA[index] = dx[index]!;
    } else {
      for (let index = 0; index < stateCount; index += 1) kA[index] = kB[index]!;
      for (let at = 0; at < this.pairs.firsts.length; at += 1) this.pairs.nudge(at);
    }
    for (let index = 0; index < stateCount; index += 1) xA[index] = x[index]!;
    if (this.ledger.isKept) this.ledger.begin();
    for (let index = 0; index < this.loops.length; index += 1) this.guesses[index] = this.values[this.loops[index]!]!;
    this.isDisturbed = false;
    instants[0] = seconds;
    if (!isWhole) instants[2] = Math.min(instants[2]!, this.mostSeconds * AFTER_CUT_SHARE);
    if (this.watcher !== undefined) this.watcher.turned(isNew);
    if (isNew || this.isRough) this.measurePairs();
    this.plan();
    if (this.watcher !== undefined) this.watcher.planned();
  }

  /**
   * The linear part of the slopes at A, where the slopes are in `kA`: what moving all firsts, then all seconds, of pairs a
   * little changes in the pairs' own slopes and in those of the other states. They are moved by half of that as well: a
   * slope that breaks off between the two (a wheel that stands) has no linear part, and one taken there would hold the
   * state where it is.
   */
  private measurePairs(): void {
    const { scales, stateCount, byFirst, bySecond, byHalf, doubt, kA } = this;
    const { firsts, matrix } = this.pairs;
    this.isRough = false;
    if (firsts.length === 0) return;
    for (let side = 0; side < 2; side += 1) {
      const changes = side === 0 ? byFirst : bySecond;
      this.probe(side, 0.5 * PROBE_SHARE, byHalf);
      this.probe(side, PROBE_SHARE, changes);
      for (let index = 0; index < stateCount; index += 1)
        doubt[index] = (side === 0 ? 0 : doubt[index]!) + Math.abs(changes[index]! - 2 * byHalf[index]!);
    }
    for (let index = 0; index < stateCount; index += 1) {
      const size = Math.abs(byFirst[index]!) + Math.abs(bySecond[index]!);
      // Written so that a NaN counts as rough.
      if (doubt[index]! <= SMOOTH_SHARE * size + ROUNDING_SHARE * Math.abs(kA[index]!)) continue;
      byFirst[index] = 0;
      bySecond[index] = 0;
    }
    for (let at = 0; at < firsts.length; at += 1) {
      for (let row = 0; row < 2; row += 1) {
        const index = firsts[at]! + row;
        const own = row === 0 ? byFirst[index]! : bySecond[index]!;
        const entry = MATRIX_SIZE * at + 2 * row;
        matrix[entry] = own <= 0 ? byFirst[index]! / (PROBE_SHARE * scales[firsts[at]!]!) : 0;
        matrix[entry + 1] = own <= 0 ? bySecond[index]! / (PROBE_SHARE * scales[firsts[at]! + 1]!) : 0;
      }
    }
    for (let at = 0; at < firsts.length; at += 1) {
      byFirst.fill(0, firsts[at]!, firsts[at]! + 2);
      bySecond.fill(0, firsts[at]!, firsts[at]! + 2);
    }
  }

  /** Changes of all slopes when the first (0) or second (1) states of all pairs are moved by a share of their scales. */
  private probe(side: number, share: number, changes: Float64Array): void {
    const { x, dx, xA, kA, scales, stateCount } = this;
    const { firsts } = this.pairs;
    for (let index = 0; index < stateCount; index += 1) x[index] = xA[index]!;
    for (let at = 0; at < firsts.length; at += 1) x[firsts[at]! + side]! += share * scales[firsts[at]! + side]!;
    this.sweep();
    this.slope();
    for (let index = 0; index < stateCount; index += 1) changes[index] = dx[index]! - kA[index]!;
  }

  private plan(): void {
    const { instants, pairs } = this;
    let h = Math.min(instants[2]!, this.mostSeconds);
    let nextSeconds = 0;
    for (;;) {
      this.attempted[0] = h;
      this.attempt();
      const error = this.attempted[1]!;
      if (error <= 1 || h <= LEAST_STEP_SECONDS) {
        if (!(error < Number.POSITIVE_INFINITY)) this.reportBlowUp();
        // The third root of the error says how much longer the next step may be; 0.9 for safety.
        nextSeconds = Math.max(nextSeconds, h * Math.min(4, 0.9 / Math.cbrt(Math.max(error, 1e-3))));
        if (h > LEAST_STEP_SECONDS && this.passesLimit()) {
          const share = this.limitShare();
          if (share < 1) {
            h = Math.max(LEAST_STEP_SECONDS, share * h);
            continue;
          }
        }
        instants[1] = instants[0]! + h;
        instants[2] = nextSeconds;
        instants[3] = -1;
        for (let at = 0; at < pairs.firsts.length; at += 1) pairs.markBent(at);
        if (this.ledger.isKept) this.closeLedger();
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
    const { x, dx, xA, xB, kA, kB, k2, scales, stateCount, tolerance, allowed, byFirst, bySecond, pairs } = this;
    const { restB, restSlopeB } = this;
    const { moved, isPaired } = pairs;
    const pairCount = pairs.firsts.length;
    // Other states follow the pairs by the pairs' integrals; what is left of their slopes goes by the rule.
    pairs.open();
    moved.fill(0);
    for (let at = 0; at < pairCount; at += 1) pairs.start(at);
    for (let index = 0; index < stateCount; index += 1)
      if (isPaired[index] === 0)
        x[index] = xA[index]! + 0.5 * h * kA[index]! + moved[2]! * byFirst[index]! + moved[3]! * bySecond[index]!;
    this.sweep();
    this.slope();
    moved.fill(0);
    for (let at = 0; at < pairCount; at += 1) pairs.note(at, pairs.middle);
    for (let index = 0; index < stateCount; index += 1)
      k2[index] = dx[index]! - moved[0]! * byFirst[index]! - moved[1]! * bySecond[index]!;
    for (let at = 0; at < pairCount; at += 1) pairs.reach(at);
    for (let index = 0; index < stateCount; index += 1)
      if (isPaired[index] === 0)
        x[index] =
          xA[index]! + h * (2 * k2[index]! - kA[index]!) + moved[2]! * byFirst[index]! + moved[3]! * bySecond[index]!;
    this.sweep();
    this.slope();
    moved.fill(0);
    for (let at = 0; at < pairCount; at += 1) pairs.note(at, pairs.end);
    const first = moved[0]!;
    const second = moved[1]!;
    for (let at = 0; at < pairCount; at += 1) pairs.close(at);
    for (let index = 0; index < stateCount; index += 1) {
      if (isPaired[index] === 0) {
        const k3 = dx[index]! - first * byFirst[index]! - second * bySecond[index]!;
        restB[index] = xA[index]! + h * ((1 / 6) * kA[index]! + (2 / 3) * k2[index]! + (1 / 6) * k3);
        x[index] = restB[index]! + moved[2]! * byFirst[index]! + moved[3]! * bySecond[index]!;
      }
      xB[index] = x[index]!;
    }
    this.sweep();
    this.slope();
    moved.fill(0);
    for (let at = 0; at < pairCount; at += 1) pairs.note(at, pairs.end);
    for (let index = 0; index < stateCount; index += 1) {
      kB[index] = dx[index]!;
      const rest = dx[index]! - moved[0]! * byFirst[index]! - moved[1]! * bySecond[index]!;
      restSlopeB[index] = rest;
      k2[index] = (1 / 6) * (kA[index]! - 2 * k2[index]! + rest);
    }
    for (let at = 0; at < pairCount; at += 1) pairs.bend(at);
    let worst = 0;
    for (let index = 0; index < stateCount; index += 1) {
      allowed[index] = tolerance * (FLOOR_SHARE * scales[index]! + Math.abs(xB[index]!));
      const error = Math.abs(h * k2[index]!) / allowed[index]!;
      // Written so that a NaN counts as the worst.
      if (!(error <= worst)) worst = Number.isNaN(error) ? Number.POSITIVE_INFINITY : error;
    }
    this.attempted[1] = worst;
  }

  /** Brings `excess[0]` to how far the parts are beyond their limits with the present states and signals; above 1 is too far. */
  private measureExcess(): void {
    const { excesses } = this;
    this.excess[0] = Number.NEGATIVE_INFINITY;
    for (let index = 0; index < excesses.length; index += 1) excesses[index]!();
  }

  /** The step just tried passes a limit: at its end, or on the way there and back. Leaves states standing at its end. */
  private passesLimit(): boolean {
    if (this.excesses.length === 0) return false;
    this.measureExcess();
    if (this.excess[0]! > 1) return true;
    const { x, xB, stateCount, pairs } = this;
    let isPassed = false;
    for (let quarter = 1; quarter < 4 && !isPassed; quarter += 1) {
      // A look need not be exact: signals stay as they are at the end, and what follows the pairs is left to the polynomial.
      this.share[0] = quarter / 4;
      this.placeByPolynomial();
      pairs.lengths[BETWEEN] = this.share[0] * this.attempted[0]!;
      for (let at = 0; at < pairs.firsts.length; at += 1) pairs.placeBetween(at);
      this.measureExcess();
      isPassed = this.excess[0]! > 1;
    }
    for (let index = 0; index < stateCount; index += 1) x[index] = xB[index]!;
    return isPassed;
  }

  /**
   * Share of the step just tried at which the first limit is met: its excess there lies between none and what is allowed.
   * The middle of that is sought by the secant (in its Illinois form), which is halved where it does not come nearer.
   */
  private limitShare(): number {
    let low = 0;
    let lowBy = this.beyondAt(0);
    if (lowBy > MIDDLE_EXCESS) return 0;
    let high = 0;
    let highBy = lowBy;
    for (let quarter = 1; quarter <= 4; quarter += 1) {
      high = quarter / 4;
      highBy = this.beyondAt(high);
      if (highBy > MIDDLE_EXCESS) break;
      low = high;
      lowBy = highBy;
    }
    // Looked at closely, nothing was passed.
    if (highBy <= MIDDLE_EXCESS) return 1;
    for (let round = 0; round < SEEK_ROUNDS; round += 1) {
      const isHalved = (round & 3) === 3 || lowBy === Number.NEGATIVE_INFINITY;
      const share = isHalved ? 0.5 * (low + high) : (low * highBy - high * lowBy) / (highBy - lowBy);
      const by = this.beyondAt(share);
      if (Math.abs(by) < MIDDLE_EXCESS) return share;
      if (by > 0) {
        high = share;
        highBy = by;
        lowBy *= 0.5;
      } else {
        low = share;
        lowBy = by;
        highBy *= 0.5;
      }
    }
    return low;
  }

  /** Excess at a share of the step just tried, less the middle of what is allowed. */
  private beyondAt(share: number): number {
    this.share[0] = share;
    this.placeBetween();
    this.sweep();
    this.measureExcess();
    return this.excess[0]! - MIDDLE_EXCESS;
  }

  /** States at `share[0]` of the step just tried: pairs by the rule's own expansion, the others as they follow them. */
  private placeBetween(): void {
    const share = this.share[0]!;
    const { x, xA, kA, restB, restSlopeB, stateCount, pairs, byFirst, bySecond } = this;
    const { moved, isPaired } = pairs;
    const h = this.attempted[0]!;
    pairs.lengths[BETWEEN] = share * h;
    moved.fill(0);
    for (let at = 0; at < pairs.firsts.length; at += 1) {
      pairs.placeBetween(at);
      pairs.gatherBetween(at);
    }
    for (let index = 0; index < stateCount; index += 1) {
      if (isPaired[index] === 1) continue;
      const rest = cubicAt(share, h, xA[index]!, restB[index]!, kA[index]!, restSlopeB[index]!);
      x[index] = rest + moved[2]! * byFirst[index]! + moved[3]! * bySecond[index]!;
    }
  }

  /** States at `share[0]` of the step just tried by the cubic polynomial, which tells all but bent pairs and what follows them. */
  private placeByPolynomial(): void {
    const { x, xA, xB, kA, kB, stateCount } = this;
    const share = this.share[0]!;
    const h = this.attempted[0]!;
    for (let index = 0; index < stateCount; index += 1)
      x[index] = cubicAt(share, h, xA[index]!, xB[index]!, kA[index]!, kB[index]!);
  }

  /** Sums up the planned step; leaves states and signals standing at its end. */
  private closeLedger(): void {
    this.ledger.close(this.attempted, this.evaluateAt);
    this.lookAhead(1, 1);
  }

  private readonly evaluateAt = (share: Float64Array): void => {
    const { instants } = this;
    this.interpolate(instants[0]! + (instants[1]! - instants[0]!) * share[0]!);
    this.sweep();
    this.slope();
  };

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
    const { instants, pairs, share } = this;
    const h = instants[1]! - instants[0]!;
    if (h <= 0) return;
    this.attempted[0] = h;
    share[0] = (seconds - instants[0]!) / h;
    if (pairs.isAnyBent()) this.placeBetween();
    else this.placeByPolynomial();
    if (this.ledger.isKept) this.ledger.place(share);
  }

  /** Names the state that ran away the fastest among those that are no longer numbers. */
  private reportBlowUp(): never {
    const { xB, kA, kB, scales, stateCount } = this;
    let index = -1;
    let fastest = -1;
    for (let state = 0; state < stateCount; state += 1) {
      if (Number.isFinite(xB[state]!) && Number.isFinite(kB[state]!)) continue;
      const pace = Number.isNaN(kA[state]!) ? Number.POSITIVE_INFINITY : Math.abs(kA[state]!) / scales[state]!;
      if (pace <= fastest) continue;
      index = state;
      fastest = pace;
    }
    const member = [...this.members].reverse().find(({ base }) => base <= Math.max(index, 0));
    throw new NumericalBlowUp(
      member?.part ?? 'the bench',
      member?.flow.states[index - member.base]?.name ?? 'state',
      this.instants[0]!,
    );
  }

  save(): readonly Float64Array[] {
    const flags = Float64Array.of(this.isDisturbed ? 1 : 0, this.isRough ? 1 : 0);
    return [...[...this.arrays(), flags].map((array) => array.slice()), ...this.ledger.save()];
  }

  restore(saved: readonly Float64Array[]): void {
    const arrays = this.arrays();
    arrays.forEach((array, index) => {
      array.set(saved[index]!);
    });
    this.isDisturbed = saved[arrays.length]![0] === 1;
    this.isRough = saved[arrays.length]![1] === 1;
    this.ledger.restore(saved.slice(arrays.length + 1));
    // Signals are recomputed when somebody asks.
    this.instants[3] = -1;
  }

  private arrays(): readonly Float64Array[] {
    const { x, xA, kA, xB, kB, restB, restSlopeB, guesses, instants, byFirst, bySecond } = this;
    const { matrix, turn, bow, isBent } = this.pairs;
    return [x, xA, kA, xB, kB, restB, restSlopeB, guesses, instants, byFirst, bySecond, matrix, turn, bow, isBent];
  }
}

/** The cubic polynomial with these values and slopes at both ends of a step of h seconds, at a share of it (Hermite). */
function cubicAt(s: number, h: number, start: number, end: number, slope: number, endSlope: number): number {
  const rest = 1 - s;
  return (1 + 2 * s) * rest * rest * start + s * s * (3 - 2 * s) * end + s * rest * h * (rest * slope - s * endSlope);
}
