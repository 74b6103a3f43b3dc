/** `jackstand spread`: many draws from the tolerances; how often the scenario holds, and which tolerance decides. */
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import type { SpreadRequest } from '../campaign/spread/craft.ts';
import { type Law, laws, type Sampling, samplings } from '../campaign/spread/draws.ts';
import {
  drawAsOverrides,
  drawTable,
  makeDraws,
  planSpread,
  type SpreadReport,
  spreadReport,
} from '../campaign/spread.ts';
import { variantText } from '../campaign/variant.ts';
import { parseQuantity } from '../units/index.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { runScenario, type Scenario } from '../verdict/run-scenario.ts';
import { Exit } from './exit.ts';
import { campaignJunit } from './junit-cases.ts';
import { type Campaign, type ManyFlags, runCampaign, type Surroundings, writtenFile } from './many.ts';
import { tellProblems } from './problems.ts';
import { spreadCases, spreadJson } from './spread-formats.ts';
import { spreadText } from './spread-text.ts';
import type { Streams } from './streams.ts';

export interface SpreadFlags extends ManyFlags {
  readonly draws?: string;
  readonly law?: string;
  readonly sampling?: string;
  readonly seed?: string;
  readonly enough?: string;
  readonly write?: string;
  readonly least?: string;
}

export async function spread(
  file: string,
  flags: SpreadFlags,
  streams: Streams,
  surroundings: Surroundings,
): Promise<number> {
  const loaded = loadScenario(file);
  const read = readFlags(flags);
  const problems = [...loaded.problems, ...read.problems];
  if (loaded.value === undefined || hasErrors(problems)) {
    tellProblems(problems, streams);
    return Exit.badInput;
  }
  const scenario = loaded.value;
  const request = planSpread(scenario, read.choices);
  const { enough } = read.choices;
  const campaign = spreadCampaign(scenario, request, flags, streams, (rows, options) =>
    makeDraws(request, rows, { ...options, ...(enough === undefined ? {} : { enough }) }),
  );
  return runCampaign(campaign, flags, streams, surroundings);
}

/** The campaign of a plan; `merge` opens it too, with rows from files. */
export function spreadCampaign(
  scenario: Scenario,
  request: SpreadRequest,
  flags: SpreadFlags,
  streams: Streams,
  make: Campaign['make'],
): Campaign {
  return {
    title: `spread of ${scenario.title}`,
    request,
    count: request.plan.draws,
    fingerprint: runScenario(scenario, { causes: false }).digest,
    make,
    keep: (rows) => drawTable(scenario, request, rows),
    report: (rows) => {
      const report = spreadReport(scenario, request, rows);
      const overridesOf = (draw: number): Record<string, unknown> => drawAsOverrides(scenario, request, draw);
      if (flags.format === 'json') streams.out(`${JSON.stringify(spreadJson(report, overridesOf), null, 2)}\n`);
      else if (flags.format === 'junit')
        streams.out(campaignJunit(`spread of ${scenario.title}`, scenario.file, spreadCases(report)));
      else streams.out(spreadText(report, overridesOf, streams));
      if (flags.write !== undefined && !areDrawsWritten(flags.write, report, overridesOf, streams))
        return Exit.badInput;
      const least = flags.least === undefined ? 1 : ratioIn(flags.least)!;
      return report.rate.passed / report.rate.of >= least ? Exit.holds : Exit.failed;
    },
  };
}

/** More failing draws than this tell nothing new. */
const WRITTEN_MOST = 20;

/** The failing draws, the worst of each expectation first, as scenarios that `run` shows again; else the one nearest to failing. */
function areDrawsWritten(
  target: string,
  report: SpreadReport,
  overridesOf: (draw: number) => Record<string, unknown>,
  streams: Streams,
): boolean {
  const first = report.tightest === null ? [] : [report.tightest];
  const worst = report.expectations.flatMap((expectation) =>
    expectation.worst === null ? [] : [expectation.worst.draw],
  );
  const draws = [...new Set([...first, ...worst, ...report.failing])].slice(0, WRITTEN_MOST);
  for (const [index, draw] of draws.entries()) {
    const path = index === 0 ? target : target.replace(/(\.ya?ml)?$/, `-${index + 1}$1`);
    const fate = report.failing.includes(draw) ? 'fails' : 'comes nearest to failing';
    const { law, sampling, seed, draws: planned } = report.plan;
    const text = variantText(report.file, path, {
      comment: `Draw ${draw} of ${planned} (${law}, ${sampling}, seed ${seed}) of ${report.file}: it ${fate}.`,
      title: `${report.scenario}: draw ${draw}`,
      overrides: overridesOf(draw),
    });
    if (!writtenFile(path, text, streams)) return false;
  }
  streams.err(`wrote ${draws.length === 1 ? target : `${target} and ${draws.length - 1} more`}\n`);
  return true;
}

interface FlagsRead {
  readonly problems: readonly Problem[];
  readonly choices: {
    readonly draws?: number;
    readonly law?: Law;
    readonly sampling?: Sampling;
    readonly seed?: number;
    readonly enough?: number;
  };
}

function readFlags({ draws, law, sampling, seed, enough, shard, least }: SpreadFlags): FlagsRead {
  const problems: Problem[] = [];
  const refuse = (flag: string, says: string): void => {
    problems.push(problemAt(flag, 'refused', { path: '', says }));
  };
  const whole = (flag: string, text: string | undefined, from: number, to: number): number | undefined => {
    if (text === undefined) return undefined;
    const value = Number(text);
    if (Number.isInteger(value) && value >= from && value <= to) return value;
    refuse(flag, `${text} is no whole number from ${from} to ${to}`);
    return undefined;
  };
  const share = (flag: string, text: string | undefined): number | undefined => {
    const value = text === undefined ? undefined : ratioIn(text);
    if (text !== undefined && (value === undefined || value <= 0 || value > 1))
      refuse(flag, `${text} is no share above 0 % and up to 100 %`);
    return value;
  };
  share('--least', least);
  const read = {
    draws: whole('--draws', draws, 1, 1_000_000),
    seed: whole('--seed', seed, 0, 2 ** 31 - 1),
    enough: share('--enough', enough),
    law: laws.find((one) => one === law),
    sampling: samplings.find((one) => one === sampling),
  };
  if (enough !== undefined && shard !== undefined)
    refuse('--enough', 'a share of a campaign cannot tell whether the whole is tight enough; leave out one of the two');
  const choices = Object.fromEntries(Object.entries(read).filter(([, value]) => value !== undefined));
  return { problems, choices };
}

function ratioIn(text: string): number | undefined {
  const parsed = parseQuantity(text, 'ratio');
  return 'quantity' in parsed ? parsed.quantity.value : undefined;
}
