/** What every report says of a run: each expectation with its outcome in words, and the cause of what failed. */
import { printable } from '../bench/print.ts';
import type { Comparison } from '../trace/against.ts';
import { formatQuantity } from '../units/index.ts';
import type { JudgedExpectation, ScenarioRun } from '../verdict/run-scenario.ts';
import { judgementWords } from '../verdict/words.ts';

/** A run with the time that it took to compute. */
export interface Outcome {
  readonly run: ScenarioRun;
  readonly wallSeconds: number;
  /** The recorded train that it was held against, if it was. */
  readonly against?: Against;
}

export interface Against {
  readonly file: string;
  /** Column of the capture, and signal of the bench. */
  readonly column: string;
  readonly signal: string;
  readonly comparison: Comparison;
}

export interface Check {
  /** The expectation in plain words; no two of one run are alike. */
  readonly name: string;
  /** Line of the scenario file, from 1. */
  readonly line: number;
  readonly holds: boolean;
  /** Whether the file says that it fails, so that failing is what holds. */
  readonly isExpectedToFail: boolean;
  /** The outcome in one sentence or a few. */
  readonly says: string;
  /** Distance to the other outcome with its unit, `16 us`; undefined where there is none. */
  readonly margin: string | undefined;
  /** From effect to root: an instant and what was so at it. */
  readonly cause: readonly { readonly at: string; readonly seconds: number; readonly says: string }[];
  readonly cures: readonly string[];
}

/** The expectations of a run in the order of the file. A run that ended before its time adds a check of its own, which fails. */
export function checksOf(run: ScenarioRun): Check[] {
  const names = new Map<string, number>();
  for (const { text } of run.expectations) names.set(text, (names.get(text) ?? 0) + 1);
  const checks = run.expectations.map((judged) => {
    const text = printable(judged.text);
    return checkOf(judged, names.get(judged.text) === 1 ? text : `${text} (line ${judged.line})`);
  });
  // A run can fail although nothing that it expects does: then it broke off, and a finding says why.
  if (!run.holds && checks.every(({ holds }) => holds)) checks.push(brokenOff(run));
  return checks;
}

function checkOf(judged: JudgedExpectation, name: string): Check {
  const longest = Math.max(...judged.cause.map(({ seconds }) => seconds));
  return {
    name,
    line: judged.line,
    holds: judged.holds,
    isExpectedToFail: judged.formula.isExpectedToFail,
    says: printable(judgementWords(judged, judged.formula)),
    margin:
      judged.unit !== null && Number.isFinite(judged.margin) ? formatQuantity(judged.margin, judged.unit) : undefined,
    cause: judged.cause.map(({ seconds, says }) => ({
      at: instantIn(seconds, longest),
      seconds,
      says: printable(says),
    })),
    cures: [...new Set(judged.cause.flatMap(({ cure }) => (cure === undefined ? [] : [printable(cure)])))],
  };
}

function brokenOff(run: ScenarioRun): Check {
  const says = run.findings.map(({ part, says }) => printable(`${part}: ${says}`)).join('; ');
  return {
    name: 'the run reaches its end',
    line: 1,
    holds: false,
    isExpectedToFail: false,
    says: says === '' ? 'the run broke off' : says,
    margin: undefined,
    cause: [],
    cures: [],
  };
}

/** The lines below a failure: its causes, then what would cure it. */
export function causeText({ cause, cures }: Check): string[] {
  return [...cause.map(({ at, says }) => `${at}  ${says}`), ...cures.map((cure) => `cure: ${cure}`)];
}

/** The instants of one chain have one unit and equally many decimals, so that they can be compared at a glance. */
export function instantIn(seconds: number, longestSeconds: number): string {
  return longestSeconds < 1 ? `${(seconds * 1000).toFixed(2)} ms` : `${seconds.toFixed(4)} s`;
}

/** `13 of 15 scenarios hold` */
export function tallyWords(outcomes: readonly Outcome[]): string {
  const holding = outcomes.filter(({ run }) => run.holds).length;
  return `${holding} of ${outcomes.length} ${outcomes.length === 1 ? 'scenario holds' : 'scenarios hold'}`;
}
