import { Room } from './room.ts';

/**
 * What happens next: a tournament tree over a fixed set of timers.
 *
 * Events are ordered by (time, rank, insertion number), as the design asks. Timers are numbered in rank order, so of
 * two timers due at one instant the one with the lower number wins, unless both belong to one part: then the one that
 * was set first does. A tree of winners was chosen over a heap because the set of timers is fixed, because setting,
 * moving and cancelling a timer are then the same walk from leaf to root, and because nothing is ever allocated.
 *
 * Hot path; see test/speed/kernel.bench.ts.
 */
export class Agenda {
  /** When each timer is due, in seconds; Infinity when it is not set. Write here, then call `changed`. */
  readonly dueSeconds: Float64Array;
  /** The order in which timers were set, for ties within one part. */
  private readonly insertion: Float64Array;
  private readonly rankOf: Int32Array;
  /** Node 1 is the root, nodes `width` and up are the timers; each holds the number of the winner below it. */
  private readonly winners: Int32Array;
  private readonly width: number;
  private insertionCount = 0;

  /**
   * `rankOf[timer]` is the rank of the part that owns the timer; it must never fall from one timer to the next.
   * `dueSeconds` may be handed in, to be written to before the agenda exists; it must be long enough.
   */
  constructor(rankOf: readonly number[], dueSeconds?: Float64Array, room: Room = new Room()) {
    const timerCount = rankOf.length;
    let width = 1;
    while (width < timerCount) width *= 2;
    this.width = width;
    this.dueSeconds = (dueSeconds ?? room.doubles(width)).fill(Number.POSITIVE_INFINITY);
    this.insertion = room.doubles(width);
    this.rankOf = room.integers(width).fill(rankOf[timerCount - 1] ?? 0);
    this.rankOf.set(rankOf);
    this.winners = room.integers(2 * width);
    this.rebuild();
  }

  /** The timer that is due first. Its due time is Infinity when no timer is set. */
  get first(): number {
    return this.winners[1]!;
  }

  rank(timer: number): number {
    return this.rankOf[timer]!;
  }

  /** To be called after a timer's due time became Infinity: only where the tree still shows it is there anything to do. */
  dropped(timer: number): void {
    if (this.width > 1 && this.winners[(timer + this.width) >> 1] === timer) this.changed(timer);
  }

  /** To be called after `dueSeconds[timer]` was written. */
  changed(timer: number): void {
    const { winners } = this;
    this.insertion[timer] = ++this.insertionCount;
    let node = (timer + this.width) >> 1;
    while (node > 0) {
      const winner = this.earlier(winners[2 * node]!, winners[2 * node + 1]!);
      // Where another timer won before and still wins, nothing changes further up.
      if (winners[node] === winner && winner !== timer) return;
      winners[node] = winner;
      node >>= 1;
    }
  }

  /** Of two timers the one that goes first; `left` is the one with the lower number. */
  private earlier(left: number, right: number): number {
    const { dueSeconds, insertion, rankOf } = this;
    const leftDue = dueSeconds[left]!;
    const rightDue = dueSeconds[right]!;
    if (leftDue !== rightDue) return leftDue < rightDue ? left : right;
    return rankOf[left] !== rankOf[right] || insertion[left]! <= insertion[right]! ? left : right;
  }

  /**
   * Everything needed to continue from here. Of the order in which timers were set only the order is kept, and only that of
   * timers that are due some time: two ways to the same state, by single events or by leaps, are then saved alike.
   */
  save(): AgendaState {
    const { dueSeconds, insertion } = this;
    const set = Array.from(this.rankOf.keys()).filter((timer) => dueSeconds[timer]! < Number.POSITIVE_INFINITY);
    set.sort((a, b) => insertion[a]! - insertion[b]!);
    const order = new Float64Array(insertion.length);
    set.forEach((timer, place) => {
      order[timer] = place + 1;
    });
    return { dueSeconds: dueSeconds.slice(), insertion: order, insertionCount: set.length };
  }

  restore(state: AgendaState): void {
    this.dueSeconds.set(state.dueSeconds);
    this.insertion.set(state.insertion);
    this.insertionCount = state.insertionCount;
    this.rebuild();
  }

  private rebuild(): void {
    const { width, winners } = this;
    for (let timer = 0; timer < width; timer += 1) winners[width + timer] = timer;
    for (let node = width - 1; node > 0; node -= 1)
      winners[node] = this.earlier(winners[2 * node]!, winners[2 * node + 1]!);
  }
}

export interface AgendaState {
  readonly dueSeconds: Float64Array;
  readonly insertion: Float64Array;
  readonly insertionCount: number;
}
