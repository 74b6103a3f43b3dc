/**
 * Matchers for vitest, so that firmware and wiring are tested beside other code: import `jackstand/vitest` in a test,
 * then `expect(runFile('cold-start.yaml')).toArm('left', { within: '2 s' })`.
 */
import { expect } from 'vitest';
import { printProblems } from './bench/print.ts';
import { hasErrors, type Problem } from './bench/problem.ts';
import { settleParts } from './bench/schema.ts';
import { causeText, checksOf } from './report/checks.ts';
import { causeOf } from './verdict/cause.ts';
import { expectationSchema, parseExpectation } from './verdict/expectation.ts';
import { judge } from './verdict/judge.ts';
import { loadScenario } from './verdict/load-scenario.ts';
import { runScenario, type ScenarioRun } from './verdict/run-scenario.ts';
import { expectationMistakeWords, judgementWords } from './verdict/words.ts';

/** Times as in files: `2 s`, `300 ms`. */
export interface SpanWords {
  readonly within?: string;
  readonly from?: string;
  readonly until?: string;
}

/** An expectation as a scenario file has it; one of `always`, `never` and `within` is given. */
export interface ExpectationWords extends SpanWords {
  readonly that?: string;
  readonly when?: string;
  readonly then?: string;
  readonly always?: true;
  readonly never?: true;
  readonly for?: string;
  readonly why?: string;
}

export interface JackstandMatchers<Outcome = unknown> {
  /** All that the scenario itself expects holds. */
  toHold(): Outcome;
  /** An expectation of any kind holds of the run. */
  toMeet(expectation: ExpectationWords): Outcome;
  /** The controller of this name arms; without `within`, at some time in the run. */
  toArm(controller: string, span?: SpanWords): Outcome;
  /** It refuses the startup pulse (or locks itself out) and never arms. */
  toRefuse(controller: string, span?: SpanWords): Outcome;
}

declare module 'vitest' {
  // biome-ignore lint/suspicious/noExplicitAny: an interface is merged only with the very same parameters
  interface Matchers<T = any> extends JackstandMatchers<T> {}
}

interface Met {
  readonly pass: boolean;
  readonly message: () => string;
}

/** Runs a scenario file with all its signals recorded. Throws what is wrong with the file, as `jackstand check` says it. */
export function runFile(file: string): ScenarioRun {
  const { value, problems } = loadScenario(file);
  if (value === undefined || hasErrors(problems)) throw new Error(wordsOf(problems));
  return runScenario(value, { record: 'all', causes: false });
}

function wordsOf(problems: readonly Problem[]): string {
  return printProblems(problems.filter(({ severity }) => severity === 'error'));
}

export const matchers = {
  toHold(run: ScenarioRun): Met {
    const failed = checksOf(run).filter(({ holds }) => !holds);
    return {
      pass: run.holds,
      message: () =>
        run.holds
          ? `${run.scenario.title} holds, and was not to`
          : [run.scenario.title, ...failed.flatMap((check) => [check.says, ...causeText(check)])].join('\n  '),
    };
  },
  toMeet(run: ScenarioRun, expectation: ExpectationWords): Met {
    return meets(run, expectation);
  },
  toArm(run: ScenarioRun, controller: string, span: SpanWords = {}): Met {
    return meets(run, { that: `${controller}.mode is armed`, ...withinRun(run, span) });
  },
  toRefuse(run: ScenarioRun, controller: string, span: SpanWords = {}): Met {
    const mode = `${controller}.mode`;
    const refuses = meets(run, {
      that: `${mode} is waiting-for-neutral.refusing or ${mode} is locked-out`,
      ...withinRun(run, span),
    });
    const { within: _, ...rest } = span;
    const never = meets(run, { that: `${mode} is armed`, never: true, ...rest });
    const pass = refuses.pass && never.pass;
    return { pass, message: pass || !refuses.pass ? refuses.message : never.message };
  },
};

expect.extend(matchers);

function withinRun(run: ScenarioRun, span: SpanWords): SpanWords {
  return { ...span, within: span.within ?? `${run.scenario.durationSeconds} s` };
}

/** Judged over what was recorded; a mistake in the words is an error of the test, not a failed expectation. */
function meets(run: ScenarioRun, words: ExpectationWords): Met {
  const { scenario, trace } = run;
  const item = expectationSchema.safeParse(words);
  if (!item.success)
    throw new Error(item.error.issues.map(({ path, message }) => `${path.join('.')}: ${message}`).join('\n'));
  const names = trace.columns.map(({ signal }) => signal.name);
  const parsed = parseExpectation(item.data, (name) => trace.column(name)?.signal, names);
  if ('mistakes' in parsed) {
    const says = parsed.mistakes.map((mistake) => expectationMistakeWords(mistake).says);
    throw new Error(`${says.join('\n')} (of what was recorded: a run for tests is made with { record: 'all' })`);
  }
  const judgement = judge(parsed.formula, trace);
  return {
    pass: judgement.holds,
    message: () => {
      const cause = judgement.truth
        ? []
        : causeOf(settleParts(scenario.parts), scenario.seed, scenario.acts, judgement.signal, judgement.atSeconds);
      return [`${scenario.title}: ${judgementWords(judgement, parsed.formula)}`, ...cause.map(({ says }) => says)].join(
        '\n  ',
      );
    },
  };
}
