/** The answer to why: the chain of causes from effect to root, and below it the nearest cures as they are found. */

import { distanceWords, valueWords } from '../campaign/why/words.ts';
import type { Change } from '../campaign/why.ts';
import { formatQuantity } from '../units/index.ts';
import type { Cures } from './cures.ts';
import type { Glyphs } from './glyphs.ts';
import { type Line, lineOf, span } from './line.ts';
import { titled } from './panel-view.ts';
import type { Session } from './session.ts';
import type { Why } from './why.ts';
import { wrapped } from './wrapped.ts';

/** Columns of an instant or a label, and of the gap behind it. */
const LABEL_COLUMNS = 12;

export function whyLines(session: Session, width: number, height: number, glyphs: Glyphs): Line[] {
  const { why, cures } = session;
  if (why === undefined)
    return [titled('why: any key closes this', width, glyphs), lineOf('  Nothing has happened yet.')];
  const which = why.count > 1 ? ` (${why.index + 1} of ${why.count}, left and right)` : '';
  const head = titled(`why, from effect to root${which}: any other key closes this`, width, glyphs);
  const chain = chainLines(why, width, glyphs);
  const [title, ...rows] =
    why.place === undefined || cures === undefined ? [] : cureLines(session, cures, why, width, glyphs);
  const room = height - 1;
  // The cures have their rows below, however long the chain is.
  const least = title === undefined ? 0 : Math.min(rows.length + 1, Math.max(4, Math.floor(room * 0.4)));
  const cureRoom = Math.max(least, Math.min(rows.length + 1, room - chain.length)) * (title === undefined ? 0 : 1);
  const chainRoom = room - cureRoom;
  const chainRest = Math.max(0, chain.length - chainRoom);
  const rowsRest = Math.max(0, rows.length - (cureRoom - 1));
  const scrolled = Math.min(session.chosen, chainRest + rowsRest);
  const chainFrom = Math.min(scrolled, chainRest);
  const rowsFrom = scrolled - chainFrom;
  return [
    head,
    ...chain.slice(chainFrom, chainFrom + chainRoom),
    ...(title === undefined ? [] : [title, ...rows.slice(rowsFrom, rowsFrom + cureRoom - 1)]),
  ];
}

function chainLines(why: Why, width: number, glyphs: Glyphs): Line[] {
  const cures = why.links.flatMap(({ cure }) => (cure === undefined ? [] : [cure]));
  const paragraphs: [string, string][] = [
    ['', why.of],
    ...why.links.map(({ seconds, says }): [string, string] => [formatQuantity(seconds, 'time'), says]),
    ...(cures.length === 0 ? [] : [['cure', cures.join('; ')] as [string, string]]),
  ];
  return paragraphs.flatMap(([label, text], index) =>
    wrapped(glyphs.clean(text), width - LABEL_COLUMNS).map(
      (piece, row): Line => [
        span(`${(row === 0 ? label : '').padStart(LABEL_COLUMNS - 2)}  `, 'faint'),
        span(piece, index === 0 ? 'strong' : label === 'cure' ? 'good' : 'plain'),
      ],
    ),
  );
}

/** How the search stands, then a row or two for each change, the nearest first. */
function cureLines(session: Session, cures: Cures, why: Why, width: number, glyphs: Glyphs): Line[] {
  const asked = cures.report?.asked;
  if (asked !== undefined && !asked.includes(why.place!))
    return [
      titled('nearest cures', width, glyphs),
      lineOf('  At the end of the run it is as it should be: there is nothing to cure.'),
    ];
  const changes = cures.changes.filter(({ turns }) => turns.includes(why.place!));
  const title = titled(`nearest cures, each alone: ${stateWords(cures, changes.length)}`, width, glyphs);
  if (changes.length === 0)
    return [title, lineOf(cures.state === 'done' ? '  No single value of the bench turns it.' : '  None so far.')];
  const lineAt = (place: number): number => session.play.expectations[place]!.line;
  const cells = changes.map((change) => cellsOf(change, why.place!, lineAt));
  const widths = [0, 1, 2].map((column) => Math.max(...cells.map((row) => row[column]!.length)));
  const rows = cells.map(([name, value, distance, beside]) => [
    `  ${name!.padEnd(widths[0]!)}  ${value!.padEnd(widths[1]!)}  ${distance!.padStart(widths[2]!)}`,
    beside!,
  ]);
  // What else there is to say of them is left to a wider screen, and to `jackstand why`.
  const isWide = rows.every(([row, beside]) => row!.length + 2 + beside!.length <= width);
  return [
    title,
    ...rows.map(([row, beside]) => [
      span(glyphs.clean(row!)),
      span(isWide ? `  ${glyphs.clean(beside!)}` : '', 'faint'),
    ]),
  ];
}

function stateWords({ state, done, total, report }: Cures, count: number): string {
  if (state === 'searching') return total === 0 ? 'searching' : `${done} of ${total} tried, ${count} found; s stops`;
  if (state === 'stopped') return `stopped at ${done} of ${total}; s starts again`;
  return `${count} found in ${report?.runCount ?? 0} runs`;
}

function cellsOf(change: Change, place: number, lineAt: (place: number) => number): readonly string[] {
  const { path, members, from, to, back, turns, alsoTurns } = change;
  const others = [...turns.filter((other) => other !== place), ...alsoTurns].map(lineAt).sort((a, b) => a - b);
  return [
    members.length > 0 ? `${path} (all)` : path,
    `${valueWords(from, change, 4)} -> ${valueWords(to, change, 4)}`,
    distanceWords(change),
    [
      back === null ? '' : `not from ${valueWords(back, change, 3)} on`,
      others.length === 0 ? '' : `also turns line ${others.join(', ')}`,
    ]
      .filter((words) => words !== '')
      .join(', '),
  ];
}
