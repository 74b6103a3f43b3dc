/** What the plots of a page show of a run: which signals, thinned to what a screen can show, with the ranges that matter. */
import { settleParts } from '../bench/schema.ts';
import type { Column } from '../trace/trace.ts';
import { formatQuantity, unitFor } from '../units/index.ts';
import { signalsRead } from '../verdict/expectation.ts';
import type { Predicate } from '../verdict/predicate.ts';
import type { Scenario, ScenarioRun } from '../verdict/run-scenario.ts';

export interface Plotted {
  readonly endSeconds: number;
  readonly signals: readonly PlottedSignal[];
}

export interface PlottedSignal {
  readonly name: string;
  readonly means: string;
  /** Signals with one group are drawn into one plot. */
  readonly group: string;
  readonly unit: string;
  readonly isHeld: boolean;
  readonly modes?: readonly string[];
  readonly seconds: readonly number[];
  /** In `unit`; null where there is no number. */
  readonly values: readonly (number | null)[];
  readonly bands: readonly PlottedBand[];
}

/** `role` as in the part's own bands, or `bound` for what an expectation compares with. */
export interface PlottedBand {
  readonly name: string;
  readonly least: number;
  readonly most: number;
  readonly role: 'aim' | 'limit' | 'mark' | 'bound';
}

/** About two samples for each point across a wide screen. */
const MOST_SAMPLES = 3000;

/** The signals worth plotting: what has ranges to hit with its modes, what is moved by hand, and what is expected of. */
export function signalsToPlot(scenario: Scenario): string[] {
  const aimed: string[] = [];
  const moved: string[] = [];
  for (const { name, kind, parameters } of settleParts(scenario.parts)) {
    if (kind.handle?.kind === 'lever') moved.push(`${name}.${kind.handle.port}`);
    if (kind.bands === undefined) continue;
    const ports = Object.keys(kind.bands(parameters as never, () => 0)).filter((port) => port in kind.ports.out);
    aimed.push(...('mode' in kind.ports.out ? ['mode', ...ports] : ports).map((port) => `${name}.${port}`));
  }
  return [...new Set([...aimed, ...moved, ...scenario.expectations.flatMap(({ formula }) => signalsRead(formula))])];
}

/** The signals that say where the ranges of the plots lie, which must be recorded though they are not plotted. */
export function signalsBehindBands(scenario: Scenario): string[] {
  const asked: string[] = [];
  for (const { name, kind, parameters } of settleParts(scenario.parts)) {
    kind.bands?.(parameters as never, (port) => {
      asked.push(`${name}.${port}`);
      return 0;
    });
  }
  return [...new Set(asked)];
}

export function plottedOf(run: ScenarioRun, names: readonly string[] | 'all'): Plotted {
  const { trace, scenario } = run;
  const bounds = boundsOf(scenario);
  const bands = partBands(run);
  const columns = names === 'all' ? trace.columns : names.flatMap((name) => trace.column(name) ?? []);
  return {
    endSeconds: trace.endSeconds,
    signals: columns
      .filter(({ length }) => length > 0)
      .map((column) =>
        plottedSignal(column, trace.endSeconds, [
          ...(bands.get(column.signal.name) ?? []),
          ...(bounds.get(column.signal.name) ?? []),
        ]),
      ),
  };
}

function plottedSignal(column: Column, endSeconds: number, bands: readonly PlottedBand[]): PlottedSignal {
  const { name, means, dimension, modes, shape } = column.signal;
  const { unit, scale } = unitFor(dimension);
  const kept = thinned(column, endSeconds);
  const isWord = modes !== undefined;
  return {
    name,
    means,
    group: isWord ? 'modes' : `${dimension} ${name.slice(name.lastIndexOf('.') + 1)}`,
    unit: isWord || unit === '1' ? '' : unit,
    isHeld: shape === 'held',
    ...(isWord ? { modes } : {}),
    seconds: kept.map(({ seconds }) => Number(seconds.toFixed(7))),
    values: kept.map(({ value }) => (Number.isFinite(value) ? Number((value * scale).toPrecision(7)) : null)),
    bands: bands.map((band) => ({
      ...band,
      least: Math.max(-1e300, band.least * scale),
      most: Math.min(1e300, band.most * scale),
    })),
  };
}

/** All samples if few; else the least and the greatest of each of many equal stretches, so that no spike is lost. */
function thinned(column: Column, endSeconds: number): { readonly seconds: number; readonly value: number }[] {
  const last = { seconds: endSeconds, value: column.at(endSeconds) };
  if (column.length <= MOST_SAMPLES) return [...column, last];
  const stretches = MOST_SAMPLES / 2;
  const kept: { seconds: number; value: number }[] = [];
  const { length } = column;
  let index = 0;
  for (let stretch = 1; stretch <= stretches && index < length; stretch += 1) {
    const end = (endSeconds * stretch) / stretches;
    let least = index;
    let most = index;
    for (; index < length && (column.secondsAt(index) <= end || stretch === stretches); index += 1) {
      if (column.valueAt(index) < column.valueAt(least)) least = index;
      if (column.valueAt(index) > column.valueAt(most)) most = index;
    }
    if (least >= index) continue;
    for (const at of [...new Set([least, most])].sort((a, b) => a - b))
      kept.push({ seconds: column.secondsAt(at), value: column.valueAt(at) });
  }
  return [...kept, last];
}

/** The ranges that parts name, as they are at the end of the run (some move, such as learned end points). */
function partBands({ scenario, trace }: ScenarioRun): Map<string, PlottedBand[]> {
  const found = new Map<string, PlottedBand[]>();
  for (const { name, kind, parameters } of settleParts(scenario.parts)) {
    const read = (port: string): number => trace.column(`${name}.${port}`)?.at(trace.endSeconds) ?? 0;
    const bands = kind.bands?.(parameters as never, read) ?? {};
    for (const [port, list] of Object.entries(bands)) found.set(`${name}.${port}`, [...list]);
  }
  return found;
}

/** What expectations compare signals with. */
function boundsOf({ expectations }: Scenario): Map<string, PlottedBand[]> {
  const found = new Map<string, PlottedBand[]>();
  const add = (signal: string, least: number, most: number, name: string): void => {
    const list = found.get(signal) ?? [];
    if (!list.some((bound) => bound.least === least && bound.most === most))
      list.push({ name, least, most, role: 'bound' });
    found.set(signal, list);
  };
  const walk = (predicate: Predicate): void => {
    if (predicate.kind === 'and' || predicate.kind === 'or') predicate.of.forEach(walk);
    else if (predicate.kind === 'not') walk(predicate.of);
    else if (predicate.kind === 'compare') {
      const { signal, relation, value, dimension } = predicate;
      add(signal, value, value, `${relation} ${formatQuantity(value, dimension)}`);
    } else if (predicate.kind === 'between') {
      const { signal, low, high, dimension } = predicate;
      add(signal, low, high, `${formatQuantity(low, dimension)} to ${formatQuantity(high, dimension)}`);
    }
  };
  for (const { formula } of expectations) {
    walk(formula.body);
    if (formula.premise !== null) walk(formula.premise);
  }
  return found;
}
