/**
 * How a timer's counter moves, and what happens at each of its turns: pure arithmetic on one timer's numbers.
 *
 * The counter changes on ticks of the prescaled clock. All that a datasheet shows "on the next timer clock" happens on
 * the tick that leaves a value: a compare match on the tick that leaves the compare value, an overflow on the one that
 * leaves the greatest value (single slope) or the bottom (dual slope). So fast PWM is high for compare + 1 ticks, as
 * `highTicks` of models/pwm-timer.ts says, and phase-correct PWM for 2 x compare.
 *
 * Between such special ticks the counter only counts, so that any stretch of time is crossed in a few steps; whole
 * periods in which nothing is new are skipped.
 *
 * Source: 8161D sections 14.7, 14.8, 15.9, 15.10 with their timing diagrams.
 */
import { frameTicks } from '../../../pwm-timer.ts';
import type { Wave, WaveRow } from './timer-plans.ts';

/** Bits of TIFR and TIMSK. */
export const OVERFLOW = 1;
export const MATCH_A = 2;
export const MATCH_B = 4;
export const CAPTURE = 32;

export interface CounterState {
  count: number;
  /** 1 while a dual-slope counter goes down. */
  down: number;
  /** Values at work; the written ones take their place at the update point. */
  compareA: number;
  compareB: number;
  writtenA: number;
  writtenB: number;
  capture: number;
  flags: number;
  /** Levels of the waveform generators. */
  levelA: number;
  levelB: number;
  /** 1: the next tick makes no match, since the counter was just written. */
  blocked: number;
}

/** The mode at work, worked out whenever the mode bits are written. */
export interface CounterMode {
  readonly row: WaveRow;
  readonly max: number;
  /** COM bits, made plain: 0 nothing, 1 toggle, 2 clear (then set at the turn), 3 set (then cleared). */
  readonly actionA: number;
  readonly actionB: number;
}

export function topValue(mode: CounterMode, state: CounterState): number {
  const { top } = mode.row;
  return top === 'ocra' ? state.compareA : top === 'icr' ? state.capture : top;
}

const isDual = (wave: Wave): boolean => wave === 'phase-correct' || wave === 'phase-and-frequency-correct';
export const isPwm = (wave: Wave): boolean => wave === 'fast' || isDual(wave);

/** Ticks from one turn to the same turn again. */
export function periodTicks(mode: CounterMode, state: CounterState): number {
  const top = topValue(mode, state);
  const { wave } = mode.row;
  // A dual-slope counter whose top is 0 stands still: one tick, so that nothing divides by it.
  return isDual(wave) ? Math.max(1, frameTicks(wave as 'phase-correct', top)) : top + 1;
}

/** Ticks until the counter next leaves `value` in its present direction; Infinity if it turns before. */
function ticksTo(value: number, state: CounterState, turn: number): number {
  if (state.down === 1) return value <= state.count ? state.count - value + 1 : Number.POSITIVE_INFINITY;
  return value >= state.count && value <= turn ? value - state.count + 1 : Number.POSITIVE_INFINITY;
}

/** Where the present slope ends. */
function turnOf(mode: CounterMode, state: CounterState): number {
  if (state.down === 1) return 0;
  const top = topValue(mode, state);
  // A counter that is already above its top has missed it and goes on to the greatest value (8161D p. 125).
  return state.count <= top ? top : mode.max;
}

/** Ticks until something may happen: a match or a turn. At least 1. */
function ticksToSpecial(mode: CounterMode, state: CounterState): number {
  const turn = turnOf(mode, state);
  return Math.min(
    ticksTo(turn, state, turn),
    ticksTo(state.compareA, state, turn),
    ticksTo(state.compareB, state, turn),
  );
}

/** Told of each change of an output and each update of the compare registers, with the ticks since the call began. */
export type Watch = (what: 'A' | 'B' | 'update', ticks: number) => void;

/** Moves the counter on by `ticks`. */
export function countOn(mode: CounterMode, state: CounterState, ticks: number, watch: Watch): void {
  let done = 0;
  let stepsLeft = 64;
  while (done < ticks) {
    const special = ticksToSpecial(mode, state);
    const left = ticks - done;
    if (special > left) {
      state.count += state.down === 1 ? -left : left;
      state.blocked = 0;
      return;
    }
    if (special > 1) {
      state.count += state.down === 1 ? 1 - special : special - 1;
      state.blocked = 0;
    }
    done += special;
    specialTick(mode, state, done, watch);
    stepsLeft -= 1;
    if (stepsLeft > 0) continue;
    // By now the counter has been round: it is within its top, what was written is at work, every flag that can rise has
    // risen. An output that could still change is looked out for, so that none is carried over so long a stretch.
    const period = periodTicks(mode, state);
    done += period * Math.floor((ticks - done) / period);
    stepsLeft = 64;
  }
}

/** The tick that leaves the present value, where that is a compare value or a turn. */
function specialTick(mode: CounterMode, state: CounterState, ticks: number, watch: Watch): void {
  const { wave } = mode.row;
  const top = topValue(mode, state);
  const matchesA = state.count === state.compareA && state.blocked === 0;
  const matchesB = state.count === state.compareB && state.blocked === 0;
  state.blocked = 0;
  if (matchesA) state.flags |= MATCH_A;
  if (matchesB) state.flags |= MATCH_B;
  const beforeA = state.levelA;
  const beforeB = state.levelB;
  if (matchesA) state.levelA = matched(mode.actionA, state.levelA, state.down);
  if (matchesB) state.levelB = matched(mode.actionB, state.levelB, state.down);
  if (isDual(wave)) dualTurn(mode, state, top, ticks, watch);
  else singleTurn(mode, state, top, ticks, watch);
  if (state.levelA !== beforeA) watch('A', ticks);
  if (state.levelB !== beforeB) watch('B', ticks);
}

function singleTurn(mode: CounterMode, state: CounterState, top: number, ticks: number, watch: Watch): void {
  const { wave } = mode.row;
  const isAtTop = state.count === top;
  if (!isAtTop && state.count !== mode.max) {
    state.count += 1;
    return;
  }
  if (isAtTop && mode.row.top === 'icr') state.flags |= CAPTURE;
  // Normal and CTC overflow at the greatest value, fast PWM at its top (8161D table 14-8).
  if (wave === 'fast' ? isAtTop : state.count === mode.max) state.flags |= OVERFLOW;
  state.count = 0;
  if (wave !== 'fast') return;
  update(state, ticks, watch);
  state.levelA = atBottom(mode.actionA, state.levelA);
  state.levelB = atBottom(mode.actionB, state.levelB);
}

function dualTurn(mode: CounterMode, state: CounterState, top: number, ticks: number, watch: Watch): void {
  const { wave } = mode.row;
  const isFrequency = wave === 'phase-and-frequency-correct';
  if (state.down === 0 && state.count === top) {
    if (mode.row.top === 'icr') state.flags |= CAPTURE;
    if (!isFrequency) update(state, ticks, watch);
    // Symmetry: at the top the output is what the way up leaves it at, but for a compare at or above the top (8161D p. 100).
    state.levelA = atTurn(mode.actionA, state.levelA, state.compareA >= top);
    state.levelB = atTurn(mode.actionB, state.levelB, state.compareB >= top);
    state.down = 1;
    state.count = Math.max(0, top - 1);
  } else if (state.down === 1 && state.count === 0) {
    state.flags |= OVERFLOW;
    if (isFrequency) {
      update(state, ticks, watch);
      state.levelA = atTurn(mode.actionA, state.levelA, state.compareA > 0);
      state.levelB = atTurn(mode.actionB, state.levelB, state.compareB > 0);
    } else {
      if (state.compareA === 0) state.levelA = atTurn(mode.actionA, state.levelA, false);
      if (state.compareB === 0) state.levelB = atTurn(mode.actionB, state.levelB, false);
    }
    state.down = 0;
    state.count = Math.min(1, topValue(mode, state));
  } else if (state.down === 1) state.count -= 1;
  else state.count = state.count === mode.max ? 0 : state.count + 1;
}

/** The double-buffered compare registers take over what was written. */
function update(state: CounterState, ticks: number, watch: Watch): void {
  if (state.writtenA === state.compareA && state.writtenB === state.compareB) return;
  state.compareA = state.writtenA;
  state.compareB = state.writtenB;
  watch('update', ticks);
}

/** Output after a compare match: on the way down the opposite of the way up. */
export function matched(action: number, level: number, down: number): number {
  if (action === 1) return 1 - level;
  if (action === 0) return level;
  return (action === 2) === (down === 1) ? 1 : 0;
}

function atBottom(action: number, level: number): number {
  return action === 2 ? 1 : action === 3 ? 0 : level;
}

function atTurn(action: number, level: number, isOn: boolean): number {
  return action < 2 ? level : (action === 2) === isOn ? 1 : 0;
}

/** What somebody waits for. */
export interface Wanted {
  readonly overflow: boolean;
  readonly matchA: boolean;
  readonly matchB: boolean;
  readonly capture: boolean;
  /** Edges of an output that is on its pin. */
  readonly edgeA: boolean;
  readonly edgeB: boolean;
}

/** Ticks until the first thing that is wanted, or that changes what the counter does; Infinity if nothing does. */
export function ticksToWanted(mode: CounterMode, state: CounterState, wanted: Wanted): number {
  const { wave } = mode.row;
  const top = topValue(mode, state);
  const turn = turnOf(mode, state);
  const toTurn = ticksTo(turn, state, turn);
  const dual = isDual(wave);
  let ticks = Number.POSITIVE_INFINITY;
  const take = (candidate: number): void => {
    if (candidate < ticks) ticks = candidate;
  };
  const isPending = isPwm(wave) && (state.writtenA !== state.compareA || state.writtenB !== state.compareB);
  const turns = wanted.edgeA || wanted.edgeB ? isPwm(wave) : false;
  if (isPending || turns || wanted.capture) take(toTurn);
  if (wanted.overflow && (wave !== 'ctc' || top === mode.max || state.count > top)) {
    // A dual-slope counter on its way up must first turn; it is asked again there.
    take(toTurn);
  }
  const takeMatch = (compare: number): void => {
    const direct = ticksTo(compare, state, turn);
    if (direct < Number.POSITIVE_INFINITY) take(direct);
    else if (dual || compare <= mode.max) take(compare <= top || state.count > top ? toTurn : Number.POSITIVE_INFINITY);
  };
  if (wanted.matchA || wanted.edgeA) takeMatch(state.compareA);
  if (wanted.matchB || wanted.edgeB) takeMatch(state.compareB);
  return ticks;
}
