/** `jackstand new`: from measured values to a bench with its first scenarios, tried before they are written. */
import { join } from 'node:path';
import { hasErrors } from '../../bench/problem.ts';
import { Exit } from '../exit.ts';
import { tellProblems } from '../problems.ts';
import { paintFor, type Streams } from '../streams.ts';
import { CAUTIONS } from '../tune-text.ts';
import { summaryText, verdictText } from '../verdict-text.ts';
import { wrapped } from '../wrap.ts';
import type { Asker } from './ask.ts';
import { benchText, type Patch } from './bench-text.ts';
import type { AnswerName } from './flags.ts';
import { type Flags, type Gathered, gather } from './gather.ts';
import { QUESTIONS } from './questions.ts';
import { scenarioTexts } from './scenario-texts.ts';
import { type Setting, type Settings, settingsFor, type Trial, tryOut } from './trial.ts';
import { type Files, obstacles, writeAll } from './write.ts';

export interface NewOptions {
  readonly flags: Flags;
  /** Usual values for all that no flag says, without asking. */
  readonly usual: boolean;
  /** Where the constants that were given do not arm, takes the best that `jackstand tune` finds. */
  readonly tuned: boolean;
}

const FILE_NAMES = [
  'bench.yaml',
  'arms-foot-off.yaml',
  'refuses-foot-down.yaml',
  'full-sweep.yaml',
  'pedal-wire-breaks.yaml',
];

/** Status 0 if all that was written holds, 1 if something of it fails, 130 if the user left before anything was written. */
export async function createBench(
  folder: string,
  { flags, usual, tuned }: NewOptions,
  streams: Streams,
  terminal: (() => Promise<{ asker: Asker; isLeaving: (error: unknown) => boolean }>) | undefined,
): Promise<number> {
  const inTheWay = obstacles(folder, FILE_NAMES);
  if (inTheWay.length > 0) {
    tellProblems(inTheWay, streams);
    return Exit.badInput;
  }
  const at = usual ? undefined : await terminal?.();
  try {
    const gathered = await gatherReviewed(folder, flags, at?.asker, usual, streams);
    if (gathered === undefined) return left(streams);
    if ('problems' in gathered) {
      tellProblems(gathered.problems, streams);
      return Exit.badInput;
    }
    return await tryAndWrite(folder, gathered, tuned, at?.asker, streams);
  } catch (error) {
    if (at?.isLeaving(error) === true) return left(streams);
    throw error;
  }
}

function left(streams: Streams): number {
  streams.err('jackstand: left; nothing was written\n');
  return Exit.interrupted;
}

/** At a terminal the answers can be changed before anything is made of them; undefined where the user leaves instead. */
async function gatherReviewed(
  folder: string,
  flags: Flags,
  asker: Asker | undefined,
  usual: boolean,
  streams: Streams,
): Promise<Awaited<ReturnType<typeof gather>> | undefined> {
  if (asker !== undefined)
    streams.out(
      `${wrapped(`A bench in ${join(folder, 'bench.yaml')}, with its first scenarios. Enter takes the usual value; a tolerance may follow each number, as in 0.9 V ± 40 mV (or +/-). Ctrl-C leaves, and nothing is written.`, '', streams.columns).join('\n')}\n`,
    );
  let gathered = await gather(flags, asker, usual);
  while (asker !== undefined && !('problems' in gathered)) {
    const { answers } = gathered;
    streams.out('\n');
    const next = await asker.choose('All answered', [
      ['write', `try them out, and write them into ${folder}`],
      ['change', 'change an answer'],
      ['leave', 'leave without writing'],
    ]);
    if (next === 'leave') return undefined;
    if (next === 'write') break;
    const texts = Object.entries(answers).map(
      ([name, answer]) => [name as AnswerName, typeof answer === 'string' ? answer : answer.text] as const,
    );
    const changed = await asker.choose(
      'Which one',
      texts.map(([name, text]) => [name, `${QUESTIONS.find((question) => question.name === name)!.asks}: ${text}`]),
    );
    gathered = await regather(texts, changed as AnswerName, gathered, asker);
  }
  return gathered;
}

/** Asks again what is to be changed, and after it only what the change makes impossible. */
async function regather(
  texts: readonly (readonly [AnswerName, string])[],
  changed: AnswerName,
  before: Gathered,
  asker: Asker,
): Promise<Awaited<ReturnType<typeof gather>>> {
  const question = QUESTIONS.find(({ name }) => name === changed)!;
  const answer = await asker.ask(question, before.answers, question.usual(before.answers), true);
  const kept = new Map(texts).set(changed, typeof answer === 'string' ? answer : answer.text);
  for (;;) {
    const again = await gather(Object.fromEntries(kept), asker, false);
    if (!('problems' in again)) {
      const usual = [...before.usual].filter((name) => name !== changed && kept.has(name));
      return { answers: again.answers, usual: new Set([...usual, ...again.usual]) };
    }
    for (const name of again.refused) kept.delete(name);
  }
}

function filesFor({ answers, usual }: Gathered, patch: Patch): Files {
  return new Map([['bench.yaml', benchText(answers, usual, patch)], ...scenarioTexts(answers)]);
}

async function tryAndWrite(
  folder: string,
  gathered: Gathered,
  isTuned: boolean,
  asker: Asker | undefined,
  streams: Streams,
): Promise<number> {
  let files = filesFor(gathered, {});
  let trial = tryOut(files, folder);
  const settings = isRefusing(trial) ? await settingsFor(files, streams.status) : { list: [] };
  const chosen = await settingChosen(settings, trial, isTuned, asker, streams);
  if (chosen !== undefined) {
    files = filesFor(gathered, chosen.patch);
    trial = tryOut(files, folder);
  }
  // The answers were checked one by one, so that this is a rule between values that no question knows of.
  if (hasErrors(trial.problems)) {
    tellProblems(trial.problems, streams);
    return Exit.badInput;
  }
  const unwritten = writeAll(folder, files);
  if (unwritten.length > 0) {
    tellProblems(unwritten, streams);
    return Exit.badInput;
  }
  streams.out(endText(folder, files, trial, settings, chosen, streams));
  return trial.runs.every(({ holds }) => holds) ? Exit.holds : Exit.failed;
}

/** Whether something does not arm, or not drive, with the foot where it should: what timer settings can change. */
function isRefusing({ runs }: Trial): boolean {
  return runs.some(({ holds, scenario }) => !holds && /(arms-foot-off|full-sweep)\.yaml$/.test(scenario.file));
}

async function settingChosen(
  settings: Settings,
  trial: Trial,
  isTuned: boolean,
  asker: Asker | undefined,
  streams: Streams,
): Promise<Setting | undefined> {
  const { list } = settings;
  if (list.length === 0) return undefined;
  if (isTuned) return list[0];
  if (asker === undefined) return undefined;
  streams.out(
    `\n${trial.runs
      // The first one tells the cause; the list below must stay in sight.
      .filter(({ holds }) => !holds)
      .slice(0, 1)
      .map((run) => verdictText(run, undefined, streams))
      .join('')}\n`,
  );
  const word = await asker.choose('With these answers it fails. Timer settings with which it arms', [
    ...list.map(({ words }, index) => [String(index), words] as const),
    ['keep', 'keep the answers as they are'],
  ]);
  return word === 'keep' ? undefined : list[Number(word)];
}

function endText(
  folder: string,
  files: Files,
  { runs, problems }: Trial,
  settings: Settings,
  chosen: Setting | undefined,
  streams: Streams,
): string {
  const paint = paintFor(streams);
  const lines = ['', `Written into ${folder}: ${[...files.keys()].join(', ')}`];
  if (chosen !== undefined) lines.push(...wrapped(`with the timer setting ${chosen.words}`, '', streams.columns));
  const warningCount = new Set(problems.map(({ file, line, facts }) => JSON.stringify([file, line, facts]))).size;
  const told = [
    `${lines.join('\n')}\n\n`,
    ...runs.map((run) => verdictText(run, undefined, streams)),
    `\n${summaryText(runs)}`,
  ];
  const after: string[] = [];
  if (chosen === undefined && 'says' in settings)
    after.push(`${settings.says}; jackstand tune says what comes nearest`);
  else if (chosen === undefined && settings.list.length > 0)
    after.push(
      `${settings.list.length === 1 ? 'a timer setting that arms' : 'timer settings that arm'} (--tuned takes the first):`,
      ...settings.list.map(({ words }) => `  ${words}`),
    );
  if (warningCount > 0) after.push(`jackstand check ${folder} has warnings to show`);
  const next = [
    `next: jackstand run ${folder}; jackstand show ${join(folder, 'arms-foot-off.yaml')}; jackstand tune ${join(folder, 'bench.yaml')}`,
    ...CAUTIONS,
  ].map(paint.faint);
  return [...told, `${[...after, '', ...next].join('\n')}\n`].join('');
}
