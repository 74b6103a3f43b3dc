/** `jackstand run`: runs scenarios and prints a verdict each. */
import { signalsOf } from '../bench/assemble.ts';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import { settleParts } from '../bench/schema.ts';
import { suggest } from '../bench/suggest.ts';
import type { Outcome } from '../report/checks.ts';
import { signalsBehindBands, signalsToPlot } from '../report/plotted.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { type RunOptions, runScenario, type Scenario } from '../verdict/run-scenario.ts';
import type { AgainstOptions, AgainstPlan } from './against.ts';
import { Exit } from './exit.ts';
import { findFiles } from './find-files.ts';
import { EEPROM_KEY, eepromProblems, writeKept } from './kept-files.ts';
import { tellProblems } from './problems.ts';
import { formatNamed } from './run-formats.ts';
import { besideSerial, type SentBytes, sendsBytes, sentBytes, serialProblems } from './serial-files.ts';
import type { Streams } from './streams.ts';
import { loadSuiteOn } from './suites.ts';
import { traceFileProblems, traceNames, writeTrace } from './trace-files.ts';
import { TOOL_VERSION } from './version.ts';
import { appendTo, writeWhole, writtenFileProblems } from './written-files.ts';

export interface RunCommandOptions extends AgainstOptions {
  readonly format?: string;
  readonly trace?: string;
  readonly signals?: string;
  /** What is sent over a serial port goes there, byte for byte; `-` is standard output. */
  readonly serial?: string;
  /** Where what then stands in the EEPROM goes, for the next run to find. */
  readonly eeprom?: string;
  /** Runs the scenarios of this suite on benches instead of scenario files. */
  readonly suite?: string;
  /** An HTML page, and a Markdown page, to write. */
  readonly report?: string;
  readonly summary?: string;
  readonly watch?: boolean;
}

export async function run(paths: readonly string[], options: RunCommandOptions, streams: Streams): Promise<number> {
  if (options.watch === true) {
    const { watchAndRun } = await import('./watch.ts');
    return watchAndRun(paths, (only) => runOnce(only ?? paths, options, streams), streams);
  }
  return (await runOnce(paths, options, streams)).status;
}

export interface Ran {
  readonly status: number;
  /** The scenario files and what they are built on, as far as they could be read. */
  readonly scenarios: readonly Scenario[];
}

async function runOnce(paths: readonly string[], options: RunCommandOptions, given: Streams): Promise<Ran> {
  const streams = besideSerial(options.serial, given);
  const found = await findFiles(paths, [options.suite === undefined ? 'scenario' : 'bench']);
  const loaded =
    options.suite === undefined
      ? found.files.map((file) => loadScenario(file))
      : await loadSuiteOn(options.suite, found.files, streams);
  const scenarios = loaded.flatMap(({ value }) => (value === undefined ? [] : [value]));
  const ended = (status: number): Ran => ({ status, scenarios });
  // Read only where it is asked for, as a start that needs it not should not wait for it.
  const held = isHeldAgainst(options) ? await import('./against.ts') : undefined;
  const against = held?.againstPlan(options, scenarios) ?? { problems: [] };
  const problems: Problem[] = [
    ...against.problems,
    ...found.problems,
    ...loaded.flatMap((scenario) => scenario.problems),
    ...optionProblems(options, scenarios),
    ...(options.serial === undefined ? [] : serialProblems(options.serial, scenarios, given)),
    ...(options.eeprom === undefined ? [] : eepromProblems(options.eeprom, scenarios)),
  ];
  if (hasErrors(problems)) {
    tellProblems(problems, streams);
    return ended(Exit.badInput);
  }
  // A warning is often the point of a scenario, so a run only counts them.
  if (problems.length > 0)
    streams.err(
      `${problems.length === 1 ? '1 warning; jackstand check shows it' : `${problems.length} warnings; jackstand check shows them`}\n`,
    );
  const startedAt = new Date();
  const form = formatNamed(options.format ?? 'text', startedAt, streams);
  const names = scenarios.map(nameOf);
  const files = options.trace === undefined ? [] : traceNames(options.trace, names);
  const eeproms = options.eeprom === undefined ? [] : traceNames(options.eeprom, names);
  const serials = options.serial === undefined ? [] : traceNames(options.serial, names);
  const outcomes: Outcome[] = [];
  for (const [index, scenario] of scenarios.entries()) {
    streams.status?.(`running ${index + 1} of ${scenarios.length}: ${scenario.file}`);
    // What is held against a measurement is compared as it was, sample by sample.
    const isThinned = against.plan === undefined;
    const sent = options.serial !== undefined && sendsBytes(scenario) ? sentBytes(serials[index]!, given) : undefined;
    const keep = options.eeprom === undefined ? {} : { keep: EEPROM_KEY };
    const ran = runOne(scenario, { record: recordOf(options, scenario, against.plan), isThinned, ...keep }, sent);
    const outcome = against.plan === undefined ? ran : held!.withAgainst(against.plan, ran);
    if ('problem' in outcome) {
      tellProblems([outcome.problem], streams);
      return ended(Exit.badInput);
    }
    outcomes.push(outcome);
    streams.out(form.each(outcome));
    if (against.plan !== undefined && options.format !== 'json')
      streams.out(await held!.againstWords(against.plan, outcome, streams));
    const unwritten = [
      ...(sent?.finish() ?? []),
      ...(outcome.run.kept === undefined ? [] : writeKept(eeproms[index]!, outcome.run.kept)),
      ...(options.trace === undefined ? [] : writeTrace(outcome.run.trace, files[index]!)),
    ];
    if (unwritten.length > 0) {
      tellProblems(unwritten, streams);
      return ended(Exit.badInput);
    }
  }
  streams.status?.('');
  streams.out(form.end(outcomes));
  const unwritten = await writePages(outcomes, options);
  if (unwritten.length > 0) {
    tellProblems(unwritten, streams);
    return ended(Exit.badInput);
  }
  const allHold = outcomes.every(({ run, against: one }) => run.holds && one?.comparison.holds !== false);
  return ended(allHold ? Exit.holds : Exit.failed);
}

async function writePages(outcomes: readonly Outcome[], options: RunCommandOptions): Promise<Problem[]> {
  const { summary, report } = options;
  const problems: Problem[] = [];
  if (report !== undefined) {
    const { htmlOf } = await import('../report/html.ts');
    const signals = outcomes.map(({ run }) => reportSignals(options, run.scenario));
    problems.push(...writeWhole('--report', report, htmlOf(outcomes, { toolVersion: TOOL_VERSION, signals })));
  }
  if (summary !== undefined) {
    const { summaryOf } = await import('../report/summary.ts');
    const text = summaryOf(outcomes);
    // The page of a job collects what all commands of a step have to say; any other file is ours alone.
    const isShared = process.env.GITHUB_STEP_SUMMARY === summary;
    problems.push(
      ...(isShared ? appendTo('--summary', summary, `${text}\n`) : writeWhole('--summary', summary, [text])),
    );
  }
  return problems;
}

/** Suites write several scenarios from one file, so that their titles must tell them apart. */
function nameOf({ file, title }: Scenario, _: number, all: readonly Scenario[]): string {
  if (all.filter((other) => other.file === file).length === 1) return file;
  return `${title.toLowerCase().replaceAll(/[^a-z0-9]+/g, '-')}.yaml`;
}

function runOne(scenario: Scenario, options: RunOptions, sent: SentBytes | undefined): Outcome {
  const start = performance.now();
  try {
    const run = runScenario(scenario, sent === undefined ? options : { ...options, takeByte: sent.take });
    return { run, wallSeconds: (performance.now() - start) / 1000 };
  } catch (error) {
    sent?.drop();
    // Whoever reports a fault of the tool should know which file brings it about.
    if (error instanceof Error) error.message = `${error.message} (in ${scenario.file})`;
    throw error;
  }
}

function isHeldAgainst({ against, signal, column, align, tolerance }: AgainstOptions): boolean {
  return [against, signal, column, align, tolerance].some((option) => option !== undefined);
}

function recordOf(
  options: RunCommandOptions,
  scenario: Scenario,
  plan: AgainstPlan | undefined,
): readonly string[] | 'all' {
  const { trace, report } = options;
  const wanted = [
    ...(plan === undefined ? [] : [[plan.signal]]),
    ...(trace === undefined ? [] : [chosenSignals(options, scenario) ?? ('all' as const)]),
    ...(report === undefined ? [] : [reportSignals(options, scenario), signalsBehindBands(scenario)]),
  ];
  return wanted.includes('all') ? 'all' : wanted.flat();
}

/** The signals that `--signals` names, as far as this scenario has them; undefined where it was not given. */
function chosenSignals({ signals }: RunCommandOptions, scenario: Scenario): readonly string[] | 'all' | undefined {
  if (signals === undefined) return undefined;
  const wanted = namesIn(signals);
  if (wanted.includes('all')) return 'all';
  const given = new Set(signalNames(scenario));
  return wanted.filter((name) => given.has(name));
}

function reportSignals(options: RunCommandOptions, scenario: Scenario): readonly string[] | 'all' {
  return chosenSignals(options, scenario) ?? signalsToPlot(scenario);
}

function optionProblems(
  { trace, signals, summary, report }: RunCommandOptions,
  scenarios: readonly Scenario[],
): Problem[] {
  const problems = trace === undefined ? [] : traceFileProblems(trace);
  if (report !== undefined) problems.push(...writtenFileProblems('--report', report, ['.html', '.htm']));
  if (summary !== undefined) problems.push(...writtenFileProblems('--summary', summary));
  if (signals === undefined) return problems;
  const refuse = (says: string, nearest?: string): void => {
    problems.push(problemAt('--signals', 'refused', { path: '', says, ...(nearest === undefined ? {} : { nearest }) }));
  };
  if (trace === undefined && report === undefined)
    refuse('it says what --trace and --report show; give one of them as well');
  if (namesIn(signals).length === 0) refuse('it names no signal');
  // Benches differ in their parts: a name must be known to one of them at least.
  const known = new Set(scenarios.flatMap(signalNames));
  if (known.size === 0) return problems;
  for (const name of namesIn(signals)) {
    if (name !== 'all' && !known.has(name)) {
      const near = suggest(name, [...known]);
      refuse(`there is no signal ${name}${near === undefined ? '; jackstand check --signals lists them' : ''}`, near);
    }
  }
  return problems;
}

function namesIn(list: string): string[] {
  return list.split(',').flatMap((name) => (name.trim() === '' ? [] : [name.trim()]));
}

function signalNames(scenario: Scenario): string[] {
  return signalsOf(settleParts(scenario.parts)).map(({ name }) => name);
}
