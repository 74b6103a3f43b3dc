/**
 * The whole screen as lines: a pure function of the session, the size and the characters at hand.
 *
 * From top to bottom in the order in which a builder asks: what is played and how it stands; where in time; what each
 * part does; how near the pulse is to what the controllers take; the signals; what must hold, what was done, what
 * happened; the keys.
 */

import { formatQuantity } from '../units/index.ts';
import type { Glyphs } from './glyphs.ts';
import { bindingsOf } from './keys.ts';
import { beside, fitted, type Line, lineOf, type Span, span, spread, widthOf } from './line.ts';
import { cursorWords } from './measure-cursors.ts';
import { needleLines } from './needle-view.ts';
import { overlayLines } from './overlay-view.ts';
import { eventLines, expectationLines, scriptLines } from './panel-view.ts';
import { pathLines } from './path-view.ts';
import { type Lane, scopeLines } from './scope.ts';
import { SPANS, stretchAt } from './scope-state.ts';
import type { Session } from './session.ts';
import { speedWords } from './speeds.ts';
import { firstFailure } from './standing.ts';

export const LEAST_COLUMNS = 80;
export const LEAST_ROWS = 24;
const SCOPE_ROWS_LEAST = 6;

export function screenLines(session: Session, columns: number, rows: number, glyphs: Glyphs): Line[] {
  if (columns < LEAST_COLUMNS || rows < LEAST_ROWS) return tooSmall(columns, rows, glyphs);
  const head = [headLine(session, columns, glyphs), timeLine(session, columns, glyphs)];
  const path = pathLines(session, columns, glyphs);
  const room = rows - head.length - 1 - (session.message === undefined ? 0 : 1);
  const { overlay } = session;
  if (overlay === 'help' || overlay === 'why' || overlay === 'lanes' || overlay === 'faults') {
    const over = overlayLines(session, overlay, columns, room, glyphs);
    return filled([...head, ...over], rows, columns, session, glyphs);
  }
  const needles = needleLines(session, columns, glyphs).slice(0, Math.max(1, Math.floor(rows / 10)));
  const panelRows = panelRowsIn(rows, room - path.length - needles.length);
  const scopeRows = Math.max(SCOPE_ROWS_LEAST, room - path.length - needles.length - panelRows);
  const panel =
    overlay === undefined
      ? panelLines(session, columns, panelRows, glyphs)
      : overlayLines(session, overlay, columns, panelRows, glyphs);
  const lines = [...head, ...path, ...needles, ...scopeBlock(session, columns, scopeRows, glyphs), ...panel];
  return filled(lines, rows, columns, session, glyphs);
}

/** A quarter of the screen, and never so much that the scope is squeezed out. */
function panelRowsIn(rows: number, room: number): number {
  return Math.max(3, Math.min(Math.max(6, Math.floor(rows / 4)), room - SCOPE_ROWS_LEAST));
}

function filled(lines: readonly Line[], rows: number, columns: number, session: Session, glyphs: Glyphs): Line[] {
  const { message } = session;
  const said = message === undefined ? [] : [[span(glyphs.clean(message.text), message.isBad ? 'bad' : 'strong')]];
  const room = rows - 1 - said.length;
  const body = lines.slice(0, room);
  while (body.length < room) body.push([]);
  return [
    ...[...body, ...said].map((line) => fitted(line, columns, glyphs.ellipsis)),
    keyLine(session, columns, glyphs),
  ];
}

function tooSmall(columns: number, rows: number, glyphs: Glyphs): Line[] {
  const text = [
    `This screen has ${columns} x ${rows} characters;`,
    `jackstand needs ${LEAST_COLUMNS} x ${LEAST_ROWS}.`,
    'Make it larger, or press q.',
  ];
  return text.slice(0, Math.max(1, rows)).map((line) => fitted(lineOf(line), columns, glyphs.ellipsis));
}

function headLine(session: Session, columns: number, glyphs: Glyphs): Line {
  const { standings, play } = session;
  const counts = { holds: 0, fails: 0, open: 0 };
  for (const { isDecided, judgement } of standings)
    counts[!isDecided ? 'open' : judgement.holds ? 'holds' : 'fails'] += 1;
  const right: Span[] =
    standings.length === 0
      ? []
      : [
          span(` ${counts.holds} hold`, counts.holds > 0 ? 'good' : 'faint'),
          span(` ${counts.fails} fail`, counts.fails > 0 ? 'bad' : 'faint'),
          span(` ${counts.open} open`, 'faint'),
        ];
  return spread(
    [
      span('jackstand ', 'faint'),
      span(glyphs.clean(play.title), 'strong'),
      span(glyphs.clean(`  ${play.benchTitle}`), 'faint'),
    ],
    right,
    columns,
    glyphs.ellipsis,
  );
}

/** Where the run stands in time, a bar of it with its steps and changes, and what there is to say. */
function timeLine(session: Session, columns: number, glyphs: Glyphs): Line {
  const { player } = session;
  const isDrive = session.drive !== undefined;
  const end = isDrive ? Math.max(session.furthestSeconds, 1) : player.endSeconds;
  const state = session.isPlaying ? glyphs.playing : glyphs.paused;
  const lag = session.isPlaying && session.isLagging ? ' (as fast as it goes)' : '';
  const words = `${state} ${formatQuantity(player.seconds, 'time', { digits: 6 })}${isDrive ? '' : ` of ${formatQuantity(end, 'time')}`}  ${speedWords(session.speed)}${lag}`;
  const left = fitted([span(words, 'strong')], Math.max(30, words.length + 1), glyphs.ellipsis);
  const room = columns - widthOf(left);
  const failure = firstFailure(session.standings);
  if (failure !== undefined && room > 100) {
    const said = ` first to fail: ${glyphs.clean(failure.judgement.text)} at ${formatQuantity(failure.judgement.atSeconds, 'time')}`;
    return [...left, ...bar(session, end, room - said.length, glyphs), span(said, 'bad')];
  }
  return [...left, ...bar(session, end, room, glyphs)];
}

function bar(session: Session, endSeconds: number, width: number, glyphs: Glyphs): Span[] {
  const { player, play } = session;
  const placeOf = (seconds: number): number => Math.min(width - 1, Math.floor((seconds / endSeconds) * width));
  const now = placeOf(player.seconds);
  const marks = new Map<number, string>();
  for (const { seconds } of player.log.items) marks.set(placeOf(seconds), glyphs.barMode);
  for (const { seconds } of play.acts) if (seconds <= endSeconds) marks.set(placeOf(seconds), glyphs.barStep);
  let done = '';
  let coming = '';
  for (let place = 0; place < width; place += 1) {
    const mark = marks.get(place);
    if (place <= now) done += mark ?? glyphs.barFull;
    else coming += mark ?? glyphs.barEmpty;
  }
  return [span(done, 'curve'), span(coming, 'faint')];
}

function scopeBlock(session: Session, columns: number, rows: number, glyphs: Glyphs): Line[] {
  const { player, scope, cursors } = session;
  const stretch =
    cursors === undefined
      ? stretchAt(player.seconds, SPANS[scope.spanIndex]!)
      : { from: cursors.fromSeconds, until: cursors.untilSeconds };
  const lanes = scope.lanes.flatMap((name, index): Lane[] => {
    const column = player.trace.column(name);
    if (column === undefined) return [];
    return [
      {
        column,
        present: player.present(name),
        bands: session.bandsOf(name),
        isChosen: cursors !== undefined && index === scope.chosenLane,
      },
    ];
  });
  const readout = cursors === undefined ? [] : [cursorLine(session, columns, glyphs)];
  return [
    ...readout,
    ...scopeLines(lanes, rows - readout.length, {
      fromSeconds: stretch.from,
      untilSeconds: stretch.until,
      nowSeconds: player.seconds,
      cursors:
        cursors === undefined
          ? []
          : cursors.seconds.map((seconds, index) => ({ name: index === 0 ? 'A' : 'B', seconds })),
      width: columns,
      glyphs,
    }),
  ];
}

function cursorLine(session: Session, columns: number, glyphs: Glyphs): Line {
  const { cursors, scope, player } = session;
  const name = scope.lanes[scope.chosenLane] ?? '';
  const column = player.trace.column(name);
  const [a, b] = cursors!.seconds;
  const words = column === undefined ? [] : cursorWords(column, a, b);
  const which = cursors!.moving === 0 ? 'A' : 'B';
  return fitted(
    [span(`${which} `, 'chosen'), span(glyphs.clean(`${name}  ${words.join('  ')}`), 'strong')],
    columns,
    glyphs.ellipsis,
  );
}

/** All three panels side by side where there is room; the script above the events where there is less; or one alone. */
function panelLines(session: Session, columns: number, rows: number, glyphs: Glyphs): Line[] {
  if (session.panel === 1) return expectationLines(session, columns, rows, glyphs);
  if (session.panel === 2) return scriptLines(session, columns, rows, glyphs);
  if (session.panel === 3) return eventLines(session, columns, rows, glyphs);
  const separator = span(glyphs.vertical, 'faint');
  if (columns >= 140) {
    const script = Math.floor(columns * 0.24);
    const expectations = Math.floor(columns * 0.4);
    const events = columns - script - expectations - 2;
    return beside(
      [
        [expectationLines(session, expectations, rows, glyphs), expectations],
        [scriptLines(session, script, rows, glyphs), script],
        [eventLines(session, events, rows, glyphs), events],
      ],
      rows,
      separator,
      glyphs.ellipsis,
    );
  }
  const left = Math.floor(columns * 0.6);
  const right = columns - left - 1;
  const upper = Math.ceil(rows / 2);
  return beside(
    [
      [expectationLines(session, left, rows, glyphs), left],
      [
        [
          ...padded(scriptLines(session, right, upper, glyphs), upper),
          ...eventLines(session, right, rows - upper, glyphs),
        ],
        right,
      ],
    ],
    rows,
    separator,
    glyphs.ellipsis,
  );
}

function padded(lines: readonly Line[], rows: number): Line[] {
  return Array.from({ length: rows }, (_, index) => lines[index] ?? []);
}

function whyKeys({ why, cures }: Session): string {
  const next = why !== undefined && why.count > 1 ? 'left/right the next one   ' : '';
  const search = cures?.state === 'searching' ? 's stop   ' : cures?.state === 'stopped' ? 's search again   ' : '';
  return `up/down scroll   ${next}${search}any other key closes`;
}

/** The most useful keys, as many as there is room for; leaving and the list of all are always among them. */
function keyLine(session: Session, columns: number, glyphs: Glyphs): Line {
  const { overlay } = session;
  if (overlay !== undefined) {
    const typing = overlay === 'save' || overlay === 'constant-value';
    const words =
      overlay === 'help'
        ? 'any key closes'
        : overlay === 'why'
          ? whyKeys(session)
          : typing
            ? 'type, then enter   esc back'
            : 'up/down choose   enter take   esc close';
    return fitted([span(words, 'faint')], columns, glyphs.ellipsis);
  }
  const ranked = bindingsOf(session)
    .filter(({ rank }) => rank !== undefined)
    .sort((a, b) => a.rank! - b.rank!);
  const label = ({ shown, short }: { shown: string; short: string }) =>
    `${shown} ${short === 'play' && session.isPlaying ? 'pause' : short}`;
  const kept = [...ranked];
  const length = (): number => kept.reduce((sum, binding) => sum + label(binding).length + 2, 0);
  // The help and the way out stand last and stay; the rest gives way from the right.
  while (length() > columns && kept.length > 2) kept.splice(kept.length - 3, 1);
  return fitted(
    kept.flatMap((binding) => {
      const [key] = [binding.shown];
      return [span(key, 'strong'), span(`${label(binding).slice(key.length)}  `, 'faint')];
    }),
    columns,
    glyphs.ellipsis,
  );
}
