/**
 * Verdicts as JUnit XML, which CI servers read: a suite a scenario, a case an expectation.
 *
 * Valid against both forms in use: the Ant schema (JUnit.xsd: `package`, `id`, `hostname` and a `timestamp` without zone
 * are required, `properties` first, `system-out` and `system-err` last) and the CI servers' junit-10.xsd.
 */
import { type Check, causeText, checksOf, type Outcome } from './checks.ts';

export interface JunitContext {
  readonly startedAt: Date;
  readonly hostname: string;
}

export interface JunitSuite {
  readonly name: string;
  /** What the suite is about, by its path. */
  readonly file: string;
  readonly facts: Readonly<Record<string, string>>;
  readonly cases: readonly JunitCase[];
  /** What was found worth telling though no case asked. */
  readonly said: string;
  readonly wallSeconds: number;
}

export interface JunitCase {
  readonly name: string;
  readonly file: string;
  /** What failed in one line, its kind, and all that there is to say. */
  readonly failure?: { readonly message: string; readonly type: string; readonly text: string };
}

export function junitOf(outcomes: readonly Outcome[], context: JunitContext): string {
  return junitText(outcomes.map(suiteOf), context);
}

/** Suites of whatever kind. */
export function junitText(suites: readonly JunitSuite[], context: JunitContext): string {
  const bodies = suites.map((suite, index) => suiteXml(suite, index, context));
  return `<?xml version="1.0" encoding="UTF-8"?>\n<testsuites>\n${bodies.join('')}</testsuites>\n`;
}

function suiteOf({ run, wallSeconds }: Outcome): JunitSuite {
  const { scenario, digest, findings } = run;
  return {
    name: scenario.title.trim() === '' ? scenario.file : scenario.title,
    file: scenario.file,
    facts: {
      file: scenario.file,
      bench: scenario.benchTitle,
      seed: String(scenario.seed),
      'simulated seconds': String(scenario.durationSeconds),
      digest,
    },
    cases: checksOf(run).map((check) => caseOf(check, scenario.file)),
    said: findings.map(({ part, seconds, says }) => `${seconds} s ${part}: ${says}`).join('\n'),
    wallSeconds,
  };
}

function caseOf(check: Check, file: string): JunitCase {
  if (check.holds) return { name: check.name, file };
  const text = [`${file}:${check.line}`, check.says, ...causeText(check)].join('\n');
  return { name: check.name, file, failure: { message: check.says, type: 'expectation', text } };
}

function suiteXml(suite: JunitSuite, index: number, { startedAt, hostname }: JunitContext): string {
  const { name, file, facts, cases, said, wallSeconds } = suite;
  // The time is that of the whole run; it is not known how much of it a case took.
  const share = (wallSeconds / Math.max(1, cases.length)).toFixed(6);
  const attributes = attributesXml({
    name,
    package: packageOf(file),
    id: String(index),
    timestamp: startedAt.toISOString().slice(0, 19),
    hostname: hostname.trim() === '' ? 'localhost' : hostname,
    tests: String(cases.length),
    failures: String(cases.filter(({ failure }) => failure !== undefined).length),
    errors: '0',
    skipped: '0',
    time: wallSeconds.toFixed(6),
  });
  const properties = Object.entries(facts).map(
    ([fact, value]) => `      <property ${attributesXml({ name: fact, value })}/>\n`,
  );
  const bodies = cases.map((one) => caseXml(one, share));
  return (
    `  <testsuite ${attributes}>\n    <properties>\n${properties.join('')}    </properties>\n${bodies.join('')}` +
    `    <system-out>${xml(said)}</system-out>\n    <system-err></system-err>\n  </testsuite>\n`
  );
}

function caseXml({ name, file, failure }: JunitCase, time: string): string {
  const head = `    <testcase ${attributesXml({ name, classname: packageOf(file), time })}`;
  if (failure === undefined) return `${head}/>\n`;
  const { message, type, text } = failure;
  return `${head}>\n      <failure ${attributesXml({ message, type })}>${xml(text)}</failure>\n    </testcase>\n`;
}

/** Servers build a tree from the dots: `scenarios/orchard-cart/cold-start.yaml` is `scenarios.orchard-cart.cold-start`. */
function packageOf(file: string): string {
  const steps = file.replace(/\.ya?ml$/, '').split(/[/\\]/);
  return (
    steps.flatMap((step) => (step === '' || /^\.+$/.test(step) ? [] : [step.replaceAll('.', '_')])).join('.') || '.'
  );
}

function attributesXml(attributes: Readonly<Record<string, string>>): string {
  return Object.entries(attributes)
    .map(([name, value]) => `${name}="${xml(value.replaceAll(/\s+/g, ' '))}"`)
    .join(' ');
}

/** XML 1.0 has no way at all to write most control characters, lone surrogates and the two non-characters: they become `?`. */
function xml(text: string): string {
  return (
    text
      .replaceAll(/[^\t\n\u0020-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]/gu, '?')
      .replaceAll('&', '&amp;')
      .replaceAll('<', '&lt;')
      // Not only in attributes: `]]>` may stand in no text.
      .replaceAll('>', '&gt;')
      .replaceAll('"', '&quot;')
  );
}
