/** What `why` found, for people: the verdict with its causes, a table of margins, and the changes that turn it. */
import { printable } from '../bench/print.ts';
import { distanceWords, valueWords } from '../campaign/why/words.ts';
import type { WhyReport } from '../campaign/why.ts';
import { formatQuantity } from '../units/index.ts';
import { paintFor } from './streams.ts';
import { type Look, verdictText } from './verdict-text.ts';
import { wrapped } from './wrap.ts';

const INDENT = ' '.repeat(7);

export function whyText(report: WhyReport, look: Look): string {
  const paint = paintFor(look);
  const sections = [
    verdictText(report.run, undefined, look).trimEnd(),
    '',
    paint.strong('Margins of the expectations'),
    ...marginLines(report, look),
    '',
    paint.strong(headOf(report)),
    ...changeLines(report, look),
    '',
    ...remarks(report).flatMap((remark) => wrapped(remark, '', look.columns)),
  ];
  return `${sections.join('\n')}\n`;
}

/** A row for each expectation: its line, whether it came true, by how much, where it came nearest to turning. */
function marginLines({ run }: WhyReport, look: Look): string[] {
  return table(
    run.expectations.map(({ line, truth, margin, unit, atSeconds, signal, text }) => [
      `line ${line}`,
      truth ? 'true' : 'not true',
      unit === null || !Number.isFinite(margin) ? '-' : formatQuantity(margin, unit, { signed: true }),
      `${signal} at ${formatQuantity(atSeconds, 'time')}`,
      printable(text),
    ]),
    look,
  );
}

function headOf({ question, asked, run, changes }: WhyReport): string {
  if (asked.length === 0) return 'There is no expectation to turn';
  if (question === 'break') return 'How far each value is from breaking it, alone';
  const lines = asked.map((index) => run.expectations[index]!.line);
  const words = lines.length === 1 ? `line ${lines[0]} comes` : `lines ${lines.join(', ')} come`;
  const harms = new Set(changes.map(({ alsoTurns }) => alsoTurns.length));
  const order =
    harms.size > 1 ? 'those first that change nothing else, or least; then the smallest' : 'the smallest first';
  return `Single changes with which ${words} out the other way, ${order}`;
}

function changeLines(report: WhyReport, look: Look): string[] {
  const { changes, asked, run } = report;
  const lineOf = (index: number): number => run.expectations[index]!.line;
  if (changes.length === 0) return [`${INDENT}${report.isInterrupted ? 'none so far' : 'none'}`];
  return table(
    changes.map((change) => {
      const isAll = report.question === 'mend' && change.turns.length === asked.length;
      const turned = isAll && asked.length > 1 ? 'all' : isAll ? '' : `line ${change.turns.map(lineOf).join(', ')}`;
      return [
        `${change.path}${change.members.length > 0 ? ` (${change.members.join(', ')} together)` : ''}`,
        `${valueWords(change.from, change)} -> ${valueWords(change.to, change)}`,
        distanceWords(change),
        turned,
        [
          change.back === null ? '' : `turns back by ${valueWords(change.back, change, 4)}`,
          change.alsoTurns.length === 0 ? '' : `also changes line ${change.alsoTurns.map(lineOf).join(', ')}`,
        ]
          .filter((words) => words !== '')
          .join('; '),
      ];
    }),
    look,
  );
}

function remarks(report: WhyReport): string[] {
  const { question, inert, steady, runCount, triedCount, parameterCount, isInterrupted, asked, changes } = report;
  if (asked.length === 0) return [];
  const rest =
    inert.length + steady.length === 0
      ? ''
      : `Nothing else alone ${question === 'mend' ? 'does' : 'breaks it'}: ${inert.length} made no difference to what is judged` +
        (steady.length === 0 ? '.' : `, ${steady.length} made one that was not enough (${steady.join(', ')}).`);
  return [
    ...(rest === '' || isInterrupted ? [] : [rest]),
    ...(isInterrupted
      ? [
          `Interrupted: ${triedCount} of ${parameterCount} numbers and choices had been tried; the others may be nearer.`,
        ]
      : []),
    `Each ${isInterrupted ? 'of these numbers' : 'number'} was tried from a tenth of it to ten times it (one that is 0: up to a reach of its kind), as far as the file allows${isInterrupted ? '' : '; each choice was tried'}. A scan first, then the turn was closed in on: ${runCount} runs.`,
    ...(changes.some(({ back }) => back !== null)
      ? ['Where it says "turns back", only a stretch of values does it, and that ends before the value named.']
      : []),
    ...(question === 'mend'
      ? [
          'A change that turns a verdict in the simulation is a candidate, not a cure: look at what else it changes, and try it with the wheels off the ground.',
        ]
      : []),
  ];
}

/** Columns as wide as their widest cell; what does not fit into the terminal goes on below. */
function table(rows: readonly (readonly string[])[], { columns }: Look): string[] {
  const widths = rows[0]!.map((_, column) => Math.max(...rows.map((row) => row[column]!.length)));
  return rows.flatMap((row) => {
    const cells = row.map((cell, column) => cell.padEnd(widths[column]!)).filter((_, column) => widths[column]! > 0);
    return wrapped(cells.join('  ').trimEnd(), INDENT, columns);
  });
}
