/** `jackstand run --against CAPTURE`: which trains are held against each other, and what came of it in words and in numbers. */
import { assemble } from '../bench/assemble.ts';
import { type Problem, problemAt } from '../bench/problem.ts';
import { settleParts } from '../bench/schema.ts';
import { suggest } from '../bench/suggest.ts';
import { bareName } from '../capture/choose.ts';
import { edgesOf, pulsesBetween } from '../capture/edges.ts';
import type { Capture, CapturedChannel } from '../capture/read-capture.ts';
import type { SignalInfo } from '../kernel/signal.ts';
import type { Outcome } from '../report/checks.ts';
import { type Alignment, compareTrains, type Train, trainOf } from '../trace/against.ts';
import { isLevel } from '../trace/signal.ts';
import { parseQuantity, quantityMistakeWords } from '../units/index.ts';
import type { Scenario, ScenarioRun } from '../verdict/run-scenario.ts';
import { captureIn } from './capture-file.ts';
import type { Look } from './verdict-text.ts';

export interface AgainstOptions {
  readonly against?: string;
  /** Signal of the bench; the line that the first controller listens to unless given. */
  readonly signal?: string;
  readonly column?: string;
  readonly align?: Alignment;
  readonly tolerance?: string;
}

/** What is needed to hold a run against a capture. */
export interface AgainstPlan {
  readonly file: string;
  readonly column: string;
  readonly signal: string;
  readonly recorded: Train;
  readonly alignment: Alignment;
  readonly toleranceSeconds: number;
}

/** Half of a usual arming window of ± 20 us. */
const USUAL_TOLERANCE = '10 us';

/** Without `--against` there is no plan, and its other options must not be there either. */
export function againstPlan(
  options: AgainstOptions & { readonly format?: string },
  scenarios: readonly Scenario[],
): { readonly plan?: AgainstPlan; readonly problems: readonly Problem[] } {
  const { against, signal, column, tolerance = USUAL_TOLERANCE, align = 'best-shift', format = 'text' } = options;
  const problems: Problem[] = [];
  const refuse = (option: string, says: string, more: { allowed?: string; nearest?: string } = {}): void => {
    problems.push(problemAt(option, 'refused', { path: '', says, ...more }));
  };
  if (against === undefined) {
    for (const name of ['signal', 'column', 'align', 'tolerance'] as const)
      if (options[name] !== undefined) refuse(`--${name}`, 'it is about the capture of --against; give one as well');
    return { problems };
  }
  if (format !== 'text' && format !== 'json') refuse('--against', 'it is told as text or as json only');
  const parsed = parseQuantity(tolerance, 'time');
  if ('mistake' in parsed)
    refuse('--tolerance', quantityMistakeWords(parsed.mistake).says, { allowed: 'a time, such as `10 us`' });
  else if (parsed.quantity.value < 0) refuse('--tolerance', 'it cannot be below 0');
  const [scenario, ...others] = scenarios;
  if (others.length > 0)
    refuse('--against', `a capture is held against one scenario, and these are ${scenarios.length}`);
  const capture = captureIn(against);
  if ('problem' in capture) return { problems: [...problems, capture.problem] };
  if (scenario === undefined || 'mistake' in parsed) return { problems };
  const line = lineOf(scenario, signal);
  if ('says' in line) refuse('--signal', line.says, line.more);
  const channel = 'says' in line ? undefined : channelOf(capture, column, line.name);
  if (channel !== undefined && 'says' in channel)
    refuse(column === undefined ? against : '--column', channel.says, { allowed: channel.allowed });
  if (problems.length > 0 || 'says' in line || channel === undefined || 'says' in channel) return { problems };
  const { recorded, name } = channel;
  const plan: AgainstPlan = {
    file: against,
    column: name,
    signal: line.name,
    recorded,
    alignment: align,
    toleranceSeconds: parsed.quantity.value,
  };
  return { plan, problems };
}

/** The outcome with the comparison of its run; a problem where there is nothing to compare. */
export function withAgainst(plan: AgainstPlan, outcome: Outcome): Outcome | { readonly problem: Problem } {
  const { file, column, signal, recorded, alignment, toleranceSeconds } = plan;
  const simulated = simulatedTrain(plan, outcome.run);
  const comparison = compareTrains(simulated, recorded, toleranceSeconds, alignment);
  if (comparison !== undefined) return { ...outcome, against: { file, column, signal, comparison } };
  const says =
    simulated.riseSeconds.length === 0
      ? `${signal} has no whole pulse in this scenario, so there is nothing to compare`
      : `no frame of ${column} falls together with one of ${signal}; another --align may lay them over each other`;
  return { problem: problemAt(file, 'refused', { path: '', says }) };
}

/** The same in words, with a picture. */
export async function againstWords(plan: AgainstPlan, { run, against }: Outcome, look: Look): Promise<string> {
  const { againstText } = await import('./against-text.ts');
  return against === undefined ? '' : againstText(against, [simulatedTrain(plan, run), plan.recorded], look);
}

const simulatedTrain = ({ signal }: AgainstPlan, run: ScenarioRun): Train =>
  trainOf(run.trace.column(signal)!, run.trace.endSeconds);

type Refusal = { readonly says: string; readonly more?: { allowed?: string; nearest?: string } };

/** The named signal, or the line whose rises some part measures: that of the first controller. */
function lineOf(scenario: Scenario, wanted: string | undefined): { readonly name: string } | Refusal {
  const { parts, signals } = assemble(settleParts(scenario.parts), scenario.seed, []);
  const lines = signals.filter(isLine).map(({ name }) => name);
  if (wanted === undefined) {
    const listened = parts.flatMap(({ kind, parameters, wiring }) =>
      Object.keys(kind.bands?.(parameters as never, () => 0) ?? {}).flatMap((port) => wiring[port] ?? []),
    );
    const found = listened.find((name) => lines.includes(name));
    return found === undefined
      ? { says: 'no part of this bench listens to a pulse line; name a signal' }
      : { name: found };
  }
  if (lines.includes(wanted)) return { name: wanted };
  const nearest = suggest(wanted, lines);
  return {
    says: `${wanted} is no level of this bench`,
    more: { allowed: lines.join(', '), ...(nearest === undefined ? {} : { nearest }) },
  };
}

/** A level of 0 and 1, or a line that is low and high in words. */
function isLine(signal: SignalInfo): boolean {
  return isLevel(signal) || signal.modes?.[1] === 'high';
}

/** The named column, that of the signal's own name, the only one there is, or the only one that has pulses. */
function channelOf(
  capture: Capture,
  wanted: string | undefined,
  signal: string,
): { readonly name: string; readonly recorded: Train } | { readonly says: string; readonly allowed: string } {
  const { channels, isTimed } = capture;
  const allowed = channels.map(({ name }) => name).join(', ');
  if (!isTimed)
    return { says: 'it has no column of times, so it says nothing of pulses', allowed: 'a capture with times' };
  const named = (name: string): CapturedChannel | undefined =>
    channels.find((one) => one.name === name) ?? channels.find((one) => bareName(one.name) === name);
  const first = Math.min(...channels.map(({ times }) => times[0]!));
  const last = Math.max(...channels.map(({ times }) => times.at(-1)!));
  const withPulses = channels.flatMap((channel) => {
    const edges = edgesOf(channel);
    const pulses = edges === undefined ? undefined : pulsesBetween(edges);
    if (pulses === undefined || pulses.riseSeconds.length === 0) return [];
    return [{ channel, recorded: { ...pulses, fromSeconds: first, untilSeconds: last } }];
  });
  const chosen =
    wanted === undefined ? (named(signal) ?? (channels.length === 1 ? channels[0] : undefined)) : named(wanted);
  if (wanted !== undefined && chosen === undefined) return { says: `it has no column ${wanted}`, allowed };
  const found = chosen === undefined ? withPulses : withPulses.filter(({ channel }) => channel === chosen);
  const [one, ...more] = found;
  if (one === undefined)
    return {
      says: chosen === undefined ? 'no column of it has a whole pulse' : `its column ${chosen.name} has no whole pulse`,
      allowed,
    };
  if (more.length > 0) return { says: 'several columns of it have pulses; name one with --column', allowed };
  return { name: one.channel.name, recorded: one.recorded };
}
