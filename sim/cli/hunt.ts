/** `jackstand hunt`: searches for something that breaks an expectation, and shrinks it to a small scenario. */
import { type Bench, type Loaded, loadBench } from '../bench/load-bench.ts';
import { printable } from '../bench/print.ts';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import { type HuntRequest, openGround } from '../campaign/hunt/ground.ts';
import { type HuntReport, huntReport, planHunt, searchIslands } from '../campaign/hunt.ts';
import { flow, variantText } from '../campaign/variant.ts';
import type { JunitCase } from '../report/junit.ts';
import { formatQuantity, parseQuantity, unitFor } from '../units/index.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import { counted } from './counted.ts';
import { Exit } from './exit.ts';
import { kindOf } from './find-files.ts';
import { campaignJunit } from './junit-cases.ts';
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
  readonly line?: string;
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
  const line = whole('--line', flags.line, 1, 1_000_000);
  const lines =
    loaded.value === undefined || 'contents' in loaded.value ? [] : loaded.value.expectations.map((one) => one.line);
  if (line !== undefined && loaded.value !== undefined && !lines.includes(line))
    problems.push(
      problemAt('--line', 'refused', {
        path: '',
        says: `no expectation of ${file} stands on line ${line}`,
        allowed: lines.length === 0 ? 'a scenario with expectations' : lines.join(', '),
      }),
    );
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
    ...(line === undefined ? {} : { line }),
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
    runsPerRow: request.islandRuns,
    // The bench left alone, with all that it passes through.
    fingerprint: ground.digest(),
    make,
    report: (rows) => {
      streams.status?.('shrinking what was found');
      const report = huntReport(request, rows);
      streams.status?.('');
      if (flags.format === 'json') streams.out(`${JSON.stringify(huntJson(report), null, 2)}\n`);
      else if (flags.format === 'junit')
        streams.out(campaignJunit(`hunt on ${report.title}`, report.file, huntCases(report)));
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

function huntText(report: HuntReport, request: HuntRequest, target: string | undefined, look: Streams): string {
  const { found, title, runs, modes, transitions } = report;
  const paint = paintFor(look);
  const covered = `${runs} ${runs === 1 ? 'run' : 'runs'} passed through ${modes.met} of ${modes.of} modes and ${transitions.met} of ${transitions.of} transitions`;
  if (found === null) {
    const reachable = request.hasFaults ? '' : ' that can be reached without faults';
    return `${[
      ...wrapped(`${printable(title)}: nothing found`, `${paint.good(paint.strong('holds'))}  `, look.columns),
      ...wrapped(
        `${covered}${reachable}. That is no proof: what was not tried may still break it.`,
        MARGIN,
        look.columns,
      ),
      ...approachLines(report, look),
      ...(modes.missing.length === 0 ? [] : [`${MARGIN}modes never met:`]),
      ...byPart(modes.missing)
        .flatMap((words) => wrapped(printable(words), `${MARGIN}  `, look.columns))
        .map(paint.faint),
    ].join('\n')}\n`;
  }
  const kept = request.isBench || !request.keepsSteps ? '' : ', beside what the script does,';
  const shrunk = `${counted(found.stepsBefore, 'step')} of the hunt shrunk to ${found.huntSteps} in ${counted(found.shrinkRuns, 'more run')}`;
  return `${[
    ...wrapped(`${printable(title)}: ${printable(found.text)}`, `${paint.bad(paint.strong('FAILS'))}  `, look.columns),
    `${MARGIN}broken by ${found.steps.length === 0 ? 'nothing at all' : 'this'}${kept} within ${found.duration}${found.steps.length === 0 ? '' : ':'}`,
    ...stepLines(found.steps),
    ...wrapped(`${covered}; ${shrunk}`, MARGIN, look.columns).map(paint.faint),
    ...(target === undefined ? [paint.faint(`${MARGIN}--write FILE writes it as a scenario`)] : []),
  ].join('\n')}\n`;
}

const MARGIN = ' '.repeat(7);
/** Of the expectations that were not broken, as many as fit a glance. */
const APPROACHES_SHOWN = 3;

/** The expectations that came nearest to breaking, as far as a margin tells it. */
function approachLines({ nearest }: HuntReport, look: Streams): string[] {
  return nearest
    .filter(({ margin, steps }) => margin !== null && margin.value > 0 && steps.length > 0)
    .slice(0, APPROACHES_SHOWN)
    .flatMap(({ text, margin, steps }) => {
      const { value, dimension } = margin!;
      const spare = formatQuantity(value, dimension, { digits: 3 });
      return [
        ...wrapped(`nearest to breaking, ${spare} to spare: ${printable(text)}`, MARGIN, look.columns),
        ...stepLines(steps),
      ];
    });
}

function stepLines(steps: readonly unknown[]): string[] {
  return steps.map((step) => `${MARGIN}  - ${printable(flow(step))}`);
}

/** `pedal: open, stuck` for `pedal: open` and `pedal: stuck`. */
function byPart(modes: readonly string[]): string[] {
  const parts = new Map<string, string[]>();
  for (const name of modes) {
    const [part, mode] = name.split(': ') as [string, string];
    parts.set(part, [...(parts.get(part) ?? []), mode]);
  }
  return [...parts].map(([part, of]) => `${part}: ${of.join(', ')}`);
}

function huntJson({ nearest, ...report }: HuntReport): unknown {
  return {
    jackstand: TOOL_VERSION,
    format: FORMAT_VERSION,
    campaign: 'hunt',
    ...report,
    nearest: nearest.map(({ text, margin, steps }) => {
      if (margin === null) return { text, margin: null, unit: '', steps };
      const { unit, scale } = unitFor(margin.dimension);
      return { text, margin: Number((margin.value * scale).toPrecision(12)), unit, steps };
    }),
  };
}

function huntCases({ found, nearest, file, modes, transitions }: HuntReport): JunitCase[] {
  const covered = `${modes.met} of ${modes.of} modes, ${transitions.met} of ${transitions.of} transitions`;
  if (found === null) return nearest.map(({ text }) => ({ name: text, file }));
  const steps = found.steps.map(flow).join('\n');
  const message = `broken by ${counted(found.steps.length, 'step')} within ${found.duration}`;
  return [{ name: found.text, file, failure: { message, type: 'hunt', text: `${message}\n${steps}\n${covered}` } }];
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
