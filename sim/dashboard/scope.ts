/**
 * Draws recorded signals over a stretch of time: curves with their scales, levels with the window that an edge must
 * fall into, words as a strip. Pure: everything it needs is handed in.
 */

import type { Band } from '../kernel/part.ts';
import type { SignalInfo } from '../kernel/signal.ts';
import type { Column } from '../trace/trace.ts';
import { formatQuantity } from '../units/index.ts';
import { Canvas } from './canvas.ts';
import type { Glyphs } from './glyphs.ts';
import { cut, fitted, type Line, type Span, span } from './line.ts';

export interface Lane {
  readonly column: Column;
  /** The value at the present instant, which may have moved on since the last sample. */
  readonly present: number;
  /** For a curve: ranges of its value. For a level: ranges of the time from its rise. */
  readonly bands: readonly Band[];
  readonly isChosen: boolean;
}

export interface ScopeView {
  readonly fromSeconds: number;
  readonly untilSeconds: number;
  /** Nothing is known after it. */
  readonly nowSeconds: number;
  readonly cursors: readonly { readonly name: string; readonly seconds: number }[];
  readonly width: number;
  readonly glyphs: Glyphs;
}

/** Columns on the left for names and scales. */
export const GUTTER = 20;

export function scopeColumns(width: number): number {
  return Math.max(1, width - GUTTER - 1);
}

/** Words are drawn as a strip of one row, unless they are the levels of a line. */
export function isStrip({ modes }: SignalInfo): boolean {
  return modes !== undefined && !isLevelSignal({ modes });
}

export function isLevelSignal({ modes }: Pick<SignalInfo, 'modes'>): boolean {
  return modes?.[0] === 'low' && modes[1] === 'high';
}

/** The lanes in `height` rows, the last of which is the time scale; lanes that find no room are left out from the end. */
export function scopeLines(lanes: readonly Lane[], height: number, view: ScopeView): Line[] {
  const rows = laneRows(lanes, height - 1);
  const lines = lanes.flatMap((lane, index) => (rows[index]! === 0 ? [] : laneLines(lane, rows[index]!, view)));
  while (lines.length < height - 1) lines.push([]);
  return [...lines, axisLine(view)];
}

const LEVEL_ROWS_MOST = 3;

/** Rows for each lane: one for a strip, two for a level, at least three for a curve; what is left goes to the curves. */
export function laneRows(lanes: readonly Lane[], room: number): number[] {
  const least = lanes.map(({ column: { signal } }) => (isStrip(signal) ? 1 : isLevelSignal(signal) ? 2 : 3));
  let left = room;
  const rows = least.map((wanted) => {
    if (wanted > left) return 0;
    left -= wanted;
    return wanted;
  });
  const growing = rows.flatMap((count, index) => (count >= 2 ? [index] : []));
  for (let turn = 0; left > 0 && turn < room * growing.length; turn += 1) {
    const index = growing[turn % growing.length]!;
    // A level needs no height to be read.
    if (least[index] === 2 && rows[index]! >= LEVEL_ROWS_MOST && least.includes(3)) continue;
    rows[index]! += 1;
    left -= 1;
  }
  return rows;
}

function laneLines(lane: Lane, rows: number, view: ScopeView): Line[] {
  const { signal } = lane.column;
  if (isStrip(signal)) return [stripLine(lane, view)];
  return isLevelSignal(signal) ? levelLines(lane, rows, view) : curveLines(lane, rows, view);
}

/** Dot column of an instant. */
function columnAt(seconds: number, dots: number, { fromSeconds, untilSeconds }: ScopeView): number {
  return Math.floor(((seconds - fromSeconds) / (untilSeconds - fromSeconds)) * dots);
}

function markCursors(canvas: Canvas, view: ScopeView): void {
  for (const { seconds } of view.cursors)
    canvas.mark(columnAt(seconds, scopeColumns(view.width), view), view.glyphs.cursor);
}

interface Scale {
  readonly low: number;
  readonly high: number;
}

function curveLines(lane: Lane, rows: number, view: ScopeView): Line[] {
  const { column, bands } = lane;
  const canvas = new Canvas(scopeColumns(view.width), rows, view.glyphs);
  const dots = canvas.dotColumns;
  const extremes = extremesOf(lane, dots, view);
  const scale = scaleOf(extremes, bands);
  const rowAt = (value: number): number =>
    Math.round((1 - (value - scale.low) / (scale.high - scale.low)) * (canvas.dotRows - 1));
  for (const band of bands) {
    if (band.role === 'limit') continue;
    // A dotted line at each edge; a point of note has one.
    for (const edge of new Set([band.least, band.most]))
      if (edge >= scale.low && edge <= scale.high)
        for (let dot = 0; dot < dots; dot += band.role === 'aim' ? 2 : 4)
          canvas.column(dot, rowAt(edge), rowAt(edge), false);
  }
  for (let dot = 0; dot < dots; dot += 1) {
    const least = extremes[dot * 2]!;
    const most = extremes[dot * 2 + 1]!;
    if (Number.isFinite(least) && Number.isFinite(most)) canvas.column(dot, rowAt(most), rowAt(least), true);
  }
  markCursors(canvas, view);
  const { dimension } = column.signal;
  const plotted = canvas.lines();
  return gutter(lane, rows, formatQuantity(scale.high, dimension), formatQuantity(scale.low, dimension), view).map(
    (left, row) => [...left, ...plotted[row]!],
  );
}

/** Least and greatest value in each dot column, infinite where there is none; a step touches both its values. */
function extremesOf({ column, present }: Lane, dots: number, view: ScopeView): Float64Array {
  const extremes = new Float64Array(dots * 2);
  const span = view.untilSeconds - view.fromSeconds;
  let index = column.indexAt(view.fromSeconds);
  for (let dot = 0; dot < dots; dot += 1) {
    const start = view.fromSeconds + (dot / dots) * span;
    const end = view.fromSeconds + ((dot + 1) / dots) * span;
    let least = Number.POSITIVE_INFINITY;
    let most = Number.NEGATIVE_INFINITY;
    const take = (value: number): void => {
      if (value < least) least = value;
      if (value > most) most = value;
    };
    if (start <= view.nowSeconds && end > 0) {
      if (index >= 0) take(valueAt(column, index, start, present, view.nowSeconds));
      while (index + 1 < column.length && column.secondsAt(index + 1) < end) {
        index += 1;
        take(column.valueAt(index));
      }
      if (index >= 0 && end <= view.nowSeconds && column.signal.shape === 'linear')
        take(valueAt(column, index, end, present, view.nowSeconds));
    }
    extremes[dot * 2] = least;
    extremes[dot * 2 + 1] = most;
  }
  return extremes;
}

/** As `Column.valueFrom`, but a line that is under way leads from its last sample to the present value. */
function valueAt(column: Column, index: number, seconds: number, present: number, nowSeconds: number): number {
  if (column.signal.shape === 'held' || index + 1 < column.length) return column.valueFrom(index, seconds);
  const start = column.secondsAt(index);
  const value = column.valueAt(index);
  if (nowSeconds <= start || !Number.isFinite(present - value)) return value;
  return value + (present - value) * Math.min(1, Math.max(0, (seconds - start) / (nowSeconds - start)));
}

/** From the least to the greatest value in view, the aimed-at range always in it, with a little air. */
function scaleOf(extremes: Float64Array, bands: readonly Band[]): Scale {
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  // Of what must hit a range, 0 says that nothing has been measured yet; it would squeeze all else together.
  const isAimed = bands.some(({ role }) => role === 'aim');
  for (const value of extremes) {
    if (!Number.isFinite(value) || (isAimed && value === 0)) continue;
    if (value < low) low = value;
    if (value > high) high = value;
  }
  for (const { role, least, most } of bands) {
    if (role !== 'aim') continue;
    low = Math.min(low, least - (most - least) / 4);
    high = Math.max(high, most + (most - least) / 4);
  }
  if (low > high) return { low: 0, high: 1 };
  if (low === high) return low === 0 ? { low: 0, high: 1 } : { low: Math.min(low, 0), high: Math.max(high, 0) };
  return { low, high };
}

function levelLines(lane: Lane, rows: number, view: ScopeView): Line[] {
  const { column, bands } = lane;
  const canvas = new Canvas(scopeColumns(view.width), rows, view.glyphs);
  const dots = canvas.dotColumns;
  const aim = bands.find(({ role }) => role === 'aim');
  if (aim !== undefined) shadeWindows(column, aim, canvas, view);
  const bottom = canvas.dotRows - 1;
  const rowOf = (value: number): number => (value === 0 ? bottom : value === 1 ? 0 : Math.round(bottom / 2));
  const span = view.untilSeconds - view.fromSeconds;
  let index = column.indexAt(view.fromSeconds);
  for (let dot = 0; dot < dots; dot += 1) {
    const end = view.fromSeconds + ((dot + 1) / dots) * span;
    if (view.fromSeconds + (dot / dots) * span > view.nowSeconds) break;
    if (index >= 0) canvas.column(dot, rowOf(column.valueAt(index)), rowOf(column.valueAt(index)), true);
    while (index + 1 < column.length && column.secondsAt(index + 1) < end) {
      const before = index < 0 ? column.valueAt(index + 1) : column.valueAt(index);
      index += 1;
      canvas.column(dot, rowOf(before), rowOf(column.valueAt(index)), true);
    }
  }
  markCursors(canvas, view);
  const plotted = canvas.lines();
  return gutter(lane, rows, 'high', 'low', view).map((left, row) => [...left, ...plotted[row]!]);
}

/** After each rise the stretch in which the fall must come, where it is wide enough to be seen. */
function shadeWindows(column: Column, { least, most }: Band, canvas: Canvas, view: ScopeView): void {
  const perDot = (view.untilSeconds - view.fromSeconds) / canvas.dotColumns;
  if (least < 4 * perDot) return;
  for (let index = Math.max(0, column.indexAt(view.fromSeconds - most)); index < column.length; index += 1) {
    const rise = column.secondsAt(index);
    if (rise > view.untilSeconds) return;
    if (column.valueAt(index) !== 1 || index === 0) continue;
    canvas.shade(columnAt(rise + least, canvas.dotColumns, view), columnAt(rise + most, canvas.dotColumns, view));
  }
}

/** One row: each word from where it starts. */
function stripLine(lane: Lane, view: ScopeView): Line {
  const { column } = lane;
  const columns = scopeColumns(view.width);
  const { glyphs } = view;
  const cells = new Array<string>(columns).fill(' ');
  const nowColumn = Math.min(columns - 1, columnAt(view.nowSeconds, columns, view));
  let index = Math.max(0, column.indexAt(view.fromSeconds));
  for (; index < column.length; index += 1) {
    const start = Math.max(0, columnAt(column.secondsAt(index), columns, view));
    if (start > nowColumn) break;
    const next = index + 1 < column.length ? columnAt(column.secondsAt(index + 1), columns, view) : nowColumn + 1;
    const end = Math.min(next, nowColumn + 1);
    const word = cut(
      glyphs.clean(column.signal.modes?.[column.valueAt(index)] ?? ''),
      Math.max(0, end - start - 2),
      glyphs.ellipsis,
    );
    for (let place = start; place < end; place += 1)
      cells[place] = place === start ? glyphs.vertical : (word[place - start - 1] ?? glyphs.horizontal);
    if (end <= start && start < columns) cells[start] = glyphs.vertical;
  }
  for (const { seconds } of view.cursors) {
    const place = columnAt(seconds, columns, view);
    if (place >= 0 && place < columns) cells[place] = glyphs.cursor;
  }
  return [...gutter(lane, 1, '', '', view)[0]!, span(cells.join(''), 'curve')];
}

/** Name and present value on the left, greatest and least value of the scale on the right. */
function gutter(lane: Lane, rows: number, high: string, low: string, view: ScopeView): Line[] {
  const { glyphs } = view;
  const { signal } = lane.column;
  const room = GUTTER - 1;
  const value = signal.modes?.[lane.present] ?? formatQuantity(lane.present, signal.dimension);
  const isNamedBeside = rows > 1;
  return Array.from({ length: rows }, (_, row): Line => {
    const scale = row === 0 ? high : row === rows - 1 ? low : '';
    const left: Span =
      row === 0
        ? span(`${lane.isChosen ? glyphs.chosen : ' '}${glyphs.clean(signal.name)}`, lane.isChosen ? 'strong' : 'plain')
        : row === 1
          ? span(` ${glyphs.clean(isStrip(signal) ? '' : value)}`, 'strong')
          : span('');
    const scaleText = isNamedBeside ? ` ${glyphs.clean(scale)}` : '';
    return [
      ...fitted([left], room - scaleText.length, glyphs.ellipsis),
      span(scaleText, 'faint'),
      span(` ${glyphs.vertical}`, 'faint'),
    ];
  });
}

/** Instants at round distances, and the cursors by name. */
function axisLine(view: ScopeView): Line {
  const columns = scopeColumns(view.width);
  const cells = new Array<string>(columns).fill(view.glyphs.horizontal);
  const span_ = view.untilSeconds - view.fromSeconds;
  const step = roundStep(span_ / Math.max(1, Math.floor(columns / 16)));
  for (let count = Math.ceil(view.fromSeconds / step); count * step <= view.untilSeconds; count += 1) {
    const place = columnAt(count * step, columns, view);
    const label = `${view.glyphs.vertical}${labelOf(count * step, step)}`;
    if (count < 0 || place < 0 || place + label.length > columns) continue;
    for (let offset = 0; offset < label.length; offset += 1) cells[place + offset] = label[offset]!;
  }
  for (const { name, seconds } of view.cursors) {
    const place = columnAt(seconds, columns, view);
    if (place >= 0 && place < columns) cells[place] = name;
  }
  const scale = `${formatQuantity(step, 'time')} a mark`;
  return [
    ...fitted([span(` ${scale}`, 'faint')], GUTTER - 1, view.glyphs.ellipsis),
    span(` ${view.glyphs.vertical}`, 'faint'),
    span(cells.join(''), 'faint'),
  ];
}

/** The 1, 2 or 5 times a power of ten that is not below. */
export function roundStep(least: number): number {
  const power = 10 ** Math.floor(Math.log10(least));
  const factor = [1, 2, 5, 10].find((candidate) => candidate * power >= least * (1 - 1e-9))!;
  return factor * power;
}

/** The instant in the unit of the distance between marks, so that neighbours differ in few places. */
function labelOf(seconds: number, stepSeconds: number): string {
  const [unit, scale] = stepSeconds >= 0.1 ? ['s', 1] : stepSeconds >= 1e-4 ? ['ms', 1e3] : ['us', 1e6];
  const decimals = Math.max(0, -Math.floor(Math.log10(stepSeconds * Number(scale)) + 1e-9));
  return `${(seconds * Number(scale)).toFixed(decimals)} ${unit}`;
}
