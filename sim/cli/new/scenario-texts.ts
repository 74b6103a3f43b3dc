/** The first scenarios that `jackstand new` writes: what anybody wants to know of a throttle before it is powered. */
import { type Answers, numberOf } from './answers.ts';
import { controllerNames } from './bench-text.ts';

/** Time that a controller starts up in, and a board: the bench's own defaults. */
const START_SECONDS = 0.3 + 0.1;
const SPARE_SECONDS = 1;

/** Scenario files by name, in the order in which they are worth running. */
export function scenarioTexts(answers: Answers): ReadonlyMap<string, string> {
  const names = controllerNames(answers);
  const armed = Math.ceil(START_SECONDS + numberOf(answers, 'hold') + SPARE_SECONDS);
  // A pass of the program may be slow, and a frame is never faster.
  const answered = (1 + 10 * numberOf(answers, 'every')).toFixed(1);
  const all = (line: (name: string) => string): string[] => names.map((name) => `  - { ${line(name)} }`);
  const arms = all((name) => `that: ${name}.mode is armed, within: ${armed} s`);
  const press = armed + 1;
  return new Map([
    [
      'arms-foot-off.yaml',
      text(
        'The first thing to know: with the foot off, does everything arm, does nothing move by itself, and does it follow the foot?',
        'arms with the foot off, and follows it',
        press + 6,
        [
          '{ at: 0 s, battery: connect }',
          `{ at: ${press} s, pedal: { press: 100 %, over: 1 s } }`,
          `{ at: ${press + 4} s, pedal: release }`,
        ],
        [
          ...arms,
          ...all(
            (name) =>
              `that: ${name}.drive = 0, always: true, until: ${press} s, why: nothing may move before the foot does`,
          ),
          ...all(
            (name) =>
              `that: ${name}.drive >= 98 %, within: ${1 + Number(answered)} s, from: ${press} s, why: full pedal gives full drive`,
          ),
          ...all(
            (name) =>
              `when: pedal.travel < 2 %, then: ${name}.drive = 0, within: ${answered} s, why: letting go stops it`,
          ),
        ],
      ),
    ],
    [
      'refuses-foot-down.yaml',
      text(
        'Switched on with the foot down: nothing may arm, and nothing may move, until the foot has been taken off.',
        'refuses to start with the foot down',
        2 * armed + 4,
        [
          '{ at: 0 s, pedal: { press: 100 % } }',
          '{ at: 0.1 s, battery: connect }',
          `{ at: ${armed + 2} s, pedal: release }`,
        ],
        [
          ...all((name) => `that: ${name}.mode is armed, never: true, until: ${armed + 2} s`),
          ...all((name) => `that: ${name}.drive = 0, always: true`),
          ...all(
            (name) =>
              `that: ${name}.mode is armed, within: ${armed + 1} s, from: ${armed + 2} s, why: once the foot is off it may arm`,
          ),
        ],
      ),
    ],
    [
      'full-sweep.yaml',
      text(
        'From rest to full in ten seconds: the drive must never step back, and must get to full.',
        'full sweep of the pedal',
        press + 13,
        ['{ at: 0 s, battery: connect }', `{ at: ${press} s, pedal: { press: 100 %, over: 10 s } }`],
        [
          ...arms,
          ...all((name) => `that: ${name}.drive rises, always: true, from: ${press} s`),
          ...all((name) => `that: ${name}.drive >= 98 %, within: ${10 + Number(answered)} s, from: ${press} s`),
        ],
      ),
    ],
    [
      'pedal-wire-breaks.yaml',
      text(
        'The signal wire of the pedal breaks while driving: the drive must be gone, whatever the pin then reads.',
        'pedal wire breaks while driving',
        press + 7,
        [
          '{ at: 0 s, battery: connect }',
          `{ at: ${press} s, pedal: { press: 80 %, over: 0.5 s } }`,
          `{ at: ${press + 3} s, fault: { pedal: signal-open } }`,
        ],
        [
          ...all((name) => `that: ${name}.drive > 0, within: ${0.5 + Number(answered)} s, from: ${press} s`),
          ...all(
            (name) =>
              `that: ${name}.drive <= 0, always: true, from: ${(press + 3 + Number(answered)).toFixed(1)} s, why: a broken wire must not drive`,
          ),
        ],
      ),
    ],
  ]);
}

function text(
  about: string,
  title: string,
  seconds: number,
  steps: readonly string[],
  expect: readonly string[],
): string {
  return [
    `# ${about}`,
    `scenario: ${title}`,
    'bench: bench.yaml',
    'seed: 1',
    `duration: ${seconds} s`,
    'steps:',
    ...steps.map((step) => `  - ${step}`),
    'expect:',
    ...expect,
    '',
  ].join('\n');
}
