/** Measuring on the scope: a pair of cursors, moved by hand or from change to change of the chosen signal. */
import type { Binding } from './binding.ts';
import { neighbouringChange } from './measure-cursors.ts';
import { type Cursors, SPANS, stretchAt } from './scope-state.ts';
import type { Session } from './session.ts';

export const measuring: readonly Binding[] = [
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

/** Shows a shorter or longer stretch of time. */
export function zoom(session: Session, by: number): void {
  const { scope } = session;
  session.scope = { ...scope, spanIndex: Math.min(Math.max(scope.spanIndex + by, 0), SPANS.length - 1) };
  if (session.cursors !== undefined) session.cursors = { ...session.cursors, ...stretchAround(session) };
}

/** Sets the two cursors into the shown stretch, which then stands still. */
export function startMeasuring(session: Session): void {
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
