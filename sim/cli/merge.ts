/** `jackstand merge`: puts the shares of a campaign together and prints what the unsharded one would have printed. */
import { readFileSync } from 'node:fs';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import type { FaultsRequest } from '../campaign/faults/craft.ts';
import type { HuntRequest } from '../campaign/hunt/ground.ts';
import { isBegun } from '../campaign/many/craft.ts';
import { mergeParts, type Part, readPart } from '../campaign/many/part-file.ts';
import type { SpreadRequest } from '../campaign/spread/craft.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import { Exit } from './exit.ts';
import { faultsCampaign, openScenarios } from './faults.ts';
import { huntCampaign, loadGround } from './hunt.ts';
import type { Campaign } from './many.ts';
import { tellProblems } from './problems.ts';
import { spreadCampaign } from './spread.ts';
import type { Streams } from './streams.ts';
import { TOOL_VERSION } from './version.ts';

/** The flags of all commands that a campaign may come from; each reads its own. */
export type MergeFlags = Readonly<Record<string, string>>;

export async function merge(files: readonly string[], flags: MergeFlags, streams: Streams): Promise<number> {
  const refuse = (file: string, says: string): number => {
    tellProblems([problemAt(file, 'refused', { path: '', says })], streams);
    return Exit.badInput;
  };
  const parts: Part[] = [];
  for (const file of files) {
    const read = readFile(file);
    if ('mistake' in read) return refuse(file, read.mistake);
    parts.push(read.part);
  }
  const merged = mergeParts(parts);
  if ('mistake' in merged) return refuse(files[merged.index]!, merged.mistake);
  const { part } = merged;
  const opened = await openCampaign(part, flags, streams);
  if ('problems' in opened) {
    tellProblems(opened.problems, streams);
    return Exit.badInput;
  }
  const { campaign } = opened;
  if (part.version !== TOOL_VERSION || part.fingerprint !== campaign.fingerprint)
    return refuse(files[0]!, 'bench, scenario or tool have changed since it was written');
  const missing = part.count - [...part.rows].filter(([, row]) => !isBegun(row)).length;
  if (missing > 0) return refuse(files.join(', '), `${missing} of ${part.count} runs are missing; give all shares`);
  return campaign.report(part.rows);
}

function readFile(file: string): ReturnType<typeof readPart> {
  try {
    return readPart(readFileSync(file, 'utf8'));
  } catch (error) {
    return {
      mistake: `it cannot be read (${error instanceof Error && 'code' in error ? String(error.code) : 'unknown'})`,
    };
  }
}

type Opened = { readonly campaign: Campaign } | { readonly problems: readonly Problem[] };

async function openCampaign({ request }: Part, flags: MergeFlags, streams: Streams): Promise<Opened> {
  const made = async (): Promise<boolean> => true;
  switch (request.kind) {
    case 'spread': {
      const { file } = request as SpreadRequest;
      const { value, problems } = loadScenario(file);
      if (value === undefined || hasErrors(problems)) return { problems };
      return { campaign: spreadCampaign(value, request as SpreadRequest, flags, streams, made) };
    }
    case 'faults': {
      const faultsRequest = request as FaultsRequest;
      const { scenarios, problems } = openScenarios(faultsRequest.files);
      if (hasErrors(problems)) return { problems };
      return { campaign: faultsCampaign(scenarios, faultsRequest, flags, streams, made) };
    }
    case 'hunt': {
      const huntRequest = request as HuntRequest;
      const { value, problems } = loadGround(huntRequest.file);
      if (value === undefined) return { problems };
      return { campaign: huntCampaign(huntRequest, flags, streams, made) };
    }
    default:
      return { problems: [problemAt(request.kind, 'refused', { path: '', says: 'a campaign of no known kind' })] };
  }
}
