/**
 * A sitting at the dashboard: the player, how fast it plays, what is looked at, and, in a drive, what the hands have
 * done. Keys call its methods, views read it; it neither draws nor knows a terminal. The wall clock is handed in.
 */

import { type Act, type AssembledPart, assemble } from '../bench/assemble.ts';
import type { DescribedPart } from '../bench/schema.ts';
import { settleParts } from '../bench/schema.ts';
import { NumericalBlowUp } from '../kernel/continuum.ts';
import type { Band } from '../kernel/part.ts';
import { signalsRead } from '../verdict/expectation.ts';
import type { Expectation, Scenario } from '../verdict/run-scenario.ts';
import { type Cures, startCures } from './cures.ts';
import { type Drive, newDrive } from './drive.ts';
import type { Ground } from './ground.ts';
import { Player } from './player.ts';
import { type Cursors, type ScopeState, startScope } from './scope-state.ts';
import { REAL_TIME, SPEEDS } from './speeds.ts';
import { type Standing, standingsOf } from './standing.ts';
import { type Aim, aimPorts, tellingSignals } from './telling.ts';
import type { Why } from './why.ts';

export type Overlay = 'help' | 'why' | 'lanes' | 'faults' | 'constants' | 'save' | 'constant-value';

/** What is played: a scenario, or the ground of a drive. */
export interface Play {
  readonly title: string;
  readonly benchTitle: string;
  readonly parts: readonly DescribedPart[];
  readonly seed: number;
  readonly acts: readonly Act[];
  readonly endSeconds: number;
  readonly expectations: readonly Expectation[];
}

/** The play that a scenario is. */
export function playOfScenario(scenario: Scenario): Play {
  const { title, benchTitle, parts, seed, acts, durationSeconds, expectations } = scenario;
  return { title, benchTitle, parts, seed, acts, endSeconds: durationSeconds, expectations };
}

export interface SessionOptions {
  /** One, or several that a key switches between. */
  readonly plays: readonly Play[];
  /** Given in a drive: the hands may act. */
  readonly ground?: Ground;
  /** Milliseconds of real time, for the share of it that judging may take. */
  readonly clock: () => number;
  /** Writes a file; returns what went wrong. */
  readonly write?: (file: string, text: string) => string | undefined;
}

/** Judging may take this share of real time. */
const JUDGING_SHARE = 0.1;

export class Session {
  player: Player;
  play: Play;
  isPlaying = false;
  speedIndex = REAL_TIME;
  /** Simulated seconds that playing has fallen short of, a second of real time; 0 while it keeps up. */
  isLagging = false;
  overlay: Overlay | undefined;
  chosen = 0;
  typed = '';
  message: { readonly text: string; readonly isBad: boolean } | undefined;
  standings: readonly Standing[] = [];
  scope: ScopeState;
  cursors: Cursors | undefined;
  /** Which panel has all the room: 1, 2 or 3; 0 for all of them. */
  panel = 0;
  furthestSeconds = 0;
  isOver = false;
  /** What `w` found when it was pressed. */
  why: Why | undefined;
  /** What would turn it, as far as it is known; kept for each play. */
  cures: Cures | undefined;
  readonly drive: Drive | undefined;
  readonly options: SessionOptions;
  private readonly curesOf = new WeakMap<Play, Cures>();
  private targetSeconds = 0;
  private isJudgingDue = true;
  private judgedMilliseconds = Number.NEGATIVE_INFINITY;
  private judgingMilliseconds = 0;

  constructor(options: SessionOptions) {
    this.options = options;
    this.play = options.plays[0]!;
    this.drive = options.ground === undefined ? undefined : newDrive(options.ground);
    this.scope = startScope(wired(this.play));
    this.player = this.newPlayer();
    this.settle();
  }

  get speed(): number {
    return SPEEDS[this.speedIndex]!;
  }

  private newPlayer(): Player {
    const { parts, seed, acts, endSeconds, expectations } = this.play;
    const settled = settleParts(parts);
    const wanted = [
      ...expectations.flatMap(({ formula }) => signalsRead(formula)),
      ...tellingSignals(parts),
      ...this.scope.lanes,
    ];
    return new Player({ parts: settled, seed, acts, endSeconds, record: wanted });
  }

  /** Another play, or the same from other values: from its start. */
  begin(play: Play): void {
    this.cures?.stop();
    this.cures = undefined;
    this.play = play;
    if (!this.scope.lanes.every((lane) => isOf(lane, play.parts))) this.scope = startScope(wired(play));
    this.player = this.newPlayer();
    this.furthestSeconds = 0;
    this.cursors = undefined;
    this.moved();
  }

  /** Records another set of signals, which takes a run from the start to here. */
  rerecord(): void {
    const { eventCount, seconds } = this.player;
    this.player = this.newPlayer();
    this.player.seekEvent(eventCount);
    this.player.runTo(seconds);
    this.moved();
  }

  /** To be called after the player was moved by hand. */
  moved(): void {
    this.targetSeconds = this.player.seconds;
    this.furthestSeconds = Math.max(this.furthestSeconds, this.player.seconds);
    this.isLagging = false;
    this.settle();
  }

  private settle(): void {
    this.isJudgingDue = true;
    this.judge();
  }

  /** Plays on by so much real time, for as long as `isTimeUp` allows. True if anything is to be drawn anew. */
  tick(elapsedSeconds: number, isTimeUp: () => boolean): boolean {
    const isNews = this.hearOfCures();
    if (!this.isPlaying) return this.judgeWhenDue() || isNews;
    this.targetSeconds += elapsedSeconds * this.speed;
    let isReached = false;
    this.attempt(() => {
      isReached = this.player.runTo(this.targetSeconds, isTimeUp);
    });
    this.isLagging = !isReached;
    // What could not be played in its time is not caught up on: the wheel would turn faster than shown.
    if (!isReached) this.targetSeconds = this.player.seconds;
    this.furthestSeconds = Math.max(this.furthestSeconds, this.player.seconds);
    if (this.player.isAtEnd) this.isPlaying = false;
    this.isJudgingDue = true;
    if (this.player.isAtEnd) this.judge();
    else this.judgeWhenDue();
    return true;
  }

  /** Begins to search for cures of what is not met, unless that was done before; what was stopped stays so until asked again. */
  askCures(isAgain = false): void {
    const { play, player, why } = this;
    if (why?.place === undefined) return;
    // A drive ends where it stands; what is asked about is a run up to there.
    const endSeconds = this.drive === undefined ? play.endSeconds : player.seconds;
    const known = this.curesOf.get(play);
    const isKnown = known !== undefined && known.endSeconds === endSeconds;
    if (!isKnown || (isAgain && known.state === 'stopped')) {
      this.cures?.stop();
      this.curesOf.set(play, startCures(play, endSeconds, this.options.clock));
    }
    this.cures = this.curesOf.get(play);
  }

  /** Stops the search for cures, or starts it again. What was found is kept until then. */
  toggleCures(): void {
    if (this.cures?.state === 'searching') this.cures.stop();
    else if (this.cures?.state === 'stopped') this.askCures(true);
  }

  /** Whether anything new was found that is looked at. */
  private hearOfCures(): boolean {
    const { cures } = this;
    if (cures?.isNews !== true) return false;
    cures.isNews = false;
    if (cures.fault !== undefined) throw cures.fault;
    return this.overlay === 'why';
  }

  private judgeWhenDue(): boolean {
    const since = this.options.clock() - this.judgedMilliseconds;
    if (!this.isJudgingDue || since * JUDGING_SHARE < this.judgingMilliseconds || since < 100) return false;
    this.judge();
    return true;
  }

  private judge(): void {
    if (!this.isJudgingDue) return;
    const start = this.options.clock();
    this.standings = standingsOf(this.play.expectations, this.player);
    this.judgedMilliseconds = this.options.clock();
    this.judgingMilliseconds = this.judgedMilliseconds - start;
    this.isJudgingDue = false;
  }

  /** Does something that may run the simulation; numbers that ran away stop it in words. */
  attempt(work: () => void): void {
    try {
      work();
    } catch (error) {
      if (!(error instanceof NumericalBlowUp)) throw error;
      this.isPlaying = false;
      this.say(`The numbers ran away: ${error.message}.`, true);
    }
  }

  say(text: string, isBad = false): void {
    this.message = { text, isBad };
  }

  /** The ranges of a signal: of an out port by its part, of a level by those that listen to it. */
  bandsOf(name: string): readonly Band[] {
    const { parts } = this.player.assembly;
    for (const part of parts) {
      const bands = part.kind.bands?.(part.parameters as never, (port) => this.player.present(`${part.name}.${port}`));
      if (bands === undefined) continue;
      for (const [port, list] of Object.entries(bands))
        if (`${part.name}.${port}` === name || part.wiring[port] === name) return list;
    }
    return [];
  }

  /** The parts that have something to hit: name of the signal, and its ranges. */
  aims(): readonly Aim[] {
    return aimPorts(this.player);
  }
}

function isOf(signal: string, parts: readonly DescribedPart[]): boolean {
  return parts.some(({ name }) => signal.startsWith(`${name}.`));
}

/** The parts of a play with their wires, to see what the scope may show first. */
function wired({ parts, seed }: Play): readonly AssembledPart[] {
  return assemble(settleParts(parts), seed, []).parts;
}
