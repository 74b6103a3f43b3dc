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

export function junitOf(outcomes: readonly Outcome[], context: JunitContext): string {
  const suites = outcomes.map((outcome, index) => suiteXml(outcome, index, context));
  return `<?xml version="1.0" encoding="UTF-8"?>\n<testsuites>\n${suites.join('')}</testsuites>\n`;
}

function suiteXml({ run, wallSeconds }: Outcome, index: number, { startedAt, hostname }: JunitContext): string {
  const { scenario, digest, findings } = run;
  const checks = checksOf(run);
  const failures = checks.filter(({ holds }) => !holds).length;
  const time = wallSeconds.toFixed(6);
  // The time is that of the whole run; it is not known how much of it an expectation took.
  const share = (wallSeconds / Math.max(1, checks.length)).toFixed(6);
  const attributes = attributesXml({
    name: scenario.title.trim() === '' ? scenario.file : scenario.title,
    package: packageOf(scenario.file),
    id: String(index),
    timestamp: startedAt.toISOString().slice(0, 19),
    hostname: hostname.trim() === '' ? 'localhost' : hostname,
    tests: String(checks.length),
    failures: String(failures),
    errors: '0',
    skipped: '0',
    time,
  });
  const facts = {
    file: scenario.file,
    bench: scenario.benchTitle,
    seed: String(scenario.seed),
    'simulated seconds': String(scenario.durationSeconds),
    digest,
  };
  const properties = Object.entries(facts).map(
    ([name, value]) => `      <property ${attributesXml({ name, value })}/>\n`,
  );
  const cases = checks.map((check) => caseXml(check, scenario.file, share));
  const said = findings.map(({ part, seconds, says }) => `${seconds} s ${part}: ${says}`).join('\n');
  return (
    `  <testsuite ${attributes}>\n    <properties>\n${properties.join('')}    </properties>\n${cases.join('')}` +
    `    <system-out>${xml(said)}</system-out>\n    <system-err></system-err>\n  </testsuite>\n`
  );
}

function caseXml(check: Check, file: string, time: string): string {
  const head = `    <testcase ${attributesXml({ name: check.name, classname: packageOf(file), time })}`;
  if (check.holds) return `${head}/>\n`;
  const text = [`${file}:${check.line}`, check.says, ...causeText(check)].join('\n');
  return `${head}>\n      <failure ${attributesXml({ message: check.says, type: 'expectation' })}>${xml(text)}</failure>\n    </testcase>\n`;
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
