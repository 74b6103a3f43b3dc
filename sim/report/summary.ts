/** Verdicts as a Markdown page for the summary of a CI job (GitHub's dialect: tables, details). */
import { printable } from '../bench/print.ts';
import { CAUTIONS } from './cautions.ts';
import { type Check, checksOf, type Outcome, tallyWords } from './checks.ts';

/** Of a long campaign the page shows this many failures in full; job pages refuse what is above about a megabyte. */
const SHOWN_AT_MOST = 50;

export function summaryOf(outcomes: readonly Outcome[]): string {
  const failed = outcomes.filter(({ run }) => !run.holds);
  const rows = outcomes.map(({ run, wallSeconds }) => {
    const checks = checksOf(run);
    const holding = checks.filter(({ holds }) => holds).length;
    const cells = [
      run.holds ? 'holds' : '**FAILS**',
      md(run.scenario.title),
      md(run.scenario.benchTitle),
      `${holding} of ${checks.length}`,
      `${run.scenario.durationSeconds} s in ${(wallSeconds * 1000).toFixed(0)} ms`,
    ];
    return `| ${cells.join(' | ')} |`;
  });
  return [
    `## jackstand: ${tallyWords(outcomes)}`,
    '',
    '| verdict | scenario | bench | expectations that hold | time |',
    '| --- | --- | --- | --- | --- |',
    ...rows,
    '',
    ...failed.slice(0, SHOWN_AT_MOST).flatMap(failureLines),
    ...(failed.length > SHOWN_AT_MOST ? [`and ${failed.length - SHOWN_AT_MOST} more that fail.`, ''] : []),
    '<details><summary>Cautions</summary>',
    '',
    ...CAUTIONS.map((caution) => `- ${caution}`),
    '',
    '</details>',
    '',
  ].join('\n');
}

function failureLines({ run }: Outcome): string[] {
  const { title, file, seed } = run.scenario;
  const checks = checksOf(run).filter(({ holds }) => !holds);
  return [
    `### ${md(title)}`,
    '',
    ...checks.flatMap((check) => checkLines(check, file)),
    ...run.findings.map(({ part, says }) => `- ${md(`${part}: ${says}`)}`),
    '',
    `Seed ${seed}, digest ${md(run.digest)}.`,
    '',
  ];
}

function checkLines(check: Check, file: string): string[] {
  return [
    `- ${md(check.says)} (${md(`${file}:${check.line}`)})`,
    ...check.cause.map(({ at, says }) => `  - ${md(at)}: ${md(says)}`),
    ...check.cures.map((cure) => `  - **cure:** ${md(cure)}`),
  ];
}

/** Any ASCII punctuation may be escaped (CommonMark 0.31, 2.4), so that no name becomes a link, a tag or a cell. */
function md(text: string): string {
  return printable(text)
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll(/[\\`*_{}[\]#|~>!@$]/g, (sign) => `\\${sign}`)
    .trim();
}
