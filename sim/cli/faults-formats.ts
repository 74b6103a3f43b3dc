/** A fault table for people and for programs. */
import { printable } from '../bench/print.ts';
import { type OutcomeName, outcomes } from '../bench/severity.ts';
import type { FaultsRequest } from '../campaign/faults/craft.ts';
import type { FaultEntry, FaultsReport, Worsening } from '../campaign/faults.ts';
import type { JunitCase } from '../report/junit.ts';
import { formatQuantity } from '../units/index.ts';
import { paintFor, type Streams } from './streams.ts';
import { FORMAT_VERSION, TOOL_VERSION } from './version.ts';
import { wrapped } from './wrap.ts';

const CAUTION =
  'Limits: 1 s to stop is that of FMVSS 124 S5.3 for light vehicles, from memory, unless the bench says otherwise. A fault that is not on this list can still happen: wheels off the ground, fuse and disconnect within reach.';

export function faultsText(
  report: FaultsReport,
  request: FaultsRequest,
  worse: readonly Worsening[] | undefined,
  look: Pick<Streams, 'isColoured' | 'columns'>,
): string {
  const paint = paintFor(look);
  const groups = grouped(report.entries);
  const brief = formatQuantity(request.briefSeconds, 'time');
  const bad = groups.filter(([worst]) => worst!.worst.rank >= worst!.failAt).length;
  const lines = [
    ...wrapped(
      `${groups.length} faults in ${request.files.length} ${request.files.length === 1 ? 'scenario' : 'scenarios'}, ${report.trialCount} trials, each for ${brief} and for good: ${bad} are bad`,
      '',
      look.columns,
    ),
    '',
    paint.faint('rank  by itself  stops after  noticed  fault'),
  ];
  for (const group of groups) lines.push(...groupLines(group, look));
  const latent = groups.filter((group) => group.every(({ counts }) => Object.keys(counts).join() === 'as-before'));
  if (latent.length > 0) {
    const names = latent.map(([entry]) => faultName(entry!)).join(', ');
    lines.push('', ...wrapped(`nobody would notice by itself: ${names}`, '', look.columns).map(paint.faint));
  }
  if (worse !== undefined) {
    lines.push('', worse.length === 0 ? 'nothing got worse' : `${worse.length} got worse:`);
    for (const { entry, says } of worse)
      lines.push(...wrapped(`${faultName(entry)} in ${printable(entry.file)}: ${says}`, '  ', look.columns));
  }
  lines.push('', ...wrapped(CAUTION, '', look.columns).map(paint.faint));
  return `${lines.join('\n')}\n`;
}

/** Entries of one fault over all scenarios, in the order of their worst. */
function grouped(entries: readonly FaultEntry[]): FaultEntry[][] {
  const groups = new Map<string, FaultEntry[]>();
  for (const entry of entries) {
    const name = faultName(entry);
    groups.set(name, [...(groups.get(name) ?? []), entry]);
  }
  return [...groups.values()];
}

function groupLines(group: readonly FaultEntry[], look: Pick<Streams, 'isColoured' | 'columns'>): string[] {
  const paint = paintFor(look);
  const [entry] = group as [FaultEntry];
  const { worst, failAt } = entry;
  const isBad = worst.rank >= failAt;
  const uncommanded = worst.uncommanded === 0 ? '-' : `${(100 * worst.uncommanded).toFixed(0)} %`;
  const safe =
    worst.uncommanded === 0 ? '-' : worst.safeSeconds === null ? 'never' : formatQuantity(worst.safeSeconds, 'time');
  const head = `${String(worst.rank).padStart(4)}  ${uncommanded.padStart(9)}  ${safe.padStart(11)}  ${worst.noticed.padEnd(7)}  `;
  const lasts = worst.lasts === null ? 'for good' : `for ${formatQuantity(worst.lasts, 'time')}`;
  const where = `${lasts} at ${formatQuantity(worst.at, 'time', { digits: 5 })} of ${printable(entry.file)}`;
  const also = group.filter((other) => other.worst.rank === worst.rank).length;
  const spread = also > 1 ? `, likewise in ${also - 1} more` : '';
  const words =
    worst.name === 'as-before'
      ? `${faultName(entry)}: ${outcomes['as-before']}`
      : `${faultName(entry)}: ${outcomes[worst.name]} (${where}${spread})`;
  const [first, ...rest] = wrapped(words, head, look.columns);
  return [isBad ? paint.bad(first!.slice(0, head.length)) + first!.slice(head.length) : first!, ...rest];
}

export function faultsJson({ entries, trialCount }: FaultsReport, worse: readonly Worsening[] | undefined): unknown {
  return {
    jackstand: TOOL_VERSION,
    format: FORMAT_VERSION,
    campaign: 'faults',
    trials: trialCount,
    entries: entries.map(({ file, scenario, faults, counts, worst }) => {
      const { name, at, lasts, rank, uncommanded, safeSeconds, noticed } = worst;
      const tidy = { uncommanded: Number(uncommanded.toPrecision(12)), safeSeconds: tidied(safeSeconds) };
      return { file, scenario, faults, counts, worst: { outcome: name, rank, at, lasts, ...tidy, noticed } };
    }),
    ...(worse === undefined
      ? {}
      : { worse: worse.map(({ entry, says }) => ({ file: entry.file, faults: entry.faults, says })) }),
  };
}

function tidied(seconds: number | null): number | null {
  return seconds === null ? null : Number(seconds.toPrecision(12));
}

export function faultsCases({ entries }: FaultsReport, worse: readonly Worsening[] | undefined): JunitCase[] {
  const worsened = new Map((worse ?? []).map(({ entry, says }) => [entry, says]));
  return entries.map((entry) => {
    const { file, worst, failAt } = entry;
    const base = { name: faultName(entry), file };
    const says = worse === undefined ? (worst.rank >= failAt ? outcomes[worst.name] : undefined) : worsened.get(entry);
    if (says === undefined) return base;
    const counts = Object.entries(entry.counts).map(([name, count]) => `${count} x ${outcomes[name as OutcomeName]}`);
    return { ...base, failure: { message: says, type: worst.name, text: counts.join('\n') } };
  });
}

function faultName({ faults }: Pick<FaultEntry, 'faults'>): string {
  return faults.map(({ part, fault }) => `${part} ${fault}`).join(' with ');
}
