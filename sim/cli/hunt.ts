/** `jackstand hunt`: searches for something that breaks an expectation, and shrinks it to a small scenario. */
import { type Bench, type Loaded, loadBench } from '../bench/load-bench.ts';
import { printable } from '../bench/print.ts';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import { type HuntRequest, openGround } from '../campaign/hunt/ground.ts';
import { type HuntReport, huntReport, planHunt, searchIslands } from '../campaign/hunt.ts';
import { variantText } from '../campaign/variant.ts';
import { parseQuantity } from '../units/index.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import { Exit } from './exit.ts';
import { kindOf } from './find-files.ts';
import { junitText } from './junit-cases.ts';
import { type Campaign, type ManyFlags, runCampaign, type Surroundings, writtenFile } from './many.ts';
import { tellProblems } from './problems.ts';
import { paintFor, type Streams } from './streams.ts';
import { FORMAT_VERSION, TOOL_VERSION } from './version.ts';
import { wrapped } from './wrap.ts';

export interface HuntFlags extends ManyFlags {
  readonly runs?: string;
  readonly seed?: string;
  readonly duration?: string;
  /** commander's `--no-…`: true unless the flag is given. */
  readonly faults?: boolean | string;
  readonly steps?: boolean | string;
  readonly default?: boolean | string;
  readonly write?: string;
}

export async function hunt(
  file: string,
  flags: HuntFlags,
  streams: Streams,
  surroundings: Surroundings,
): Promise<number> {
  const loaded = loadGround(file);
  const problems: Problem[] = loaded.problems.filter(({ severity }) => severity === 'error');
  const refuse = (flag: string, says: string): undefined => {
    problems.push(problemAt(flag, 'refused', { path: '', says }));
    return undefined;
  };
  const whole = (flag: string, text: string | undefined, least: number, most: number): number | undefined => {
    if (text === undefined) return undefined;
    const value = Number(text);
    if (Number.isInteger(value) && value >= least && value <= most) return value;
    return refuse(flag, `${text} is no whole number from ${least} to ${most}`);
  };
  const runs = whole('--runs', flags.runs, 1, 10_000_000);
  const seed = whole('--seed', flags.seed, 0, 2 ** 31 - 1);
  const parsed = flags.duration === undefined ? undefined : parseQuantity(flags.duration, 'time');
  const seconds = parsed !== undefined && 'quantity' in parsed ? parsed.quantity.value : undefined;
  if (flags.duration !== undefined && !(seconds !== undefined && seconds > 0))
    refuse('--duration', `${flags.duration} is no time such as 10 s`);
  if (hasErrors(problems) || loaded.value === undefined) {
    tellProblems(problems, streams);
    return Exit.badInput;
  }
  const request = planHunt(loaded.value, {
    ...(runs === undefined ? {} : { runs }),
    ...(seed === undefined ? {} : { seed }),
    ...(seconds === undefined ? {} : { durationSeconds: seconds }),
    faults: flags.faults !== false,
    keepsSteps: flags.steps !== false,
    isDefault: flags.default === true,
  });
  const campaign = huntCampaign(request, flags, streams, (rows, options) => searchIslands(request, rows, options));
  return runCampaign(campaign, flags, streams, surroundings);
}

/** A bench, or a scenario on one. */
export function loadGround(file: string): Loaded<Bench | Scenario> {
  return kindOf(file) === 'bench' ? loadBench(file) : loadScenario(file);
}

export function huntCampaign(
  request: HuntRequest,
  flags: HuntFlags,
  streams: Streams,
  make: Campaign['make'],
): Campaign {
  const ground = openGround(request);
  return {
    title: `hunt on ${ground.title}`,
    request,
    count: request.islands,
    // The bench left alone, with all that it passes through.
    fingerprint: ground.digest(),
    make,
    report: (rows) => {
      streams.status?.('shrinking what was found');
      const report = huntReport(request, rows);
      streams.status?.('');
      if (flags.format === 'json') streams.out(`${JSON.stringify(huntJson(report), null, 2)}\n`);
      else if (flags.format === 'junit') streams.out(huntJunit(report));
      else streams.out(huntText(report, request, flags.write, streams));
      if (report.found === null) return Exit.holds;
      if (flags.write !== undefined) {
        if (!writtenFile(flags.write, huntScenario(report, request, flags.write), streams)) return Exit.badInput;
        streams.err(`wrote ${flags.write}; jackstand run shows it\n`);
      }
      return Exit.failed;
    },
  };
}

function huntText(
  { found, title, runs, modes, transitions }: HuntReport,
  request: HuntRequest,
  target: string | undefined,
  look: Streams,
): string {
  const paint = paintFor(look);
  const covered = `${runs} runs passed through ${modes.met} of ${modes.of} modes and ${transitions.met} of ${transitions.of} transitions`;
  if (found === null) {
    const notMet = listWords(modes.missing.map(printable));
    return `${[
      ...wrapped(`${printable(title)}: nothing found`, `${paint.good(paint.strong('holds'))}  `, look.columns),
      ...wrapped(`${covered}. That is no proof: what was not tried may still break it.`, MARGIN, look.columns),
      ...(notMet === '' ? [] : wrapped(`modes never met: ${notMet}`, MARGIN, look.columns).map(paint.faint)),
    ].join('\n')}\n`;
  }
  const steps = found.steps.map((step) => `${MARGIN}  - ${JSON.stringify(step).replaceAll('"', '')}`);
  const kept = request.isBench || !request.keepsSteps ? '' : ', beside what the script does,';
  return `${[
    ...wrapped(`${printable(title)}: ${printable(found.text)}`, `${paint.bad(paint.strong('FAILS'))}  `, look.columns),
    `${MARGIN}broken by ${steps.length === 0 ? 'nothing at all' : 'this'}${kept} within ${found.duration}:`,
    ...steps,
    ...wrapped(
      `${covered}; ${found.stepsBefore} steps were shrunk to ${steps.length} in ${found.shrinkRuns} more runs`,
      MARGIN,
      look.columns,
    ).map(paint.faint),
    ...(target === undefined ? [paint.faint(`${MARGIN}--write FILE writes it as a scenario`)] : []),
  ].join('\n')}\n`;
}

const MARGIN = ' '.repeat(7);

function listWords(names: readonly string[]): string {
  return names.length <= 12 ? names.join(', ') : `${names.slice(0, 12).join(', ')} and ${names.length - 12} more`;
}

function huntJson(report: HuntReport): unknown {
  const { score, ...rest } = report;
  return {
    jackstand: TOOL_VERSION,
    format: FORMAT_VERSION,
    campaign: 'hunt',
    ...rest,
    score: Number(score.toPrecision(12)),
  };
}

function huntJunit({ found, title, file }: HuntReport): string {
  const base = { name: found === null ? 'nothing found' : found.text, group: file };
  const steps = (found?.steps ?? []).map((step) => JSON.stringify(step)).join('\n');
  return junitText(`hunt on ${title}`, [
    found === null
      ? base
      : { ...base, failure: { message: `broken by ${found.steps.length} steps`, type: 'hunt', text: steps } },
  ]);
}

function huntScenario({ found, title, file }: HuntReport, request: HuntRequest, target: string): string {
  const { steps, expect, duration, text } = found!;
  return variantText(file, target, {
    comment: `Found by jackstand hunt on ${file} (seed ${request.seed}): breaks\n${text}`,
    title: `${title}: found by a hunt`,
    ...(request.isBench || !request.keepsSteps ? { steps } : { moreSteps: steps }),
    duration,
    ...(expect === undefined ? {} : { expect }),
  });
}
