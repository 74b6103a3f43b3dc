/** The keys: what each does, in which words the help lists it, and which ones the bottom line shows. */

import type { Binding } from './binding.ts';
import { clearSteps, flipSwitch, leverPosition, moveChoice, moveLever, shiftLever } from './drive.ts';
import { measuring, startMeasuring, zoom } from './measuring.ts';
import { pressInOverlay } from './overlay-keys.ts';
import { SPANS } from './scope-state.ts';
import type { Overlay, Session } from './session.ts';
import { REAL_TIME, SPEEDS } from './speeds.ts';
import { whyOf } from './why.ts';

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
    if (overlay === 'why') {
      session.why = whyOf(session);
      session.askCures();
    }
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
    does: 'to the next change of a mode',
    rank: 3,
    act: (session) => jump(session, () => session.player.toNextChange(budget(session))),
  },
  {
    keys: ['b'],
    shown: 'b',
    short: 'last',
    does: 'to the mode change before',
    act: (session) => jump(session, () => session.player.toPreviousChange()),
  },
  { keys: ['}'], shown: '}', short: 'scrub', does: 'scrub forth a little', act: (s) => scrub(s, 0.1) },
  { keys: ['{'], shown: '{', short: 'scrub', does: 'scrub back a little', act: (s) => scrub(s, -0.1) },
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
    does: 'faster, up to x1000',
    act: (s) => shiftSpeed(s, 1),
  },
  {
    keys: ['-'],
    shown: '-',
    short: 'slower',
    does: 'slower, down to x1/1000',
    act: (s) => shiftSpeed(s, -1),
  },
  {
    keys: ['*'],
    shown: '*',
    short: 'real time',
    does: 'in real time',
    act: (session) => {
      session.speedIndex = REAL_TIME;
    },
  },
  { keys: ['z'], shown: 'z', short: 'zoom', does: 'a shorter stretch of time', rank: 5, act: (s) => zoom(s, -1) },
  { keys: ['Z', 'a'], shown: 'Z', short: 'wider', does: 'a longer stretch of time', act: (s) => zoom(s, 1) },
  { keys: ['l'], shown: 'l', short: 'signals', does: 'signals on the scope', rank: 7, act: open('lanes') },
  { keys: ['c'], shown: 'c', short: 'measure', does: 'measure with two cursors', rank: 6, act: startMeasuring },
  {
    keys: ['w'],
    shown: 'w',
    short: 'why',
    does: 'why: causes, nearest cures',
    rank: 4,
    act: open('why'),
  },
  {
    keys: ['tab'],
    shown: 'tab',
    short: 'panel',
    does: 'one lower panel, or all',
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
    does: 'to so many tenths of it',
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
    does: 'the other open scenario',
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
    does: 'pedal a tenth down, held',
    rank: 1.5,
    act: (s) => shiftLever(s, 0, 0.1),
  },
  {
    keys: ['down'],
    shown: 'down',
    short: 'ease',
    does: 'pedal a tenth up, held',
    act: (s) => shiftLever(s, 0, -0.1),
  },
  {
    keys: ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9'],
    shown: '0-9',
    short: 'pedal',
    does: 'pedal to so many tenths',
    act: (session, key) => moveLever(session, 0, Number(key) / 10),
  },
  {
    keys: ['return'],
    shown: 'enter',
    short: 'floor/off',
    does: 'pedal to the floor, or off',
    rank: 1.6,
    act: (session) => moveLever(session, 0, (leverPosition(session, 0) ?? 0) > 0 ? 0 : 1),
  },
  { keys: ['p'], shown: 'p', short: 'power', does: 'power on or off', rank: 1.2, act: flipSwitch },
  { keys: [']'], shown: ']', short: 'selector', does: 'selector one position on', act: (s) => moveChoice(s, 1) },
  { keys: ['['], shown: '[', short: 'selector', does: 'selector one back', act: (s) => moveChoice(s, -1) },
  {
    keys: ['pageup'],
    shown: 'page up',
    short: 'stick',
    does: 'second lever a tenth on',
    act: (s) => shiftLever(s, 1, 0.1),
  },
  {
    keys: ['pagedown'],
    shown: 'page down',
    short: 'stick',
    does: 'second lever a tenth back',
    act: (s) => shiftLever(s, 1, -0.1),
  },
  { keys: ['f'], shown: 'f', short: 'faults', does: 'break or mend something', rank: 2, act: open('faults') },
  {
    keys: ['k'],
    shown: 'k',
    short: 'constants',
    does: 'change a constant, restart',
    rank: 2.5,
    act: open('constants'),
  },
  {
    keys: ['s'],
    shown: 's',
    short: 'save',
    does: 'save as a scenario file',
    rank: 2.7,
    act: open('save'),
  },
  { keys: ['N'], shown: 'N', short: 'new', does: 'forget all, start anew', act: clearSteps },
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
