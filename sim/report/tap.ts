/**
 * Verdicts as TAP 14 (Test Anything Protocol, testanything.org): a subtest a scenario, a point an expectation, and below
 * what failed a block of YAML with its place and cause.
 */
import { printable } from '../bench/print.ts';
import { type Check, checksOf, type Outcome } from './checks.ts';

export function tapOf(outcomes: readonly Outcome[]): string {
  const lines = ['TAP version 14', `1..${outcomes.length}`];
  outcomes.forEach(({ run, wallSeconds }, index) => {
    const { title, file } = run.scenario;
    const checks = checksOf(run);
    const name = tapName(title.trim() === '' ? file : title);
    lines.push(`# Subtest: ${name}`, `    1..${checks.length}`);
    checks.forEach((check, at) => {
      lines.push(...pointLines(check, at + 1, file).map((line) => `    ${line}`));
    });
    for (const { part, says } of run.findings) lines.push(`    # ${tapName(`${part}: ${says}`)}`);
    lines.push(`${run.holds ? 'ok' : 'not ok'} ${index + 1} - ${name} # time=${(wallSeconds * 1000).toFixed(3)}ms`);
  });
  return `${lines.join('\n')}\n`;
}

function pointLines(check: Check, number: number, file: string): string[] {
  const { holds, name, says, line, cause, cures } = check;
  const point = `${holds ? 'ok' : 'not ok'} ${number} - ${tapName(name)}`;
  if (holds) return [point];
  // JSON strings are YAML strings, whatever stands in them.
  const text = JSON.stringify;
  return [
    point,
    '  ---',
    `  message: ${text(says)}`,
    '  severity: fail',
    '  at:',
    `    file: ${text(file)}`,
    `    line: ${line}`,
    ...(cause.length > 0 ? ['  cause:', ...cause.map(({ at, says }) => `    - ${text(`${at}: ${says}`)}`)] : []),
    ...(cures.length > 0 ? ['  cure:', ...cures.map((cure) => `    - ${text(cure)}`)] : []),
    '  ...',
  ];
}

/** A `#` begins a directive (`# SKIP`, `# TODO`) and a backslash an escape: in a name both are escaped. */
function tapName(text: string): string {
  return printable(text.replaceAll(/\s+/g, ' ')).replaceAll('\\', '\\\\').replaceAll('#', '\\#');
}
