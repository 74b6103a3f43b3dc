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
  const folder = commonFolder(request.files);
  const where =
    request.files.length === 1
      ? request.files[0]!
      : `${request.files.length} scenarios${folder === '' ? '' : ` of ${folder}`}`;
  const kinds = request.pairs ? 'faults and pairs of them' : 'faults';
  const head = `${groups.length} ${kinds} in ${printable(where)}, ${report.trialCount} trials, each for ${brief} and for good: ${bad} bad`;
  const latent = groups.filter((group) => group.every(({ worst }) => worst.name === 'as-before'));
  const told = groups.filter((group) => !latent.includes(group));
  const width = Math.max(...told.map(([entry]) => faultName(entry!).length), 'fault'.length);
  const lines = [
    ...wrapped(head, '', look.columns),
    ...(told.length === 0 ? [] : ['', paint.faint(`rank  ${'fault'.padEnd(width)}  by itself  stops after  noticed`)]),
    ...told.flatMap((group) => groupLines(group, width, folder, look)),
  ];
  if (latent.length > 0) {
    const names = latent.map(([entry]) => faultName(entry!)).join(', ');
    lines.push('', ...wrapped(`no difference that anybody would notice: ${names}`, '', look.columns));
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
    const group = groups.get(name);
    if (group === undefined) groups.set(name, [entry]);
    else group.push(entry);
  }
  return [...groups.values()];
}

/** The fault with its figures in columns, and below it what the vehicle did, where and when. */
function groupLines(
  group: readonly FaultEntry[],
  width: number,
  folder: string,
  look: Pick<Streams, 'isColoured' | 'columns'>,
): string[] {
  const paint = paintFor(look);
  const [entry] = group as [FaultEntry];
  const { worst, failAt, file } = entry;
  const isWild = worst.uncommanded > 0;
  const uncommanded = isWild ? `${(100 * worst.uncommanded).toFixed(0)} %` : '-';
  const safe = !isWild
    ? '-'
    : worst.safeSeconds === null
      ? 'never'
      : formatQuantity(worst.safeSeconds, 'time', { digits: 3 });
  const rank = String(worst.rank).padStart(4);
  const figures = `${uncommanded.padStart(9)}  ${safe.padStart(11)}  ${worst.noticed}`;
  const lasts = worst.lasts === null ? 'for good' : `for ${formatQuantity(worst.lasts, 'time')}`;
  const at = formatQuantity(worst.at, 'time', { digits: 4 });
  const also = group.filter((other) => other.worst.rank === worst.rank).length - 1;
  const likewise = also === 0 ? '' : `; as bad in ${also} more`;
  const place = folder === '' ? file : file.slice(folder.length + 1);
  const words = `${outcomes[worst.name]}: ${printable(place)}, ${lasts} from ${at}${likewise}`;
  return [
    `${worst.rank >= failAt ? paint.bad(rank) : rank}  ${faultName(entry).padEnd(width)}  ${figures}`,
    ...wrapped(words, ' '.repeat(6), look.columns).map(paint.faint),
  ];
}

/** Folder that all files lie in, without its last slash; empty when there is none, or one file only. */
function commonFolder(files: readonly string[]): string {
  if (files.length < 2) return '';
  const [first, ...rest] = files.map((file) => file.split('/').slice(0, -1)) as [string[], ...string[][]];
  const steps = first.findIndex((step, place) => rest.some((other) => other[place] !== step));
  return (steps === -1 ? first : first.slice(0, steps)).join('/');
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
