/** `jackstand run`: runs scenarios and prints a verdict each. */
import { closeSync, openSync, renameSync, writeSync } from 'node:fs';
import { basename, extname } from 'node:path';
import { printProblems } from '../bench/print.ts';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import { csvOf } from '../trace/csv.ts';
import type { Trace } from '../trace/trace.ts';
import { vcdOf } from '../trace/vcd.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { runScenario, type Scenario, type ScenarioRun } from '../verdict/run-scenario.ts';
import { Exit } from './exit.ts';
import { findFiles } from './find-files.ts';
import { paintFor, type Streams } from './streams.ts';
import { resultOf } from './verdict-json.ts';
import { summaryText, verdictText } from './verdict-text.ts';
import { TOOL_VERSION } from './version.ts';

export interface RunCommandOptions {
  readonly format?: string;
  readonly trace?: string;
  readonly signals?: string;
}

export async function run(paths: readonly string[], options: RunCommandOptions, streams: Streams): Promise<number> {
  const found = await findFiles(paths, ['scenario']);
  const loaded = found.files.map((file) => loadScenario(file));
  const problems: Problem[] = [
    ...found.problems,
    ...loaded.flatMap((scenario) => scenario.problems),
    ...traceProblems(options),
  ];
  if (hasErrors(problems)) {
    streams.err(`${printProblems(problems)}\n`);
    return Exit.badInput;
  }
  // A warning is often the point of a scenario, so a run only counts them.
  if (problems.length > 0)
    streams.err(`${problems.length} ${problems.length === 1 ? 'warning' : 'warnings'}; jackstand check shows them\n`);
  const scenarios = loaded.flatMap(({ value }) => (value === undefined ? [] : [value]));
  const paint = paintFor(streams);
  const results: { run: ScenarioRun; wallSeconds: number }[] = [];
  for (const scenario of scenarios) {
    const start = performance.now();
    const result = runScenario(scenario, { record: recordOf(options) });
    const wallSeconds = (performance.now() - start) / 1000;
    results.push({ run: result, wallSeconds });
    if (options.format !== 'json') streams.out(verdictText(result, wallSeconds, paint));
    if (options.trace !== undefined) writeTrace(result.trace, traceName(options.trace, scenario, scenarios.length));
  }
  if (options.format === 'json') streams.out(`${JSON.stringify(resultOf(results), null, 2)}\n`);
  else streams.out(`\n${summaryText(results.map((result) => result.run))}`);
  return results.every((result) => result.run.holds) ? Exit.holds : Exit.failed;
}

function recordOf({ signals, trace }: RunCommandOptions): readonly string[] | 'all' {
  if (signals === 'all' || (signals === undefined && trace !== undefined)) return 'all';
  return signals === undefined ? [] : signals.split(',').map((name) => name.trim());
}

function traceProblems({ trace }: RunCommandOptions): Problem[] {
  if (trace === undefined || ['.csv', '.vcd'].includes(extname(trace))) return [];
  return [
    problemAt(trace, 'refused', {
      path: '--trace',
      says: `its ending ${extname(trace) || '(none)'} is no trace format`,
      allowed: '.csv, .vcd',
    }),
  ];
}

/** `out.vcd` becomes `out-cold-start.vcd` where several scenarios are run. */
function traceName(wanted: string, scenario: Scenario, count: number): string {
  if (count === 1) return wanted;
  const ending = extname(wanted);
  return `${wanted.slice(0, -ending.length)}-${basename(scenario.file, extname(scenario.file))}${ending}`;
}

/** Written in pieces, so that the trace of an hour need not fit into one text. */
function writeTrace(trace: Trace, file: string): void {
  const chunks =
    extname(file) === '.csv'
      ? csvOf(trace.columns)
      : vcdOf(trace.columns, { version: `jackstand ${TOOL_VERSION}`, endSeconds: trace.endSeconds });
  const part = `${file}.part`;
  const handle = openSync(part, 'w');
  for (const chunk of chunks) writeSync(handle, chunk);
  closeSync(handle);
  renameSync(part, file);
}
