/** The library: all that a program may use of jackstand, each name written out. */
export { type Act, type Assembly, assemble, type Finding, type SettledPart, signalsOf } from './bench/assemble.ts';
export { type Bench, benchFileSchema, type Loaded, loadBench } from './bench/load-bench.ts';
export { type PrintOptions, printProblems } from './bench/print.ts';
export { hasErrors, type Problem, type ProblemCode, type Severity } from './bench/problem.ts';
export { type DescribedPart, type Pick, settleParts } from './bench/schema.ts';
export type { FaultCase, FaultTrial } from './campaign/faults/craft.ts';
export {
  type FaultEntry,
  type FaultsChoices,
  type FaultsReport,
  faults,
  type Worsening,
  worsenings,
} from './campaign/faults.ts';
export { type Approach, type Coverage, type Found, type HuntChoices, type HuntReport, hunt } from './campaign/hunt.ts';
export type { ManyOptions } from './campaign/many/pool.ts';
export {
  type Decider,
  type Rate,
  type SpreadChoices,
  type SpreadExpectation,
  type SpreadOptions,
  type SpreadReport,
  spread,
} from './campaign/spread.ts';
export { loadSuite, type Suite } from './campaign/suite.ts';
export type { Confirmation } from './campaign/tune/confirm.ts';
export {
  type Cost,
  type Tuned,
  type TuneOptions,
  type TuneOutcome,
  type Tuning,
  tune,
} from './campaign/tune.ts';
export { type Change, type WhyOptions, type WhyReport, why } from './campaign/why.ts';
export { mermaidOf } from './chart/mermaid.ts';
export { scxmlOf } from './chart/scxml.ts';
export { type Result, resultOf, resultSchema } from './cli/verdict-json.ts';
export { FORMAT_VERSION, TOOL_VERSION } from './cli/version.ts';
export { BrokenInvariant } from './kernel/assert.ts';
export type { Kernel } from './kernel/kernel.ts';
export type { PartKind } from './kernel/part.ts';
export type { SignalInfo } from './kernel/signal.ts';
export { type Check, checksOf, type Outcome } from './report/checks.ts';
export { htmlOf, type PageContext } from './report/html.ts';
export { type JunitContext, junitOf } from './report/junit.ts';
export { signalsToPlot } from './report/plotted.ts';
export { summaryOf } from './report/summary.ts';
export { tapOf } from './report/tap.ts';
export { csvOf } from './trace/csv.ts';
export { type Recorder, record } from './trace/record.ts';
export type { Trace } from './trace/trace.ts';
export { vcdOf } from './trace/vcd.ts';
export { type Dimension, formatQuantity, parseQuantity, type Quantity } from './units/index.ts';
export type { CauseLink } from './verdict/cause.ts';
export type { Formula } from './verdict/expectation.ts';
export { loadScenario } from './verdict/load-scenario.ts';
export {
  type Expectation,
  type JudgedExpectation,
  type RunOptions,
  runScenario,
  type Scenario,
  type ScenarioRun,
} from './verdict/run-scenario.ts';
export { judgementWords } from './verdict/words.ts';
