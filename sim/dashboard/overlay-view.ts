/** What lies over the lower part of the screen for a while: the keys, a chain of causes, a menu, a line to type. */
import type { Glyphs } from './glyphs.ts';
import { constantChoices, faultChoices } from './hand.ts';
import { bindingsOf } from './keys.ts';
import { fitted, type Line, lineOf, span } from './line.ts';
import { laneChoices } from './overlay-keys.ts';
import { titled } from './panel-view.ts';
import type { Overlay, Session } from './session.ts';
import { whyLines } from './why-view.ts';

export function overlayLines(
  session: Session,
  overlay: Overlay,
  width: number,
  height: number,
  glyphs: Glyphs,
): Line[] {
  const lines = contents(session, overlay, width, height, glyphs);
  return lines.slice(0, height).map((line) => fitted(line, width, glyphs.ellipsis));
}

function contents(session: Session, overlay: Overlay, width: number, height: number, glyphs: Glyphs): Line[] {
  switch (overlay) {
    case 'help':
      return helpLines(session, width, height, glyphs);
    case 'why':
      return whyLines(session, width, height, glyphs);
    case 'lanes':
      return menu(
        'signals on the scope: enter puts one on or takes it off, esc closes',
        laneChoices(session).map(
          (name) =>
            `${session.scope.lanes.includes(name) ? '[x]' : '[ ]'} ${name.padEnd(22)} ${meaningOf(session, name)}`,
        ),
        session.chosen,
        width,
        height,
        glyphs,
      );
    case 'faults':
      return menu(
        'faults: enter breaks or mends, esc closes',
        faultChoices(session.play.parts, session.drive?.steps ?? []).map(
          ({ part, fault, means, openStep }) =>
            `${openStep === undefined ? '        ' : 'BROKEN  '}${`${part}: ${fault}`.padEnd(28)} ${means}`,
        ),
        session.chosen,
        width,
        height,
        glyphs,
      );
    case 'constants':
      return menu(
        'constants: enter changes one and starts again, esc closes',
        constantChoices(session.play.parts).map(({ path, value }) => `${path.padEnd(30)} ${value}`),
        session.chosen,
        width,
        height,
        glyphs,
      );
    case 'constant-value': {
      const choice = constantChoices(session.play.parts)[session.chosen];
      return [
        titled('a new value: enter starts again with it, esc goes back', width, glyphs),
        lineOf(glyphs.clean(`  ${choice?.path ?? ''} is ${choice?.value ?? ''}`)),
        [span('  new value: '), span(`${glyphs.clean(session.typed)}_`, 'strong')],
      ];
    }
    case 'save':
      return [
        titled('save as a scenario: enter writes the file, esc goes back', width, glyphs),
        [span('  file: '), span(`${glyphs.clean(session.typed)}_`, 'strong')],
      ];
  }
}

function meaningOf(session: Session, name: string): string {
  const { signals, signalIndex } = session.player.assembly;
  return signals[signalIndex.get(name)!]!.means;
}

/** A list with one row chosen, scrolled so that it is seen. */
function menu(
  title: string,
  rows: readonly string[],
  chosen: number,
  width: number,
  height: number,
  glyphs: Glyphs,
): Line[] {
  const room = height - 1;
  const place = Math.min(chosen, rows.length - 1);
  const from = Math.min(Math.max(0, place - Math.floor(room / 2)), Math.max(0, rows.length - room));
  return [
    titled(title, width, glyphs),
    ...rows.slice(from, from + room).map((row, index): Line => {
      const isChosen = from + index === place;
      return lineOf(glyphs.clean(`${isChosen ? glyphs.chosen : ' '} ${row}`), isChosen ? 'chosen' : 'plain');
    }),
  ];
}

function helpLines(session: Session, width: number, height: number, glyphs: Glyphs): Line[] {
  const entries = bindingsOf(session).map(({ shown, does }) => `${shown.padStart(9)}  ${does}`);
  const room = Math.max(1, height - 1);
  const columns = Math.ceil(entries.length / room);
  const each = Math.floor(width / columns);
  const rows = Math.ceil(entries.length / columns);
  return [
    titled('keys: any key closes this', width, glyphs),
    ...Array.from({ length: rows }, (_, row) =>
      Array.from({ length: columns }, (__, column) => entries[column * rows + row] ?? '').flatMap((entry) =>
        fitted([span(entry)], each, glyphs.ellipsis),
      ),
    ),
  ];
}
