/** What a hunt tries to break, and what tells it that it comes nearer. */
import type { DescribedPart } from '../../bench/schema.ts';
import type { Severity } from '../../bench/severity.ts';
import type { SignalInfo } from '../../kernel/signal.ts';
import { Trace } from '../../trace/trace.ts';
import type { Formula } from '../../verdict/expectation.ts';
import { type Judgement, judge } from '../../verdict/judge.ts';
import { signalsWith } from '../roles.ts';

/** Nothing drives with the foot off, in the words of a file. */
export function defaultItems(parts: readonly DescribedPart[], severity: Severity): Readonly<Record<string, unknown>>[] {
  const feet = signalsWith(parts, 'foot').map((name) => `${name} < 2 %`);
  const hands = signalsWith(parts, 'hand').map((name) => `${name} between -2 % and 2 %`);
  return signalsWith(parts, 'drive').map((drive) => ({
    when: [...feet, ...hands].join(' and '),
    then: `${drive} = 0`,
    within: `${severity.return} s`,
    why: 'nothing drives with the foot off',
  }));
}

/** A millisecond counts like all of the drive or a volt: margins of unlike units are put beside each other by this. */
const TIME_SCALE_SECONDS = 1e-3;

/** How far from breaking, by the hunt's own scale: below 0 when broken. */
export function scoreOf({ margin, holds, unit }: Judgement, { isExpectedToFail }: Formula): number {
  if (!Number.isFinite(margin)) return holds ? 1 : -1;
  // No minus 0: scores are put in order.
  const gain = (isExpectedToFail ? -margin : margin) + 0;
  return unit === 'time' ? gain / TIME_SCALE_SECONDS : gain;
}

/**
 * A drive is 0 or is not: nothing leads up to it. But what gives the drive may tell by a gauge how far it is from where it
 * must start from (a controller, how far its pulse is from neutral). The same claim about that gauge has a slope.
 */
export function guideOf(formula: Formula, signals: ReadonlyMap<string, SignalInfo>): Guide | undefined {
  const { body } = formula;
  if (body.kind !== 'compare' || body.relation !== '=' || body.value !== 0) return undefined;
  const part = body.signal.slice(0, body.signal.lastIndexOf('.'));
  const [gauge] = Object.values(signals.get(`${part}.mode`)?.gauges ?? {});
  const info = gauge === undefined ? undefined : signals.get(gauge);
  if (info === undefined) return undefined;
  const { name: signal, dimension } = info;
  return { formula: { ...formula, body: { kind: 'compare', signal, dimension, relation: '>=', value: 0 } }, signal };
}

export interface Guide {
  readonly formula: Formula;
  /** The gauge that it reads. */
  readonly signal: string;
}

/** As `scoreOf`; 1 where the gauge has nothing to tell. */
export function guidance({ formula, signal }: Guide, trace: Trace): number {
  const { margin, unit } = judge(formula, measuredOnly(trace, signal));
  return Number.isFinite(margin) ? margin / (unit === 'time' ? TIME_SCALE_SECONDS : 1) : 1;
}

/** Where nothing was measured the gauge is endlessly far off; that must not pass for being near to breaking. */
function measuredOnly(trace: Trace, gauge: string): Trace {
  const shown = new Trace(trace.columns.map(({ signal }) => signal));
  shown.columns.forEach((column, index) => {
    const told = trace.columns[index]!;
    if (column.signal.name !== gauge) column.takeOver(told, told.length);
    else for (const { seconds, value } of told) column.append(seconds, value === -Infinity ? Infinity : value);
  });
  shown.finish(trace.endSeconds);
  return shown;
}
