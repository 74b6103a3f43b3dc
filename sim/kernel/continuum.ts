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
 * says more; an event that changes an input starts a new step from the present. Hot path; see test/speed/power.bench.ts.
 */
import { expandPair, MATRIX_SIZE, PHI_SIZE } from './pairs.ts';
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
/** Books of a step are summed over more and more parts until the sum moves by no more than this share of itself. */
const BOOK_TOLERANCE = 1e-5;
const BOOK_PARTS = 64;
/** Places in `lengths`. */
const HALF = 0;
const WHOLE = 1;
const BETWEEN = 2;
/** Change of a paired state, as a share of its scale, by which the linear part of the slopes is measured. */
const PROBE_SHARE = 1e-5;
/** What is measured by whole and by half of that change differs by no more than this share where the slope is smooth. */
const SMOOTH_SHARE = 0.1;
/** Differences of slopes below this share of the slope are those of rounding. */
const ROUNDING_SHARE = 1e-10;
/** A pair that the cubic polynomial tells no worse than so many allowed errors in the middle of a step is read from it. */
const STRAIGHT_ERRORS = 4;

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
  watcher: StepWatcher | undefined;
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
  /** Start (A) and end (B) of the step under way: states, slopes and books. */
  private readonly xA = new Float64Array(CAPACITY);
  private readonly kA = new Float64Array(CAPACITY);
  private readonly xB = new Float64Array(CAPACITY);
  private readonly kB = new Float64Array(CAPACITY);
  private readonly k2 = new Float64Array(CAPACITY);
  /** Number of the first state of each pair; the linear part of its slopes, and the functions of that for half and whole step. */
  private readonly pairs: number[] = [];
  private readonly matrix = new Float64Array(2 * CAPACITY);
  private readonly phiHalf = new Float64Array(4 * CAPACITY);
  private readonly phiWhole = new Float64Array(4 * CAPACITY);
  /** The rest of a paired state's slope over the step: start + turn x share + bow x share^2, less what it starts with. */
  private readonly turn = new Float64Array(CAPACITY);
  private readonly bow = new Float64Array(CAPACITY);
  /** What the rest of the slope has changed by in the middle and at the end of the step. */
  private readonly middle = new Float64Array(CAPACITY);
  private readonly end = new Float64Array(CAPACITY);
  private readonly isPaired = new Uint8Array(CAPACITY);
  /** 1 for a pair that the cubic polynomial does not tell well between the ends of the step. */
  private readonly isBent = new Float64Array(CAPACITY);
  /** Changes of the other states' slopes when all firsts, or all seconds, of pairs are moved a little, and by half of that. */
  private readonly byFirst = new Float64Array(CAPACITY);
  private readonly bySecond = new Float64Array(CAPACITY);
  private readonly byHalf = new Float64Array(CAPACITY);
  private readonly doubt = new Float64Array(CAPACITY);
  /** Latest [sum over the pairs of how far their first and second states have moved since A, and of its integral], in such moves. */
  private readonly moved = new Float64Array(4);
  private readonly phi = new Float64Array(PHI_SIZE);
  /** Seconds: half and whole of the step that is tried, and up to a place within the one under way. */
  private readonly lengths = new Float64Array(3);
  /** A paired state counts as moved once in `moved` by this much: the probe's move, times the number of pairs. */
  private readonly sizes = new Float64Array(CAPACITY);
  private readonly bookA = new Float64Array(CAPACITY);
  private readonly bookB = new Float64Array(CAPACITY);
  /** Books in places of the step that lie evenly in the square root of time: what came together since A, and its slopes. */
  private bookPath = new Float64Array(0);
  private bookSlopes = new Float64Array(0);
  private readonly bookStride = new Float64Array([1]);
  /** [start, end, next step to try, instant that `x` and the signals stand at, end of the last settled stretch] in seconds. */
  readonly instants = new Float64Array([0, 0, FIRST_STEP_SECONDS, -1, 0]);
  /** The step that is tried, in seconds, and its error: in an array, so that neither is boxed. */
  private readonly attempted = new Float64Array(2);
  private isDisturbed = true;
  /** A step was refused: the linear part of the pairs may no longer be true. */
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
    flow.states.forEach(({ start, scale, isPairedWithNext }, index) => {
      if (isPairedWithNext === true) {
        this.pairs.push(place.state + index);
        this.isPaired.fill(1, place.state + index, place.state + index + 2);
      }
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
    for (let index = 0; index < this.stateCount; index += 1)
      this.sizes[index] = PROBE_SHARE * this.pairs.length * this.scales[index]!;
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
    const isNew = hasJumped || !isWhole;
    if (isNew) {
      this.sweep();
      this.slope();
      this.kA.set(this.dx);
    } else {
      this.kA.set(this.kB);
      for (let at = 0; at < this.pairs.length; at += 1) this.nudgePair(at);
    }
    this.xA.set(x);
    if (this.isBooking) this.bookA.set(this.books);
    for (let index = 0; index < this.loops.length; index += 1) this.guesses[index] = this.values[this.loops[index]!]!;
    this.isDisturbed = false;
    instants[0] = seconds;
    if (!isWhole) instants[2] = Math.min(instants[2]!, FIRST_STEP_SECONDS * 5);
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
    const { pairs, matrix, scales, stateCount, byFirst, bySecond, byHalf, doubt, kA } = this;
    this.isRough = false;
    if (pairs.length === 0) return;
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
    for (let at = 0; at < pairs.length; at += 1) {
      for (let row = 0; row < 2; row += 1) {
        const index = pairs[at]! + row;
        const own = row === 0 ? byFirst[index]! : bySecond[index]!;
        const entry = MATRIX_SIZE * at + 2 * row;
        matrix[entry] = own <= 0 ? byFirst[index]! / (PROBE_SHARE * scales[pairs[at]!]!) : 0;
        matrix[entry + 1] = own <= 0 ? bySecond[index]! / (PROBE_SHARE * scales[pairs[at]! + 1]!) : 0;
      }
    }
    for (let at = 0; at < pairs.length; at += 1) {
      byFirst.fill(0, pairs[at]!, pairs[at]! + 2);
      bySecond.fill(0, pairs[at]!, pairs[at]! + 2);
    }
  }

  /** Changes of all slopes when the first (0) or second (1) states of all pairs are moved by a share of their scales. */
  private probe(side: number, share: number, changes: Float64Array): void {
    const { x, dx, xA, kA, pairs, scales, stateCount } = this;
    for (let index = 0; index < stateCount; index += 1) x[index] = xA[index]!;
    for (let at = 0; at < pairs.length; at += 1) x[pairs[at]! + side]! += share * scales[pairs[at]! + side]!;
    this.sweep();
    this.slope();
    for (let index = 0; index < stateCount; index += 1) changes[index] = dx[index]! - kA[index]!;
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
        this.markBent();
        if (this.isBooking) this.closeBooks();
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
    const { x, dx, xA, xB, kA, kB, k2, scales, stateCount, tolerance, pairs, moved, byFirst, bySecond } = this;
    // Other states follow the pairs by the pairs' integrals; what is left of their slopes goes by the rule.
    moved.fill(0);
    this.lengths[HALF] = 0.5 * h;
    this.lengths[WHOLE] = h;
    for (let at = 0; at < pairs.length; at += 1) this.startPair(at);
    for (let index = 0; index < stateCount; index += 1)
      if (this.isPaired[index] === 0)
        x[index] = xA[index]! + 0.5 * h * kA[index]! + moved[2]! * byFirst[index]! + moved[3]! * bySecond[index]!;
    this.sweep();
    this.slope();
    moved.fill(0);
    for (let at = 0; at < pairs.length; at += 1) this.notePair(at, this.middle);
    for (let index = 0; index < stateCount; index += 1)
      k2[index] = dx[index]! - moved[0]! * byFirst[index]! - moved[1]! * bySecond[index]!;
    for (let at = 0; at < pairs.length; at += 1) this.reachPair(at);
    for (let index = 0; index < stateCount; index += 1)
      if (this.isPaired[index] === 0)
        x[index] =
          xA[index]! + h * (2 * k2[index]! - kA[index]!) + moved[2]! * byFirst[index]! + moved[3]! * bySecond[index]!;
    this.sweep();
    this.slope();
    moved.fill(0);
    for (let at = 0; at < pairs.length; at += 1) this.notePair(at, this.bow);
    const first = moved[0]!;
    const second = moved[1]!;
    for (let at = 0; at < pairs.length; at += 1) this.closePair(at);
    for (let index = 0; index < stateCount; index += 1) {
      if (this.isPaired[index] === 0) {
        const k3 = dx[index]! - first * byFirst[index]! - second * bySecond[index]!;
        x[index] =
          xA[index]! +
          h * ((1 / 6) * kA[index]! + (2 / 3) * k2[index]! + (1 / 6) * k3) +
          moved[2]! * byFirst[index]! +
          moved[3]! * bySecond[index]!;
      }
      xB[index] = x[index]!;
    }
    this.sweep();
    this.slope();
    moved.fill(0);
    for (let at = 0; at < pairs.length; at += 1) this.notePair(at, this.end);
    let worst = 0;
    for (let index = 0; index < stateCount; index += 1) {
      kB[index] = dx[index]!;
      const rest = dx[index]! - moved[0]! * byFirst[index]! - moved[1]! * bySecond[index]!;
      k2[index] = (1 / 6) * (kA[index]! - 2 * k2[index]! + rest);
    }
    for (let at = 0; at < pairs.length; at += 1) this.bendPair(at);
    for (let index = 0; index < stateCount; index += 1) {
      const error = Math.abs(h * k2[index]!) / (tolerance * (FLOOR_SHARE * scales[index]! + Math.abs(xB[index]!)));
      // Written so that a NaN counts as the worst.
      if (!(error <= worst)) worst = Number.isNaN(error) ? Number.POSITIVE_INFINITY : error;
    }
    for (let index = 0; index < this.excesses.length; index += 1) worst = Math.max(worst, this.excesses[index]!());
    this.attempted[1] = worst;
  }

  /**
   * The books along the planned step: their rates summed. A step may hold a whole transient, of which its three stages know
   * little. So the sum is refined until it stays, by Simpson's rule over the square root of time, as what is quick comes at
   * the start. Only where somebody reads the books: no step hangs on them. Leaves states and signals at the end of the step.
   */
  private closeBooks(): void {
    const { bookSlopes, bookRates, bookCount, bookB, bookA, bookStride } = this;
    const h = this.attempted[0]!;
    if (bookSlopes.length < (BOOK_PARTS + 1) * bookCount) {
      this.bookSlopes = new Float64Array((BOOK_PARTS + 1) * bookCount);
      this.bookPath = new Float64Array((BOOK_PARTS + 1) * bookCount);
      this.closeBooks();
      return;
    }
    for (let stride = BOOK_PARTS / 2; stride >= 1; stride /= 2) {
      for (let part = 0; part <= BOOK_PARTS; part += stride) {
        if (stride < BOOK_PARTS / 2 && part % (2 * stride) === 0) continue;
        const share = part / BOOK_PARTS;
        this.interpolate(this.instants[0]! + h * share * share);
        this.sweep();
        this.slope();
        for (let index = 0; index < bookCount; index += 1)
          bookSlopes[part * bookCount + index] = 2 * h * share * bookRates[index]!;
      }
      bookStride[0] = stride;
      this.sumBooks();
      let moved = 0;
      for (let index = 0; index < bookCount; index += 1) {
        const end = bookA[index]! + this.bookPath[BOOK_PARTS * bookCount + index]!;
        const size = 1e-9 + Math.abs(end - bookA[index]!);
        if (stride < BOOK_PARTS / 2) moved = Math.max(moved, Math.abs(end - bookB[index]!) / size);
        bookB[index] = end;
      }
      if (stride < BOOK_PARTS / 4 && moved <= BOOK_TOLERANCE) break;
    }
    this.lookAhead(1, 1);
  }

  /** From the slopes in each `bookStride[0]`th place what has come together up to there. */
  private sumBooks(): void {
    const { bookSlopes, bookPath, bookCount } = this;
    const stride = this.bookStride[0]!;
    const width = stride / BOOK_PARTS / 12;
    for (let index = 0; index < bookCount; index += 1) {
      let sum = 0;
      bookPath[index] = 0;
      for (let part = 0; part < BOOK_PARTS; part += 2 * stride) {
        const first = bookSlopes[part * bookCount + index]!;
        const middle = bookSlopes[(part + stride) * bookCount + index]!;
        const last = bookSlopes[(part + 2 * stride) * bookCount + index]!;
        bookPath[(part + stride) * bookCount + index] = sum + width * (5 * first + 8 * middle - last);
        sum += 4 * width * (first + 4 * middle + last);
        bookPath[(part + 2 * stride) * bookCount + index] = sum;
      }
    }
  }

  /** The books at a share of the step under way. */
  private placeBooks(share: number): void {
    const { books, bookA, bookSlopes, bookPath, bookCount } = this;
    const stride = this.bookStride[0]!;
    const place = Math.sqrt(Math.max(0, share)) * BOOK_PARTS;
    const from = Math.min(Math.floor(place / stride) * stride, BOOK_PARTS - stride) * bookCount;
    const to = from + stride * bookCount;
    const s = (place * bookCount - from) / (stride * bookCount);
    const width = stride / BOOK_PARTS;
    const b = s * s * (3 - 2 * s);
    const c = s * (1 - s) * (1 - s) * width;
    const d = s * s * (s - 1) * width;
    for (let index = 0; index < bookCount; index += 1)
      books[index] =
        bookA[index]! +
        (1 - b) * bookPath[from + index]! +
        b * bookPath[to + index]! +
        c * bookSlopes[from + index]! +
        d * bookSlopes[to + index]!;
  }

  /** What a part has put right by a little at the end of a step, without calling it a jump, turns the pair's slopes by so much. */
  private nudgePair(at: number): void {
    const { x, xB, kA, matrix } = this;
    const index = this.pairs[at]!;
    const entry = MATRIX_SIZE * at;
    const u = x[index]! - xB[index]!;
    const w = x[index + 1]! - xB[index + 1]!;
    kA[index]! += matrix[entry]! * u + matrix[entry + 1]! * w;
    kA[index + 1]! += matrix[entry + 2]! * u + matrix[entry + 3]! * w;
  }

  /** To the middle of the step as if the rest of the slope stayed: x = A + h/2 phi1(h/2) slope. */
  private startPair(at: number): void {
    const { x, xA, kA, matrix, phiHalf, phiWhole, lengths, moved } = this;
    const h = this.attempted[0]!;
    const index = this.pairs[at]!;
    const entry = MATRIX_SIZE * at;
    const to = PHI_SIZE * at;
    expandPair(matrix, entry, lengths, HALF, phiHalf, to);
    expandPair(matrix, entry, lengths, WHOLE, phiWhole, to);
    const p = 0.5 * h * phiHalf[to]!;
    const q = 0.5 * h * phiHalf[to + 1]!;
    const u = kA[index]!;
    const w = kA[index + 1]!;
    const throughU = matrix[entry]! * u + matrix[entry + 1]! * w;
    const throughW = matrix[entry + 2]! * u + matrix[entry + 3]! * w;
    x[index] = xA[index]! + p * u + q * throughU;
    x[index + 1] = xA[index + 1]! + p * w + q * throughW;
    const square = 0.25 * h * h;
    moved[2]! += (square * (phiHalf[to + 2]! * u + phiHalf[to + 3]! * throughU)) / this.sizes[index]!;
    moved[3]! += (square * (phiHalf[to + 2]! * w + phiHalf[to + 3]! * throughW)) / this.sizes[index + 1]!;
  }

  /** What the rest of a pair's slopes has changed by since A, at the states that were just evaluated; adds its way to the sum of all. */
  private notePair(at: number, into: Float64Array): void {
    const { x, dx, xA, kA, matrix } = this;
    const index = this.pairs[at]!;
    const entry = MATRIX_SIZE * at;
    const u = x[index]! - xA[index]!;
    const w = x[index + 1]! - xA[index + 1]!;
    into[index] = dx[index]! - kA[index]! - matrix[entry]! * u - matrix[entry + 1]! * w;
    into[index + 1] = dx[index + 1]! - kA[index + 1]! - matrix[entry + 2]! * u - matrix[entry + 3]! * w;
    this.moved[0]! += u / this.sizes[index]!;
    this.moved[1]! += w / this.sizes[index + 1]!;
  }

  /** To the end of the step with the rest of the slope as it was in the middle, twice as far. */
  private reachPair(at: number): void {
    const { x, xA, kA, middle, matrix, phiWhole } = this;
    const h = this.attempted[0]!;
    const index = this.pairs[at]!;
    const entry = MATRIX_SIZE * at;
    const p = h * phiWhole[PHI_SIZE * at]!;
    const q = h * phiWhole[PHI_SIZE * at + 1]!;
    const u = kA[index]! + 2 * middle[index]!;
    const w = kA[index + 1]! + 2 * middle[index + 1]!;
    const throughU = matrix[entry]! * u + matrix[entry + 1]! * w;
    const throughW = matrix[entry + 2]! * u + matrix[entry + 3]! * w;
    x[index] = xA[index]! + p * u + q * throughU;
    x[index + 1] = xA[index + 1]! + p * w + q * throughW;
    const p2 = h * h * phiWhole[PHI_SIZE * at + 2]!;
    const q2 = h * h * phiWhole[PHI_SIZE * at + 3]!;
    this.moved[2]! += (p2 * u + q2 * throughU) / this.sizes[index]!;
    this.moved[3]! += (p2 * w + q2 * throughW) / this.sizes[index + 1]!;
  }

  /** The pair at B: its rest of the slope runs as a parabola through start, middle and end. */
  private closePair(at: number): void {
    const { middle, turn, bow, kA, matrix, phiWhole } = this;
    const h = this.attempted[0]!;
    const index = this.pairs[at]!;
    for (let one = index; one < index + 2; one += 1) {
      const end = bow[one]!;
      turn[one] = 4 * middle[one]! - end;
      bow[one] = 2 * (end - 2 * middle[one]!);
    }
    const to = PHI_SIZE * at;
    this.placePair(at, WHOLE, phiWhole, to);
    const entry = MATRIX_SIZE * at;
    const throughU =
      phiWhole[to + 3]! * kA[index]! + phiWhole[to + 5]! * turn[index]! + 2 * phiWhole[to + 7]! * bow[index]!;
    const throughW =
      phiWhole[to + 3]! * kA[index + 1]! +
      phiWhole[to + 5]! * turn[index + 1]! +
      2 * phiWhole[to + 7]! * bow[index + 1]!;
    const first =
      phiWhole[to + 2]! * kA[index]! + phiWhole[to + 4]! * turn[index]! + 2 * phiWhole[to + 6]! * bow[index]!;
    const second =
      phiWhole[to + 2]! * kA[index + 1]! +
      phiWhole[to + 4]! * turn[index + 1]! +
      2 * phiWhole[to + 6]! * bow[index + 1]!;
    const area = h * h;
    this.moved[2]! += (area * (first + matrix[entry]! * throughU + matrix[entry + 1]! * throughW)) / this.sizes[index]!;
    this.moved[3]! +=
      (area * (second + matrix[entry + 2]! * throughU + matrix[entry + 3]! * throughW)) / this.sizes[index + 1]!;
  }

  /** The pair at `lengths[which]` seconds into the step under way, from the functions for that length at `phi[from]`. */
  private placePair(at: number, which: number, phi: Float64Array, from: number): void {
    const { x, xA, kA, turn, bow, matrix } = this;
    const h = this.lengths[which]!;
    const share = h / this.attempted[0]!;
    const index = this.pairs[at]!;
    const entry = MATRIX_SIZE * at;
    // p parts go straight, q parts through the matrix.
    const turned = h * share;
    const bowed = 2 * h * share * share;
    const u =
      h * phi[from + 1]! * kA[index]! + turned * phi[from + 3]! * turn[index]! + bowed * phi[from + 5]! * bow[index]!;
    const w =
      h * phi[from + 1]! * kA[index + 1]! +
      turned * phi[from + 3]! * turn[index + 1]! +
      bowed * phi[from + 5]! * bow[index + 1]!;
    x[index] =
      xA[index]! +
      h * phi[from]! * kA[index]! +
      turned * phi[from + 2]! * turn[index]! +
      bowed * phi[from + 4]! * bow[index]! +
      matrix[entry]! * u +
      matrix[entry + 1]! * w;
    x[index + 1] =
      xA[index + 1]! +
      h * phi[from]! * kA[index + 1]! +
      turned * phi[from + 2]! * turn[index + 1]! +
      bowed * phi[from + 4]! * bow[index + 1]! +
      matrix[entry + 2]! * u +
      matrix[entry + 3]! * w;
  }

  /** By how much a pair's slopes may be off: the bend of the rest of them, as it works on the states. */
  private bendPair(at: number): void {
    const { k2, middle, end, matrix, phiWhole } = this;
    const index = this.pairs[at]!;
    const entry = MATRIX_SIZE * at;
    const u = end[index]! - 2 * middle[index]!;
    const w = end[index + 1]! - 2 * middle[index + 1]!;
    const p = phiWhole[PHI_SIZE * at + 4]!;
    const q = phiWhole[PHI_SIZE * at + 5]!;
    k2[index] = p * u + q * (matrix[entry]! * u + matrix[entry + 1]! * w);
    k2[index + 1] = p * w + q * (matrix[entry + 2]! * u + matrix[entry + 3]! * w);
  }

  /** Whether the cubic polynomial tells each pair well in the middle of the step. */
  private markBent(): void {
    const { x, xA, xB, kA, kB, scales, pairs, tolerance } = this;
    const h = this.attempted[0]!;
    for (let at = 0; at < pairs.length; at += 1) {
      this.placePair(at, HALF, this.phiHalf, PHI_SIZE * at);
      let isBent = 0;
      for (let index = pairs[at]!; index < pairs[at]! + 2; index += 1) {
        const cubic = 0.5 * (xA[index]! + xB[index]!) + 0.125 * h * (kA[index]! - kB[index]!);
        // At a quarter, beside the parabola through ends and middle: slopes of a stiff state say little of what is between.
        const tilt = 0.125 * h * (kA[index]! + kB[index]!) - 0.25 * (xB[index]! - xA[index]!);
        const allowed = STRAIGHT_ERRORS * tolerance * (FLOOR_SHARE * scales[index]! + Math.abs(xB[index]!));
        if (Math.abs(cubic - x[index]!) > allowed || Math.abs(tilt) > allowed) isBent = 1;
      }
      this.isBent[at] = isBent;
    }
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
    this.lengths[BETWEEN] = s * h;
    for (let at = 0; at < this.pairs.length; at += 1) {
      if (this.isBent[at] === 0) continue;
      expandPair(this.matrix, MATRIX_SIZE * at, this.lengths, BETWEEN, this.phi, 0);
      this.placePair(at, BETWEEN, this.phi, 0);
    }
    if (this.isBooking && this.bookPath.length > 0) this.placeBooks(s);
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
    const flags = Float64Array.of(this.isDisturbed ? 1 : 0, this.isRough ? 1 : 0);
    return [...this.arrays(), flags, this.bookPath, this.bookSlopes].map((array) => array.slice());
  }

  restore(saved: readonly Float64Array[]): void {
    const arrays = this.arrays();
    arrays.forEach((array, index) => {
      array.set(saved[index]!);
    });
    this.isDisturbed = saved[arrays.length]![0] === 1;
    this.isRough = saved[arrays.length]![1] === 1;
    // They grow once somebody reads the books.
    this.bookPath = saved[arrays.length + 1]!.slice();
    this.bookSlopes = saved[arrays.length + 2]!.slice();
    // Signals are recomputed when somebody asks.
    this.instants[3] = -1;
  }

  private arrays(): readonly Float64Array[] {
    const { x, books, xA, kA, xB, kB, bookA, bookB, bookStride, guesses, instants } = this;
    const { matrix, byFirst, bySecond, turn, bow, isBent } = this;
    return [
      x,
      books,
      xA,
      kA,
      xB,
      kB,
      bookA,
      bookB,
      bookStride,
      guesses,
      instants,
      matrix,
      byFirst,
      bySecond,
      turn,
      bow,
      isBent,
    ];
  }
}
