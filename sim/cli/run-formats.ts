/** What `jackstand run` writes to standard output, by format: some of it after each run, the rest at the end. */
import { hostname } from 'node:os';
import { annotationsOf, withoutCommands } from '../report/annotations.ts';
import type { Outcome } from '../report/checks.ts';
import { junitOf } from '../report/junit.ts';
import { tapOf } from '../report/tap.ts';
import type { Streams } from './streams.ts';
import { resultOf } from './verdict-json.ts';
import { summaryText, verdictText } from './verdict-text.ts';

export interface RunFormat {
  readonly each: (outcome: Outcome) => string;
  readonly end: (outcomes: readonly Outcome[]) => string;
}

export function formatNamed(name: string, startedAt: Date, streams: Streams): RunFormat {
  const each = ({ run, wallSeconds }: Outcome): string => verdictText(run, wallSeconds, streams);
  const end = (outcomes: readonly Outcome[]): string => `\n${summaryText(outcomes.map(({ run }) => run))}`;
  const none = (): string => '';
  switch (name) {
    case 'json':
      return { each: none, end: (outcomes) => `${JSON.stringify(resultOf(outcomes), null, 2)}\n` };
    case 'junit':
      return { each: none, end: (outcomes) => junitOf(outcomes, { startedAt, hostname: hostname() }) };
    case 'tap':
      return { each: none, end: tapOf };
    case 'github':
      // The log of a job is read by people too.
      return {
        each: (outcome) => withoutCommands(each(outcome)),
        end: (outcomes) =>
          withoutCommands(end(outcomes)) + annotationsOf(outcomes, { workspace: process.env.GITHUB_WORKSPACE }),
      };
    default:
      return { each, end };
  }
}
