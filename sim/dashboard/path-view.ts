/** The way of the power and the way of the signal from foot to wheel: of each part its telling number and its mode. */
import type { AssembledPart } from '../bench/assemble.ts';
import type { Tells } from '../kernel/part.ts';
import { formatQuantity } from '../units/index.ts';
import type { Glyphs } from './glyphs.ts';
import { fitted, type Line, span, type Tone } from './line.ts';
import type { Session } from './session.ts';
import { tellsOf } from './telling.ts';

const CELL_LEAST = 13;
const CELL_MOST = 24;

/** Two rows a row of cells: name and number, and below them the mode. */
export function pathLines(session: Session, width: number, glyphs: Glyphs): Line[] {
  const { parts } = session.player.assembly;
  const along = (way: Tells['along']) => parts.filter((part) => tellsOf(part).along === way);
  // What moves is wired from the wheel back; it is shown from the motors on.
  const motion = along('motion').sort((a, b) => rankOf(b) - rankOf(a));
  return [
    ...wayLines(session, along('power'), width, glyphs),
    ...wayLines(session, [...along('signal'), ...motion], width, glyphs),
  ];
  function rankOf(part: AssembledPart): number {
    return parts.findIndex(({ kind }) => kind === part.kind);
  }
}

function wayLines(session: Session, parts: readonly AssembledPart[], width: number, glyphs: Glyphs): Line[] {
  if (parts.length === 0) return [];
  const perRow = Math.max(1, Math.floor(width / CELL_LEAST));
  const rowCount = Math.ceil(parts.length / perRow);
  const inRow = Math.ceil(parts.length / rowCount);
  const cell = Math.min(CELL_MOST, Math.floor(width / inRow));
  return Array.from({ length: rowCount }, (_, row) => parts.slice(row * inRow, (row + 1) * inRow)).flatMap(
    (chunk): Line[] => {
      const cells = chunk.map((part, index) => cellOf(session, part, index + 1 < chunk.length, cell, glyphs));
      return [cells.flatMap(([top]) => top), cells.flatMap(([, bottom]) => bottom)];
    },
  );
}

function cellOf(session: Session, part: AssembledPart, hasNext: boolean, width: number, glyphs: Glyphs): [Line, Line] {
  const { player } = session;
  const { ports, hasBusyMode } = tellsOf(part);
  const [first] = ports;
  const number = first === undefined ? '' : valueWords(session, `${part.name}.${first}`);
  const mode =
    hasBusyMode === true
      ? ports[1] === undefined
        ? ''
        : valueWords(session, `${part.name}.${ports[1]}`)
      : modeOf(session, part);
  const isChanged = hasBusyMode !== true && isRecent(session, `${part.name}.mode`);
  const room = width - 2;
  const nameRoom = Math.max(4, room - number.length - 1);
  const name = shortName(glyphs.clean(part.name), nameRoom);
  return [
    [
      ...fitted([span(name, 'faint'), span(' '), span(glyphs.clean(number), 'strong')], room, glyphs.ellipsis),
      span(hasNext ? `${glyphs.arrow} ` : '  ', 'faint'),
    ],
    [...fitted([span(glyphs.clean(shortMode(mode, room)), toneOf(isChanged))], room, glyphs.ellipsis), span('  ')],
  ];
  function toneOf(changed: boolean): Tone {
    return changed && player.seconds > 0 ? 'strong' : 'plain';
  }
}

/** `motors.left` becomes `m.left` where there is little room. */
function shortName(name: string, room: number): string {
  return name.length <= room ? name : name.replace(/^(.)[^.]*\./, '$1.').slice(0, room);
}

/** The nested part of a mode alone where the whole does not fit. */
function shortMode(mode: string, room: number): string {
  return mode.length <= room ? mode : (mode.split('.').at(-1) ?? mode);
}

export function modeOf(session: Session, part: AssembledPart): string {
  const { player } = session;
  const index = player.assembly.signalIndex.get(`${part.name}.mode`);
  const info = index === undefined ? undefined : player.assembly.signals[index];
  return info?.modes?.[player.present(`${part.name}.mode`)] ?? '';
}

export function valueWords(session: Session, signal: string): string {
  const { player } = session;
  const index = player.assembly.signalIndex.get(signal);
  if (index === undefined) return '';
  const info = player.assembly.signals[index]!;
  const value = player.present(signal);
  return info.modes?.[value] ?? formatQuantity(value, info.dimension, { digits: 3 });
}

/** Whether a signal changed within the last twentieth of a second of the run. */
function isRecent(session: Session, signal: string): boolean {
  const item = session.player.log.items.findLast((one) => one.signal === signal);
  return item !== undefined && session.player.seconds - item.seconds < 0.05;
}
