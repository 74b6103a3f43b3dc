/** Suites: what stands in braces, what is left out, where mistakes are shown, and the shipped ones on the shipped bench. */
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { loadSuite } from '../../sim/campaign/suite.ts';
import { runScenario } from '../../sim/verdict/run-scenario.ts';

const folder = mkdtempSync(join(tmpdir(), 'jackstand-suite-'));
const written = (name: string, text: string): string => {
  const file = join(folder, name);
  writeFileSync(file, text);
  return file;
};

// Two controllers unlike each other, and none of the sections that the suites ask for with `where`.
const unlikeBench = written(
  'unlike.yaml',
  `bench: unlike
board: { firmware: { kind: mapping, input: [186, 828], output: [46, 62] }, pwm: { prescaler: 256 }, clock: 8 MHz }
controllers:
  slow: { pulse: { neutral: 1500 us, full: 2000 us }, boot: 0.9 s, arming: { hold: 0.4 s } }
  fast: { pulse: { neutral: 1500 us, full: 1900 us }, boot: 0.2 s, arming: { hold: 0.7 s } }
`,
);
const suiteOf = (scenarios: string, values = ''): string =>
  written('suite.yaml', `suite: s\neach: { controller: controllers }\nvalues: { ${values} }\nscenarios:\n${scenarios}`);
const one = (body: string): string => `  - scenario: a\n    duration: 5 s\n${body}`;

describe('suite: braces', () => {
  test('a list is a sum of times, and * takes the largest of all members', () => {
    const suite = suiteOf(
      one("    steps: [{ at: '{go}', battery: connect }]\n"),
      "go: ['{controllers.*.boot}', '{controllers.*.arming.hold}', 250 ms]",
    );
    // 0.9 s (slow) + 0.7 s (fast) + 0.25 s.
    expect(loadSuite(suite, unlikeBench).value!.scenarios[0]!.acts[0]!.seconds).toBe(1.85);
  });

  test('an expectation that speaks of each controller stands once for each, with its own values', () => {
    const suite = suiteOf(
      one("    expect: [{ that: '{controller}.pulse <= {controllers.{controller}.pulse.full}', always: true }]\n"),
    );
    const { expectations } = loadSuite(suite, unlikeBench).value!.scenarios[0]!;
    expect(expectations.map(({ formula }) => formula.text)).toEqual([
      'slow.pulse <= 2000 us, always',
      'fast.pulse <= 1900 us, always',
    ]);
  });

  test('a mistake is shown where it stands in the suite, once', () => {
    const suite = suiteOf(
      one("    expect:\n      - { that: '{controller}.drive <= {controllers.{controller}.best}', always: true }\n"),
    );
    const { problems } = loadSuite(suite, unlikeBench);
    expect(problems.filter(({ code }) => code === 'refused').map(({ line }) => line)).toContain(8);
    const unknown = suiteOf(one("    steps: [{ at: '{nowhere}', battery: connect }]\n"));
    const found = loadSuite(unknown, unlikeBench).problems;
    expect(found.map(({ file, line }) => [file, line])).toContainEqual([unknown, 7]);
  });

  test('a value that refers to itself is refused', () => {
    const suite = suiteOf(one("    steps: [{ at: '{go}', battery: connect }]\n"), "go: '{round}', round: '{go}'");
    expect(JSON.stringify(loadSuite(suite, unlikeBench).problems)).toContain('refers to itself');
  });

  test('steps and scenarios for a section that the bench has not are left out, and it is said which', () => {
    const suite = suiteOf(
      `${one("    steps: [{ where: selector, at: 0 s, selector: { to: '{selector.positions.last}' } }]\n")}  - scenario: b\n    where: controllers.*.cutoff.cut\n    duration: 1 s\n`,
    );
    const { value } = loadSuite(suite, unlikeBench);
    expect(value!.scenarios.map(({ acts }) => acts.length)).toEqual([0]);
    expect(value!.leftOut).toEqual([{ scenario: 'b', lacks: 'controllers.*.cutoff.cut' }]);
  });
});

describe('suite: shipped', () => {
  const failing = (suite: string, bench: string): string[] =>
    loadSuite(`scenarios/suites/${suite}.yaml`, bench).value!.scenarios.flatMap((scenario) =>
      runScenario(scenario, { causes: false }).holds ? [] : [scenario.title.replace(/^[^:]*: | \(after.*/g, '')],
    );

  test.each(['scenarios/orchard-cart/bench.yaml', unlikeBench])('first-power holds on %s', (bench) => {
    expect(failing('first-power', bench)).toEqual([]);
  });

  // The plain law takes any voltage for a wish of the foot, so each of these is what reasoning about it predicts.
  test('control-failure fails on the plain law where one wire alone makes a command', () => {
    expect(failing('control-failure', 'scenarios/orchard-cart/bench.yaml')).toEqual([
      'command signal fails towards the supply, foot off',
      'command signal sticks while driving',
      'program hangs while driving',
      'throttle return, signal wire severed',
      "throttle return, sensor's ground wire severed",
    ]);
  });

  test('a window of plausible counts mends the severed wires, and neither a sensor that sticks nor a hung program', () => {
    const guarded = written(
      'guarded.yaml',
      `bench: guarded
board:
  firmware: { kind: mapping, input: [186, 828], output: [46, 62], plausible: [120, 900] }
  pwm: { prescaler: 256 }
  adc: { pull: down }
  clock: 8 MHz
controllers: { left: { pulse: { neutral: 1500 us, full: 2000 us } } }
`,
    );
    expect(failing('control-failure', guarded)).toEqual([
      'command signal sticks while driving',
      'program hangs while driving',
    ]);
  });
});
