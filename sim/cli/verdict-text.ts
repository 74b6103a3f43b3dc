/** The verdict of a run for people: a line a scenario, and below it what failed, with its cause in numbers. */
import { formatQuantity } from '../units/index.ts';
import type { JudgedExpectation, ScenarioRun } from '../verdict/run-scenario.ts';
import { judgementWords } from '../verdict/words.ts';
import type { Paint } from './streams.ts';

/** `left.mode is armed, within 2 s: margin 16 us` for the expectation that came nearest to turning. */
export function nearest(run: ScenarioRun): JudgedExpectation | undefined {
  // Margins of unlike units cannot be compared; the one nearest to turning as a share of its own signal would need a
  // scale that signals do not have. Pulses are what this bench is about, so margins in time come first.
  const withMargin = run.expectations.filter(
    (expectation) => expectation.truth && Number.isFinite(expectation.margin) && expectation.unit === 'time',
  );
  return withMargin.sort((a, b) => a.margin - b.margin)[0];
}

export function verdictText(run: ScenarioRun, wallSeconds: number, paint: Paint): string {
  const verdict = run.holds ? paint.good('holds') : paint.bad('FAILS');
  const near = nearest(run);
  const margin = near === undefined ? '' : `  nearest ${formatQuantity(near.margin, 'time')}: ${near.text}`;
  const time = paint.faint(
    `  ${formatQuantity(run.scenario.durationSeconds, 'time')} in ${(wallSeconds * 1000).toFixed(1)} ms`,
  );
  const lines = [
    `${verdict}  ${paint.strong(run.scenario.title)}${time}${margin === '' ? '' : `\n      ${margin.trim()}`}`,
  ];
  for (const expectation of run.expectations) {
    if (expectation.holds && expectation.truth) continue;
    lines.push(...expectationLines(run, expectation, paint));
  }
  for (const finding of run.findings)
    lines.push(`       ${formatQuantity(finding.seconds, 'time')}  ${finding.part}: ${finding.says}`);
  return `${lines.join('\n')}\n`;
}

function expectationLines(run: ScenarioRun, expectation: JudgedExpectation, paint: Paint): string[] {
  const place = paint.faint(`${run.scenario.file}:${expectation.line}: `);
  const mark = expectation.holds ? paint.faint('as stated:') : paint.bad('fails:');
  const lines = [`       ${place}${mark} ${judgementWords(expectation, expectation.formula)}`];
  for (const link of expectation.cause) {
    lines.push(`         ${formatQuantity(link.seconds, 'time').padStart(8)}  ${link.says}`);
  }
  const cures = expectation.cause.flatMap((link) => (link.cure === undefined ? [] : [link.cure]));
  if (cures.length > 0) lines.push(`         ${'cure'.padStart(8)}  ${cures.join('; ')}`);
  return lines;
}

export function summaryText(runs: readonly ScenarioRun[]): string {
  const failed = runs.filter((run) => !run.holds).length;
  return `${runs.length} ${runs.length === 1 ? 'scenario' : 'scenarios'}: ${runs.length - failed} hold, ${failed} ${failed === 1 ? 'fails' : 'fail'}\n`;
}
