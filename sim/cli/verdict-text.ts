/** The verdict of a run for people: a line a scenario, and below it what failed or was stated to fail, with its cause. */
import { printable } from '../bench/print.ts';
import { instantIn } from '../report/checks.ts';
import { formatQuantity } from '../units/index.ts';
import type { CauseLink } from '../verdict/cause.ts';
import type { JudgedExpectation, ScenarioRun } from '../verdict/run-scenario.ts';
import { judgementWords } from '../verdict/words.ts';
import { paintFor, type Streams } from './streams.ts';
import { wrapped } from './wrap.ts';

/** What the text must fit: colours, and the terminal's columns (undefined when it is none: then no line is broken). */
export type Look = Pick<Streams, 'isColoured' | 'columns'>;

/** Below the verdict's word and its two blanks. */
const MARGIN = ' '.repeat(7);
/** Columns that instants and labels take, right-aligned. */
const LABEL_COLUMNS = 16;

/** Without `wallSeconds` it does not say how long the run took to compute. */
export function verdictText(run: ScenarioRun, wallSeconds: number | undefined, look: Look): string {
  const paint = paintFor(look);
  const { title, durationSeconds } = run.scenario;
  const verdict = run.holds ? 'holds' : 'FAILS';
  const took = wallSeconds === undefined ? '' : ` in ${(wallSeconds * 1000).toFixed(1)} ms`;
  const time = `(${formatQuantity(durationSeconds, 'time')}${took})`;
  const [head, ...more] = wrapped(`${printable(title)}  ${time}`, `${verdict}  `, look.columns);
  const painted = head!.replace(verdict, (run.holds ? paint.good : paint.bad)(paint.strong(verdict)));
  const lines = [painted, ...more].map((line) => line.replace(time, paint.faint(time)));
  const told = new Map<string, string>();
  for (const expectation of run.expectations) {
    const isPlain = expectation.holds && expectation.truth && expectation.note === undefined;
    if (!isPlain) lines.push(...expectationLines(run, expectation, told, look));
  }
  for (const { seconds, part, says } of run.findings)
    lines.push(...labelled(instantIn(seconds, seconds), `${part}: ${printable(says)}`, look));
  const near = nearest(run);
  if (near !== undefined) {
    const words = `least margin ${formatQuantity(near.margin, 'time')}: ${near.text}`;
    lines.push(...wrapped(words, MARGIN, look.columns).map(paint.faint));
  }
  return `${lines.join('\n')}\n`;
}

export function summaryText(runs: readonly ScenarioRun[]): string {
  const failed = runs.filter((run) => !run.holds).length;
  return `${runs.length} ${runs.length === 1 ? 'scenario' : 'scenarios'}: ${runs.length - failed} hold, ${failed} fail\n`;
}

/** The expectation that came nearest to turning. */
function nearest(run: ScenarioRun): JudgedExpectation | undefined {
  // Margins of unlike units cannot be compared; the one nearest to turning as a share of its own signal would need a
  // scale that signals do not have. Pulses are what this bench is about, so margins in time are shown.
  const withMargin = run.expectations.filter(
    (expectation) => expectation.truth && Number.isFinite(expectation.margin) && expectation.unit === 'time',
  );
  return withMargin.sort((a, b) => a.margin - b.margin)[0];
}

/** The statement with its outcome and place, then its cause; a cause that was told before is only named. */
function expectationLines(
  run: ScenarioRun,
  expectation: JudgedExpectation,
  told: Map<string, string>,
  look: Look,
): string[] {
  const paint = paintFor(look);
  const mark = expectation.holds ? '' : 'fails: ';
  const place = `(${printable(run.scenario.file)}:${expectation.line})`;
  const { cause } = expectation;
  const key = likeness(cause);
  const owner = ownerOf(cause);
  const before = told.get(key);
  const same =
    before === undefined
      ? ''
      : before === owner
        ? ' The cause is the one above.'
        : ` ${owner}: the same cause as ${before}.`;
  if (cause.length > 0 && before === undefined) told.set(key, owner);
  const words = `${mark}${judgementWords(expectation, expectation.formula)}${same} ${place}`;
  return [
    ...wrapped(words, MARGIN, look.columns).map((line, index) => {
      const placed = line.replace(place, paint.faint(place));
      return index === 0 && mark !== '' ? placed.replace(mark, paint.bad(mark)) : placed;
    }),
    ...(before === undefined ? causeLines(cause, look) : []),
  ];
}

function causeLines(cause: readonly CauseLink[], look: Look): string[] {
  const longest = Math.max(...cause.map(({ seconds }) => seconds));
  const cures = [...new Set(cause.flatMap((link) => (link.cure === undefined ? [] : [link.cure])))];
  return [
    ...cause.flatMap(({ seconds, says }) => labelled(instantIn(seconds, longest), printable(says), look)),
    ...(cures.length > 0 ? labelled('cure', cures.join('; '), look) : []),
  ];
}

function labelled(label: string, text: string, { columns, isColoured }: Look): string[] {
  const { faint } = paintFor({ isColoured });
  const [head, ...rest] = wrapped(text, `${label.padStart(LABEL_COLUMNS)}  `, columns);
  return [faint(head!.slice(0, LABEL_COLUMNS)) + head!.slice(LABEL_COLUMNS), ...rest];
}

/** Equal for causes that differ only in which of several like parts they are about. */
function likeness(cause: readonly CauseLink[]): string {
  const owner = ownerOf(cause);
  const name = new RegExp(`(?<![\\w-])${owner}(?![\\w-])`, 'g');
  return JSON.stringify(cause.map(({ seconds, says }) => [seconds, owner === '' ? says : says.replaceAll(name, '\0')]));
}

/** The part that the chain begins with. */
function ownerOf(cause: readonly CauseLink[]): string {
  const signal = cause[0]?.signal ?? '';
  return signal.slice(0, Math.max(0, signal.lastIndexOf('.')));
}
