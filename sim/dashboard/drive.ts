/** What a drive has beside a show: hands. Each act becomes a step of the script at an instant that a file can state. */
import { dirname, relative } from 'node:path';
import { printProblem } from '../bench/print.ts';
import type { DescribedPart } from '../bench/schema.ts';
import { type Ground, withOverride } from './ground.ts';
import { choiceStep, choicesOf, faultChoices, faultStep, handledParts, leverStep, switchStep } from './hand.ts';
import { actsOfWritten, instantAfter, lengthBetween, scenarioText, type WrittenStep } from './live-script.ts';
import type { Session } from './session.ts';
import { decimalsAt } from './speeds.ts';

export interface Drive {
  ground: Ground;
  steps: readonly WrittenStep[];
}

/** A drive ends here: what it records has grown to some hundred megabytes by then. */
export const DRIVE_SECONDS_MOST = 3600;

export function newDrive(ground: Ground): Drive {
  return { ground, steps: [] };
}

/** The play that a drive's ground and steps make. */
export function playOf({ ground, steps }: Drive) {
  const { title, benchTitle, parts, seed, expectations } = ground;
  const acts = actsOfWritten(steps, parts);
  return { title, benchTitle, parts, seed, acts, endSeconds: DRIVE_SECONDS_MOST, expectations };
}

/** Adds a step at the next instant that a file can state. */
function act(session: Session, make: (at: string) => WrittenStep | undefined): void {
  const { drive, player } = session;
  if (drive === undefined) return;
  const at = instantAfter(player.seconds, decimalsAt(session.speed));
  const step = make(at);
  if (step === undefined) return;
  // Gone back: what lay ahead is undone by acting now. Else a step that lies ahead is one that has just been asked for.
  const isBack = player.seconds < session.furthestSeconds;
  const past = drive.steps.filter((one) => !isBack || secondsOf(one.at) <= player.seconds || one.at === at);
  // A second word to the same part at the same instant takes the place of the first: the hand is quicker than the clock.
  const kept = past.filter((one) => one.at !== at || subjectOf(one) !== subjectOf(step));
  change(session, [...kept.map((one) => endedBy(one, player.seconds)), step]);
  if (player.isAtEnd) session.say(`A drive ends after ${DRIVE_SECONDS_MOST / 3600} h: save it, and start again.`, true);
}

/** A fault whose end lay in the future, from before going back, stands again. */
function endedBy(step: WrittenStep, nowSeconds: number): WrittenStep {
  if (step.for === undefined || secondsOf(step.at) + secondsOf(step.for) <= nowSeconds) return step;
  const { for: _, ...open } = step;
  return open;
}

function change(session: Session, steps: readonly WrittenStep[]): void {
  const drive = session.drive!;
  drive.steps = steps;
  session.play = playOf(drive);
  session.player.changeScript(session.play.acts);
  session.furthestSeconds = session.player.seconds;
}

const secondsOf = (text: string): number => Number.parseFloat(text);

/** What a step is done to: a part, or a fault of one. */
function subjectOf(step: WrittenStep): string {
  const { at: _, for: __, ...rest } = step;
  return step.fault === undefined ? Object.keys(rest).join() : JSON.stringify(step.fault);
}

function parts(session: Session): readonly DescribedPart[] {
  return session.play.parts;
}

/** Where a lever was last sent by hand, or stands. */
export function leverPosition(session: Session, index: number): number | undefined {
  const lever = handledParts(parts(session), 'lever')[index];
  if (lever === undefined) return undefined;
  const said = session.drive?.steps.findLast((step) => step[lever.part.name] !== undefined)?.[lever.part.name];
  const text = (said as Readonly<Record<string, string>> | undefined)?.[lever.handle.form];
  return text === undefined ? 0 : Number.parseFloat(text) / 100;
}

export function moveLever(session: Session, index: number, to: number): void {
  const lever = handledParts(parts(session), 'lever')[index];
  if (lever === undefined) session.say('This bench has no such lever.', true);
  else act(session, (at) => leverStep(lever, at, to));
}

export function shiftLever(session: Session, index: number, by: number): void {
  moveLever(session, index, Math.round(((leverPosition(session, index) ?? 0) + by) * 100) / 100);
}

export function moveChoice(session: Session, by: 1 | -1): void {
  const [choice] = handledParts(parts(session), 'choice');
  if (choice === undefined) {
    session.say('This bench has no selector.', true);
    return;
  }
  const { part, handle } = choice;
  const words = choicesOf(choice);
  const said = session.drive?.steps.findLast((step) => step[part.name] !== undefined)?.[part.name];
  const port = part.kind.ports.out[handle.port];
  const present = port?.words?.[session.player.present(`${part.name}.${handle.port}`)];
  const last = (said as Readonly<Record<string, string>> | undefined)?.[handle.form] ?? present ?? words[0]!;
  const next = words[Math.min(Math.max(words.indexOf(last) + by, 0), words.length - 1)]!;
  act(session, (at) => choiceStep(choice, at, next));
}

export function flipSwitch(session: Session): void {
  const [flipped] = handledParts(parts(session), 'switch');
  if (flipped === undefined) {
    session.say('This bench has no switch.', true);
    return;
  }
  const { part, handle } = flipped;
  const said = session.drive?.steps.findLast((step) => step[part.name] !== undefined)?.[part.name];
  const isOn = said === handle.on;
  act(session, (at) => switchStep(flipped, at, !isOn));
}

/** Breaks what is whole and mends what was broken. */
export function toggleFault(session: Session, index: number): void {
  const { drive, player } = session;
  if (drive === undefined) return;
  const choice = faultChoices(parts(session), drive.steps)[index];
  if (choice === undefined) return;
  if (choice.openStep === undefined) {
    act(session, (at) => faultStep(choice.part, choice.fault, at));
    return;
  }
  const { openStep } = choice;
  const now = instantAfter(player.seconds, decimalsAt(session.speed));
  const past = drive.steps.filter((step, place) => place === openStep || secondsOf(step.at) <= player.seconds);
  change(
    session,
    past.map((step) =>
      step === drive.steps[openStep] ? { ...step, for: lengthBetween(step.at, now, 6) } : endedBy(step, player.seconds),
    ),
  );
}

/** Starts again with a constant changed; the steps so far are kept and played again. */
export function changeConstant(session: Session, path: string, text: string): void {
  const drive = session.drive!;
  const value = /^-?\d+(\.\d+)?$/.test(text) ? Number(text) : text;
  const outcome = withOverride(drive.ground, path, value);
  if ('problems' in outcome) {
    const [first] = outcome.problems;
    session.say(first === undefined ? 'That value is not taken.' : printProblem(first, 100).split('\n')[0]!, true);
    return;
  }
  drive.ground = outcome.ground;
  session.begin(playOf(drive));
  session.furthestSeconds = Math.max(0, ...drive.steps.map(({ at }) => secondsOf(at)));
  session.overlay = undefined;
  session.say(`${path} is ${text}; started again, your steps are kept (N clears them)`);
}

export function clearSteps(session: Session): void {
  const drive = session.drive!;
  drive.steps = [];
  session.begin(playOf(drive));
  session.say('A new drive.');
}

/** Runs on to the next instant that a file can state and writes the scenario; returns the digest that a replay must give. */
export function saveDrive(session: Session, file: string): string | undefined {
  const { drive, player, options } = session;
  if (drive === undefined || options.write === undefined) return undefined;
  const decimals = 6;
  const ends = drive.steps.map(({ at, for: length }) => secondsOf(at) + (length === undefined ? 0 : secondsOf(length)));
  const least = Math.max(player.seconds, ...ends, 0);
  const duration = instantAfter(least, Math.min(decimals, decimalsAt(session.speed)));
  player.runTo(secondsOf(duration));
  session.isPlaying = false;
  session.moved();
  const { digest } = player;
  const text = scenarioText({
    title: drive.ground.title,
    bench: benchFrom(file, drive.ground.benchFile),
    overrides: drive.ground.overrides,
    seed: drive.ground.seed,
    duration,
    steps: drive.steps,
    expect: drive.ground.expect,
    digest,
  });
  const problem = options.write(file, text);
  if (problem === undefined) session.say(`Saved ${file}: ${duration}, digest ${digest}.`);
  else session.say(`${file}: ${problem}`, true);
  return problem === undefined ? digest : undefined;
}

/** The bench as the saved file must name it. */
function benchFrom(file: string, bench: string): string {
  return relative(dirname(file), bench).replaceAll('\\', '/');
}
