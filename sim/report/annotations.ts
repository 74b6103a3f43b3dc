/**
 * Failures as workflow commands: lines that a GitHub job turns into remarks beside the scenario's line.
 *
 * The form is `::error file=F,line=L,title=T::M`, with `%`, line ends, and in properties also `:` and `,` as percent codes
 * (GitHub's documentation "Workflow commands"; the percent codes from memory of its published toolkit).
 */
import { isAbsolute, relative, resolve } from 'node:path';
import { type Check, causeText, checksOf, type Outcome } from './checks.ts';

export interface AnnotationContext {
  /** Folder of the checkout, from which paths in remarks count; undefined outside of a job. */
  readonly workspace: string | undefined;
}

/** A line for each expectation that failed, and for each finding. */
export function annotationsOf(outcomes: readonly Outcome[], context: AnnotationContext): string {
  const lines = outcomes.flatMap(({ run }) => {
    const file = pathIn(context.workspace, run.scenario.file);
    const failed = checksOf(run).filter(({ holds }) => !holds);
    return [
      ...failed.map((check) =>
        command('error', { file, line: String(check.line), title: run.scenario.title }, messageOf(check)),
      ),
      ...run.findings.map(({ part, says }) =>
        command('warning', { file, title: run.scenario.title }, `${part}: ${says}`),
      ),
    ];
  });
  return lines.map((line) => `${line}\n`).join('');
}

/** Text of ours among the commands: a name in it must not become one. Both spellings that runners know are broken up. */
export function withoutCommands(text: string): string {
  return text.replaceAll('##[', '# #[').replaceAll(/^(\s*):(?=:)/gm, '$1: ');
}

function messageOf(check: Check): string {
  return [check.says, ...causeText(check)].join('\n');
}

function command(name: string, properties: Readonly<Record<string, string>>, message: string): string {
  const list = Object.entries(properties).map(
    ([key, value]) => `${key}=${percent(value).replaceAll(':', '%3A').replaceAll(',', '%2C')}`,
  );
  return `::${name} ${list.join(',')}::${percent(message)}`;
}

function percent(text: string): string {
  return (
    text
      .replaceAll('%', '%25')
      .replaceAll('\r', '%0D')
      .replaceAll('\n', '%0A')
      // The older spelling is looked for anywhere in a line, so also in ours.
      .replaceAll('##[', '# #[')
  );
}

function pathIn(workspace: string | undefined, file: string): string {
  if (workspace === undefined || workspace === '') return file;
  const path = relative(workspace, resolve(file));
  return path.startsWith('..') || isAbsolute(path) ? file : path.replaceAll('\\', '/');
}
