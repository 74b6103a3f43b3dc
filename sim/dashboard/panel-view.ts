/** The lower panels: how the expectations stand, the script with what is done and to come, and what happened last. */
import type { Act } from '../bench/assemble.ts';
import { formatQuantity } from '../units/index.ts';
import type { Glyphs } from './glyphs.ts';
import { cut, fitted, type Line, span, spread, type Tone } from './line.ts';
import type { Session } from './session.ts';
import { firstFailure, type Standing } from './standing.ts';

/** A title row, then one row an expectation; the undecided and the failed ones come into view first. */
export function expectationLines(session: Session, width: number, height: number, glyphs: Glyphs): Line[] {
  const { standings } = session;
  const first = firstFailure(standings);
  const rows = standings.map((standing) => standingLine(standing, standing === first, width, glyphs));
  if (rows.length === 0) rows.push([span('none stated', 'faint')]);
  const worst = first === undefined ? -1 : standings.indexOf(first);
  return listed('expectations', rows, height, Math.max(worst, 0), width, glyphs);
}

/** `holds`, `fails` are settled; `so far` and `not yet` may still turn. */
export function standingWords({ judgement, isDecided, formula }: Standing): {
  readonly word: string;
  readonly tone: Tone;
} {
  if (isDecided) {
    if (judgement.judgedCount === 0) return { word: 'not asked', tone: 'faint' };
    if (judgement.holds) return { word: formula.isExpectedToFail ? 'as expected' : 'holds', tone: 'good' };
    return { word: 'FAILS', tone: 'bad' };
  }
  return judgement.truth && judgement.judgedCount > 0
    ? { word: 'so far', tone: 'plain' }
    : { word: 'not yet', tone: 'faint' };
}

function standingLine(standing: Standing, isFirst: boolean, width: number, glyphs: Glyphs): Line {
  const { judgement, isDecided } = standing;
  const { word, tone } = standingWords(standing);
  const mark = !isDecided || judgement.judgedCount === 0 ? glyphs.open : judgement.holds ? glyphs.holds : glyphs.fails;
  const { margin, unit } = judgement;
  const amount =
    unit === null || !Number.isFinite(margin) || margin === 0
      ? ''
      : `${formatQuantity(Math.abs(margin), unit)} ${judgement.truth ? 'spare' : 'off'}`;
  const right = `${amount === '' ? '' : ` ${amount},`} ${isFirst ? 'first to fail' : word}`;
  return spread(
    [span(`${mark} `, tone), span(glyphs.clean(judgement.text))],
    [span(glyphs.clean(right), tone)],
    width,
    glyphs.ellipsis,
  );
}

/** A title row, then the acts of the script about the present instant. */
export function scriptLines(session: Session, width: number, height: number, glyphs: Glyphs): Line[] {
  const { acts } = session.play;
  const { seconds } = session.player;
  const next = acts.findIndex((act) => act.seconds > seconds);
  const rows = acts.map((act): Line => {
    const isDone = act.seconds <= seconds;
    const mark = isDone ? glyphs.done : act === acts[next] ? glyphs.chosen : glyphs.coming;
    const text = `${mark} ${formatQuantity(act.seconds, 'time').padStart(8)}  ${glyphs.clean(actWords(act))}`;
    return [span(text, isDone ? 'faint' : 'plain')];
  });
  if (rows.length === 0)
    rows.push([span(session.drive === undefined ? 'nothing is done' : 'nothing yet: p for the power', 'faint')]);
  const around = next < 0 ? rows.length - 1 : Math.max(0, next - 1);
  return listed('script', rows, height, around, width, glyphs);
}

/** `pedal press 100 %, over 1 s` */
export function actWords(act: Act): string {
  if ('event' in act) return `${act.part}: ${act.event}${act.amount === 0 ? '' : ` (${act.amount})`}`;
  if (act.contents === undefined) return `${act.part} ${act.form}`;
  const words = Object.entries(act.contents as Readonly<Record<string, unknown>>).flatMap(([key, value]) => {
    if (typeof value !== 'number') return [`${key} ${String(value)}`];
    if (key === act.form) return [`${key} ${formatQuantity(value, key === 'release' ? 'time' : 'ratio')}`];
    return value === 0 ? [] : [`${key} ${formatQuantity(value, 'time')}`];
  });
  return `${act.part} ${words.join(', ')}`;
}

/** A title row, then the latest changes and findings, the last one at the bottom; on a high panel each with its reason. */
export function eventLines(session: Session, width: number, height: number, glyphs: Glyphs): Line[] {
  const rowsEach = height - 1 >= 8 ? 2 : 1;
  const room = Math.max(0, Math.floor((height - 1) / rowsEach));
  const news = newsOf(session, room);
  const rows = news.flatMap(({ seconds, what, reason }, index): Line[] => {
    const tone = index === news.length - 1 ? 'strong' : 'plain';
    const head = span(`${formatQuantity(seconds, 'time').padStart(8)}  ${glyphs.clean(what)}`, tone);
    if (rowsEach === 1) return [[head, span(`  ${glyphs.clean(reason)}`, 'faint')]];
    return [
      [head],
      [span(`          ${cut(glyphs.clean(reason), Math.max(0, width - 10), glyphs.ellipsis)}`, 'faint')],
    ];
  });
  if (rows.length === 0) rows.push([span('nothing has changed yet', 'faint')]);
  return [titled('what happened last', width, glyphs), ...rows.map((row) => fitted(row, width, glyphs.ellipsis))];
}

interface News {
  readonly seconds: number;
  readonly what: string;
  readonly reason: string;
}

/** The latest `count` changes of modes, and what parts found worth telling, in order of time. */
function newsOf({ player }: Session, count: number): News[] {
  if (count === 0) return [];
  const changes = player.log.items.slice(-count).map(({ seconds, signal, to, says, cause }): News => {
    const reason = says !== '' ? says : cause === undefined ? 'said by the script' : `after ${cause}`;
    return { seconds, what: changeWords(signal, to), reason };
  });
  // Going back leaves findings behind that lie ahead, and playing on may tell one again.
  const told = new Set<string>();
  const findings = player.assembly.findings.flatMap(({ part, code, says, seconds }): News[] => {
    if (seconds > player.seconds || told.has(`${part} ${code}`)) return [];
    told.add(`${part} ${code}`);
    return [{ seconds, what: `${part}:`, reason: says }];
  });
  return [...changes, ...findings].sort((a, b) => a.seconds - b.seconds).slice(-count);
}

/** `left: refusing` for a mode, `left.refusal: pulse-off-neutral` for another word. */
function changeWords(signal: string, to: string): string {
  return signal.endsWith('.mode') ? `${signal.slice(0, -'.mode'.length)}: ${to.split('.').at(-1)}` : `${signal}: ${to}`;
}

export function titled(title: string, width: number, glyphs: Glyphs): Line {
  return [
    span(`${glyphs.horizontal} ${title} `, 'faint'),
    span(glyphs.horizontal.repeat(Math.max(0, width - title.length - 3)), 'faint'),
  ];
}

/** A title, and so many rows about the wanted one; the title says how many there are where not all are shown. */
function listed(
  title: string,
  rows: readonly Line[],
  height: number,
  wanted: number,
  width: number,
  glyphs: Glyphs,
): Line[] {
  const room = Math.max(1, height - 1);
  const from = Math.min(Math.max(0, wanted - Math.floor(room / 2)), Math.max(0, rows.length - room));
  const shown = rows.slice(from, from + room);
  const head = shown.length < rows.length ? `${title}, ${shown.length} of ${rows.length}` : title;
  return [titled(head, width, glyphs), ...shown.map((row) => fitted(row, width, glyphs.ellipsis))];
}
