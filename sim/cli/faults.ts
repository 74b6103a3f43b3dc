/** `jackstand faults`: every fault of every part at the instants that matter, as a table with the worst first. */
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { z } from 'zod';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import { casesOf, type FaultsRequest } from '../campaign/faults/craft.ts';
import {
  type FaultsReport,
  faultsReport,
  makeFaults,
  planFaults,
  type SavedEntry,
  type Worsening,
  worsenings,
} from '../campaign/faults.ts';
import { parseQuantity } from '../units/index.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { runScenario, type Scenario } from '../verdict/run-scenario.ts';
import { Exit } from './exit.ts';
import { faultsCases, faultsJson, faultsText } from './faults-formats.ts';
import { findFiles } from './find-files.ts';
import { campaignJunit } from './junit-cases.ts';
import { type Campaign, type ManyFlags, runCampaign, type Surroundings } from './many.ts';
import { tellProblems } from './problems.ts';
import type { Streams } from './streams.ts';

export interface FaultsFlags extends ManyFlags {
  readonly pairs?: boolean | string;
  readonly brief?: string;
  readonly against?: string;
}

export async function faults(
  paths: readonly string[],
  flags: FaultsFlags,
  streams: Streams,
  surroundings: Surroundings,
): Promise<number> {
  const found = await findFiles(paths, ['scenario']);
  const opened = openScenarios(found.files);
  const brief = flags.brief === undefined ? undefined : parseQuantity(flags.brief, 'time');
  const problems = [...found.problems, ...opened.problems];
  if (brief !== undefined && !('quantity' in brief && brief.quantity.value > 0))
    problems.push(problemAt('--brief', 'refused', { path: '', says: `${flags.brief} is no time such as 200 ms` }));
  const saved = savedTable(flags.against);
  if ('problems' in saved) problems.push(...saved.problems);
  if (hasErrors(problems)) {
    tellProblems(problems, streams);
    return Exit.badInput;
  }
  const request = planFaults(found.files, {
    pairs: flags.pairs === true,
    ...(brief !== undefined && 'quantity' in brief ? { briefSeconds: brief.quantity.value } : {}),
  });
  const campaign = faultsCampaign(opened.scenarios, request, flags, streams, (rows, options) =>
    makeFaults(request, opened.scenarios, rows, options),
  );
  return runCampaign(campaign, flags, streams, surroundings);
}

/** Scenarios of a campaign over many; warnings about them are for `check`. */
export function openScenarios(files: readonly string[]): {
  readonly scenarios: readonly Scenario[];
  readonly problems: readonly Problem[];
} {
  const loaded = files.map((file) => loadScenario(file));
  return {
    scenarios: loaded.flatMap(({ value }) => (value === undefined ? [] : [value])),
    problems: loaded.flatMap(({ problems }) => problems.filter(({ severity }) => severity === 'error')),
  };
}

export function faultsCampaign(
  scenarios: readonly Scenario[],
  request: FaultsRequest,
  flags: FaultsFlags,
  streams: Streams,
  make: Campaign['make'],
): Campaign {
  const digests = scenarios.map((scenario) => runScenario(scenario, { causes: false }).digest);
  return {
    title: 'faults',
    request,
    count: casesOf(request, scenarios).length,
    fingerprint: createHash('sha256').update(digests.join()).digest('hex').slice(0, 16),
    make,
    report: (rows) => {
      const report = faultsReport(scenarios, request, rows);
      const saved = savedTable(flags.against);
      if ('problems' in saved) {
        tellProblems(saved.problems, streams);
        return Exit.badInput;
      }
      const worse = saved.entries === undefined ? undefined : worsenings(report, saved.entries);
      if (flags.format === 'json') streams.out(`${JSON.stringify(faultsJson(report, worse), null, 1)}\n`);
      else if (flags.format === 'junit')
        streams.out(
          campaignJunit(
            'faults',
            request.files.length === 1 ? request.files[0]! : 'faults',
            faultsCases(report, worse),
          ),
        );
      else streams.out(faultsText(report, request, worse, streams));
      return isFailed(report, worse) ? Exit.failed : Exit.holds;
    },
  };
}

/** Beside a saved table only what got worse fails; without one, whatever the bench ranks bad enough. */
function isFailed({ entries }: FaultsReport, worse: readonly Worsening[] | undefined): boolean {
  return worse === undefined ? entries.some(({ worst, failAt }) => worst.rank >= failAt) : worse.length > 0;
}

const savedSchema = z.object({
  campaign: z.literal('faults'),
  entries: z.array(
    z.object({
      file: z.string(),
      faults: z.array(z.object({ part: z.string(), fault: z.string() })),
      worst: z.object({
        outcome: z.string(),
        rank: z.number(),
        uncommanded: z.number(),
        safeSeconds: z.number().nullable(),
      }),
    }),
  ),
});

/** A table that `faults --format json` wrote. */
function savedTable(
  file: string | undefined,
): { readonly entries: readonly SavedEntry[] | undefined } | { readonly problems: readonly Problem[] } {
  if (file === undefined) return { entries: undefined };
  const refused = (says: string): { problems: Problem[] } => ({
    problems: [problemAt(file, 'refused', { path: '', says })],
  });
  try {
    const parsed = savedSchema.safeParse(JSON.parse(readFileSync(file, 'utf8')));
    if (!parsed.success) return refused('it is no table that `jackstand faults --format json` wrote');
    return { entries: parsed.data.entries.map(({ worst, ...entry }) => ({ ...entry, ...worst })) };
  } catch (error) {
    const reason = error instanceof Error && 'code' in error ? String(error.code) : 'it is not JSON';
    return refused(`it cannot be read (${reason})`);
  }
}
