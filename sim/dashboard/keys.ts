/** The keys: what each does, in which words the help lists it, and which ones the bottom line shows. */

import {
  changeConstant,
  clearSteps,
  flipSwitch,
  leverPosition,
  moveChoice,
  moveLever,
  saveDrive,
  shiftLever,
  toggleFault,
} from './drive.ts';
import { constantChoices, faultChoices } from './hand.ts';
import { neighbouringChange } from './measure-cursors.ts';
import { type Cursors, SPANS, stretchAt } from './scope-state.ts';
import type { Overlay, Session } from './session.ts';
import { REAL_TIME, SPEEDS } from './speeds.ts';
import { whyOf } from './why.ts';

export interface Binding {
  /** Names of keys, the first one shown; see `keyName`. */
  readonly keys: readonly string[];
  /** How the keys are called in the help and in the bottom line. */
  readonly shown: string;
  /** A word or two for the bottom line. */
  readonly short: string;
  /** What they do, for the help. */
  readonly does: string;
  /** Place in the bottom line, the lowest first; without it only the help names them. */
  readonly rank?: number;
  readonly act: (session: Session, key: string) => void;
}

const STEP_BUDGET_MILLISECONDS = 2000;

function jump(session: Session, move: () => void): void {
  session.isPlaying = false;
  move();
  session.moved();
}

/** A search for a change gives up after a while, so that a long quiet run does not hang the keys. */
function budget(session: Session): () => boolean {
  const start = session.options.clock();
  return () => session.options.clock() - start > STEP_BUDGET_MILLISECONDS;
}

function shiftSpeed(session: Session, by: number): void {
  session.speedIndex = Math.min(Math.max(session.speedIndex + by, 0), SPEEDS.length - 1);
}

function zoom(session: Session, by: number): void {
  const { scope } = session;
  session.scope = { ...scope, spanIndex: Math.min(Math.max(scope.spanIndex + by, 0), SPANS.length - 1) };
  if (session.cursors !== undefined) session.cursors = { ...session.cursors, ...stretchAround(session) };
}

function scrub(session: Session, share: number): void {
  const to = session.player.seconds + share * SPANS[session.scope.spanIndex]!;
  jump(session, () => session.player.seek(Math.min(to, session.player.endSeconds)));
}

function open(overlay: Overlay): (session: Session) => void {
  return (session) => {
    session.overlay = overlay;
    session.chosen = 0;
    session.typed = overlay === 'save' ? 'driven.yaml' : '';
    session.message = undefined;
    if (overlay === 'save' || overlay === 'why') session.isPlaying = false;
    if (overlay === 'why') session.why = whyOf(session);
  };
}

/** Keys that both a show and a drive have. */
const common: readonly Binding[] = [
  {
    keys: ['space'],
    shown: 'space',
    short: 'play',
    does: 'play or pause',
    rank: 1,
    act: (session) => {
      if (session.player.isAtEnd) jump(session, () => session.player.seek(0));
      session.isPlaying = !session.isPlaying;
    },
  },
  {
    keys: ['right', '.'],
    shown: 'right',
    short: 'event',
    does: 'one event forth',
    act: (session) => jump(session, () => session.player.stepForth()),
  },
  {
    keys: ['left', ','],
    shown: 'left',
    short: 'back',
    does: 'one event back',
    act: (session) => jump(session, () => session.player.stepBack()),
  },
  {
    keys: ['n'],
    shown: 'n',
    short: 'next change',
    does: 'on to the next change of a mode',
    rank: 3,
    act: (session) => jump(session, () => session.player.toNextChange(budget(session))),
  },
  {
    keys: ['b'],
    shown: 'b',
    short: 'last',
    does: 'back to the change of a mode before',
    act: (session) => jump(session, () => session.player.toPreviousChange()),
  },
  { keys: ['}'], shown: '}', short: 'scrub', does: 'a tenth of the shown stretch forth', act: (s) => scrub(s, 0.1) },
  { keys: ['{'], shown: '{', short: 'scrub', does: 'a tenth of the shown stretch back', act: (s) => scrub(s, -0.1) },
  {
    keys: ['home', 'r'],
    shown: 'r',
    short: 'restart',
    does: 'to the start',
    act: (session) => jump(session, () => session.player.seek(0)),
  },
  {
    keys: ['+', '='],
    shown: '+',
    short: 'faster',
    does: 'play faster, up to a thousand times',
    act: (s) => shiftSpeed(s, 1),
  },
  {
    keys: ['-'],
    shown: '-',
    short: 'slower',
    does: 'play slower, down to a thousandth',
    act: (s) => shiftSpeed(s, -1),
  },
  {
    keys: ['*'],
    shown: '*',
    short: 'real time',
    does: 'play in real time',
    act: (session) => {
      session.speedIndex = REAL_TIME;
    },
  },
  { keys: ['z'], shown: 'z', short: 'zoom', does: 'show a shorter stretch of time', rank: 5, act: (s) => zoom(s, -1) },
  { keys: ['Z', 'a'], shown: 'Z', short: 'wider', does: 'show a longer stretch of time', act: (s) => zoom(s, 1) },
  { keys: ['l'], shown: 'l', short: 'signals', does: 'choose the signals on the scope', rank: 7, act: open('lanes') },
  { keys: ['c'], shown: 'c', short: 'measure', does: 'a pair of cursors on the scope', rank: 6, act: startMeasuring },
  {
    keys: ['w'],
    shown: 'w',
    short: 'why',
    does: 'what led to the state of the chosen expectation',
    rank: 4,
    act: open('why'),
  },
  {
    keys: ['tab'],
    shown: 'tab',
    short: 'panel',
    does: 'one of the lower panels alone, or all three',
    act: (session) => {
      session.panel = (session.panel + 1) % 4;
    },
  },
  { keys: ['?', 'h'], shown: '?', short: 'keys', does: 'this list', rank: 8, act: open('help') },
  {
    keys: ['q', 'ctrl+c'],
    shown: 'q',
    short: 'quit',
    does: 'leave',
    rank: 9,
    act: (session) => {
      session.isOver = true;
    },
  },
];

const showOnly: readonly Binding[] = [
  {
    keys: ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9'],
    shown: '0-9',
    short: 'jump',
    does: 'to so many tenths of the run',
    act: (session, key) => jump(session, () => session.player.seek((session.player.endSeconds * Number(key)) / 10)),
  },
  {
    keys: ['end', 'G'],
    shown: 'end',
    short: 'end',
    does: 'to the end',
    act: (session) => jump(session, () => session.player.seek(session.player.endSeconds)),
  },
  {
    keys: ['o'],
    shown: 'o',
    short: 'other',
    does: 'the other scenario, where several are open',
    rank: 2,
    act: (session) => {
      const { plays } = session.options;
      if (plays.length < 2) session.say('Only one scenario is open.');
      else session.begin(plays[(plays.indexOf(session.play) + 1) % plays.length]!);
    },
  },
];

const driveOnly: readonly Binding[] = [
  {
    keys: ['up'],
    shown: 'up',
    short: 'press',
    does: 'press the pedal by a tenth more, and hold it',
    rank: 1.5,
    act: (s) => shiftLever(s, 0, 0.1),
  },
  {
    keys: ['down'],
    shown: 'down',
    short: 'ease',
    does: 'ease the pedal by a tenth',
    act: (s) => shiftLever(s, 0, -0.1),
  },
  {
    keys: ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9'],
    shown: '0-9',
    short: 'pedal',
    does: 'the pedal to so many tenths',
    act: (session, key) => moveLever(session, 0, Number(key) / 10),
  },
  {
    keys: ['return'],
    shown: 'enter',
    short: 'floor/off',
    does: 'the pedal to the floor; once more takes the foot off',
    rank: 1.6,
    act: (session) => moveLever(session, 0, (leverPosition(session, 0) ?? 0) > 0 ? 0 : 1),
  },
  { keys: ['p'], shown: 'p', short: 'power', does: 'switch the power on or off', rank: 1.2, act: flipSwitch },
  { keys: [']'], shown: ']', short: 'selector', does: 'the selector one position on', act: (s) => moveChoice(s, 1) },
  { keys: ['['], shown: '[', short: 'selector', does: 'the selector one position back', act: (s) => moveChoice(s, -1) },
  {
    keys: ['pageup'],
    shown: 'page up',
    short: 'stick',
    does: 'the second lever (a radio stick) a tenth forward',
    act: (s) => shiftLever(s, 1, 0.1),
  },
  {
    keys: ['pagedown'],
    shown: 'page down',
    short: 'stick',
    does: 'the second lever a tenth back',
    act: (s) => shiftLever(s, 1, -0.1),
  },
  { keys: ['f'], shown: 'f', short: 'faults', does: 'break or mend something', rank: 2, act: open('faults') },
  {
    keys: ['k'],
    shown: 'k',
    short: 'constants',
    does: 'change a constant and start again',
    rank: 2.5,
    act: open('constants'),
  },
  {
    keys: ['s'],
    shown: 's',
    short: 'save',
    does: 'save what was done as a scenario file',
    rank: 2.7,
    act: open('save'),
  },
  { keys: ['N'], shown: 'N', short: 'new', does: 'a new drive: forget all steps', act: clearSteps },
];

const measuring: readonly Binding[] = [
  {
    keys: ['left'],
    shown: 'left/right',
    short: 'move',
    does: 'move the cursor',
    rank: 1,
    act: (s) => moveCursor(s, -1),
  },
  { keys: ['right'], shown: 'right', short: 'move', does: 'move the cursor', act: (s) => moveCursor(s, 1) },
  {
    keys: [',', 'b'],
    shown: ', .',
    short: 'edge',
    does: 'to the change of the signal before, or after',
    rank: 2,
    act: (s) => snapCursor(s, -1),
  },
  {
    keys: ['.', 'n'],
    shown: '.',
    short: 'edge',
    does: 'to the next change of the signal',
    act: (s) => snapCursor(s, 1),
  },
  { keys: ['tab'], shown: 'tab', short: 'A/B', does: 'the other cursor', rank: 3, act: swapCursor },
  {
    keys: ['up'],
    shown: 'up/down',
    short: 'signal',
    does: 'measure another signal',
    rank: 4,
    act: (s) => chooseLane(s, -1),
  },
  { keys: ['down'], shown: 'down', short: 'signal', does: 'measure another signal', act: (s) => chooseLane(s, 1) },
  { keys: ['z'], shown: 'z/Z', short: 'zoom', does: 'zoom about the cursor', rank: 5, act: (s) => zoom(s, -1) },
  { keys: ['Z', 'a'], shown: 'Z', short: 'wider', does: 'wider', act: (s) => zoom(s, 1) },
  {
    keys: ['escape', 'c'],
    shown: 'c',
    short: 'done',
    does: 'stop measuring',
    rank: 6,
    act: (session) => {
      session.cursors = undefined;
    },
  },
  {
    keys: ['q', 'ctrl+c'],
    shown: 'q',
    short: 'quit',
    does: 'leave',
    rank: 9,
    act: (s) => {
      s.isOver = true;
    },
  },
];

/** The keys that work at present, overlays aside. */
export function bindingsOf(session: Session): readonly Binding[] {
  if (session.cursors !== undefined) return measuring;
  return [...common, ...(session.drive === undefined ? showOnly : driveOnly)];
}

/** What a key does, wherever it is pressed. */
export function press(session: Session, key: string): void {
  if (key === 'ctrl+c') {
    session.isOver = true;
    return;
  }
  if (session.overlay !== undefined) {
    pressInOverlay(session, session.overlay, key);
    return;
  }
  session.message = undefined;
  bindingsOf(session)
    .find(({ keys }) => keys.includes(key))
    ?.act(session, key);
}

function pressInOverlay(session: Session, overlay: Overlay, key: string): void {
  if (key === 'escape') session.overlay = overlay === 'constant-value' ? 'constants' : undefined;
  else if (overlay === 'save' || overlay === 'constant-value') typeInto(session, overlay, key);
  else if (key === 'up') session.chosen = Math.max(0, session.chosen - 1);
  else if (key === 'down') session.chosen += 1;
  else if (key === 'pageup') session.chosen = Math.max(0, session.chosen - 10);
  else if (key === 'pagedown') session.chosen += 10;
  else if (key === 'return' || key === 'space') choose(session, overlay);
  else if (key.length === 1) session.overlay = undefined;
}

function typeInto(session: Session, overlay: Overlay, key: string): void {
  if (key === 'backspace' || key === 'delete') session.typed = session.typed.slice(0, -1);
  else if (key === 'space') session.typed += ' ';
  else if (key.length === 1) session.typed += key;
  else if (key === 'return' && session.typed.trim() !== '') {
    const typed = session.typed.trim();
    if (overlay === 'save') {
      session.overlay = undefined;
      saveDrive(session, typed);
    } else {
      const constant = constantChoices(session.play.parts)[session.chosen];
      if (constant !== undefined) changeConstant(session, constant.path, typed);
    }
  }
}

function choose(session: Session, overlay: Overlay): void {
  if (overlay === 'faults') {
    toggleFault(session, Math.min(session.chosen, faultChoices(session.play.parts, []).length - 1));
    session.overlay = undefined;
  } else if (overlay === 'lanes') toggleLane(session);
  else if (overlay === 'constants') {
    const choices = constantChoices(session.play.parts);
    session.chosen = Math.min(session.chosen, choices.length - 1);
    session.typed = '';
    if (choices.length > 0) session.overlay = 'constant-value';
  } else session.overlay = undefined;
}

/** The signals that can be put on the scope. */
export function laneChoices(session: Session): readonly string[] {
  return session.player.assembly.signals.filter(({ isDrawn }) => isDrawn !== true).map(({ name }) => name);
}

function toggleLane(session: Session): void {
  const choices = laneChoices(session);
  session.chosen = Math.min(session.chosen, choices.length - 1);
  const name = choices[session.chosen]!;
  const { lanes } = session.scope;
  const isOn = lanes.includes(name);
  session.scope = {
    ...session.scope,
    lanes: isOn ? lanes.filter((lane) => lane !== name) : [name, ...lanes],
    chosenLane: 0,
  };
  if (!isOn && session.player.trace.column(name) === undefined) session.rerecord();
}

function startMeasuring(session: Session): void {
  session.isPlaying = false;
  const { from, until } = stretchAt(session.player.seconds, SPANS[session.scope.spanIndex]!);
  const now = session.player.seconds;
  session.cursors = {
    seconds: [from + (now - from) * 0.4, from + (now - from) * 0.6],
    moving: 0,
    fromSeconds: from,
    untilSeconds: until,
  };
  if (session.scope.chosenLane >= session.scope.lanes.length) session.scope = { ...session.scope, chosenLane: 0 };
}

function moved(session: Session, cursors: Cursors, seconds: number): void {
  const inside = Math.min(Math.max(seconds, 0), session.player.seconds);
  const both: [number, number] = [...cursors.seconds];
  both[cursors.moving] = inside;
  let { fromSeconds, untilSeconds } = cursors;
  // The stretch follows a cursor that leaves it.
  const shift = inside < fromSeconds ? inside - fromSeconds : inside > untilSeconds ? inside - untilSeconds : 0;
  fromSeconds += shift;
  untilSeconds += shift;
  session.cursors = { ...cursors, seconds: both, fromSeconds, untilSeconds };
}

/** Cursors move by this share of the stretch. */
const CURSOR_STEP = 1 / 200;

function moveCursor(session: Session, direction: 1 | -1): void {
  const { cursors } = session;
  if (cursors === undefined) return;
  const step = (cursors.untilSeconds - cursors.fromSeconds) * CURSOR_STEP;
  moved(session, cursors, cursors.seconds[cursors.moving] + direction * step);
}

function snapCursor(session: Session, direction: 1 | -1): void {
  const { cursors, scope, player } = session;
  const column = player.trace.column(scope.lanes[scope.chosenLane] ?? '');
  if (cursors === undefined || column === undefined) return;
  moved(session, cursors, neighbouringChange(column, cursors.seconds[cursors.moving], direction));
}

function swapCursor(session: Session): void {
  if (session.cursors !== undefined)
    session.cursors = { ...session.cursors, moving: session.cursors.moving === 0 ? 1 : 0 };
}

function chooseLane(session: Session, by: number): void {
  const count = session.scope.lanes.length;
  if (count > 0) session.scope = { ...session.scope, chosenLane: (session.scope.chosenLane + by + count) % count };
}

/** The stretch of the present length about the cursor that moves. */
function stretchAround(session: Session): Pick<Cursors, 'fromSeconds' | 'untilSeconds'> {
  const { seconds, moving } = session.cursors!;
  const half = SPANS[session.scope.spanIndex]! / 2;
  const fromSeconds = Math.max(0, seconds[moving] - half);
  return { fromSeconds, untilSeconds: fromSeconds + 2 * half };
}
