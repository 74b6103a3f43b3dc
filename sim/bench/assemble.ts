/**
 * From a list of parts with settled numbers to a kernel that is ready to run: signals are numbered, ports are wired by
 * name, hosts are made, parts are started.
 */
import { assert } from '../kernel/assert.ts';
import type { StepLimits } from '../kernel/continuum.ts';
import { type Command, type Journal, Kernel } from '../kernel/kernel.ts';
import type { Attachment, Host, Live, PartKind } from '../kernel/part.ts';
import type { SignalInfo } from '../kernel/signal.ts';
import { type PartPlan, type Plan, type PlannedPart, planOf } from './plan.ts';
import { linksOf, wiringsOf } from './wiring.ts';

/** A part of one bench, its quantities already settled to numbers. */
export interface SettledPart {
  readonly name: string;
  readonly kind: PartKind;
  readonly parameters: unknown;
  /** The tree that the parameters were settled from: parts from one tree are wired alike. Left out where there was none. */
  readonly origin?: unknown;
}

/** Something that a part found worth telling though no expectation asked. */
export interface Finding {
  readonly part: string;
  readonly code: string;
  readonly says: string;
  readonly seconds: number;
}

export interface AssembledPart extends SettledPart {
  readonly live: Live;
  readonly attachments: readonly Attachment[];
  /** Name of the signal at each in port; undefined where nothing is wired. */
  readonly wiring: Readonly<Record<string, string | undefined>>;
}

export interface Assembly {
  readonly kernel: Kernel;
  readonly signals: readonly SignalInfo[];
  /** Index of a signal by its name. */
  readonly signalIndex: ReadonlyMap<string, number>;
  readonly parts: readonly AssembledPart[];
  readonly findings: Finding[];
}

/** What the script does to a part at an instant. */
export type Act =
  | { readonly seconds: number; readonly part: string; readonly form: string; readonly contents: unknown }
  | { readonly seconds: number; readonly part: string; readonly event: string; readonly amount: number };

/** All signals that these parts give out, in rank order. */
export function signalsOf(parts: readonly PlannedPart[]): readonly SignalInfo[] {
  return planOf(parts).signals;
}

export interface AssembleOptions {
  /** Makes the journal that every publication is written to; see verdict/cause.ts. */
  readonly journalFor?: (kernel: Kernel) => Journal;
  /** Step and error of the continuous states, where the usual ones are to be doubted. */
  readonly limits?: StepLimits;
  /** False where nobody asks for the digest: a spread's draws are some hundredths faster without it. */
  readonly isDigested?: boolean;
}

/** Wires and starts the parts. `acts` must be sorted by time. */
export function assemble(
  parts: readonly SettledPart[],
  seed: number,
  acts: readonly Act[],
  options: AssembleOptions = {},
): Assembly {
  const { journalFor, limits, isDigested = true } = options;
  const plan = planOf(parts);
  const { signals, signalIndex, rankOf } = plan;
  const { wirings, inputs, routes } = linksOf(plan, parts);
  const kernel = new Kernel(seed, routes, parts.length, limits);
  if (isDigested) for (const signal of plan.derived) kernel.digested[signal] = 0;
  else kernel.digested.fill(0);
  if (journalFor !== undefined) kernel.journal = journalFor(kernel);
  const findings: Finding[] = [];
  const common = commonHost(kernel, plan);
  let timerCount = 0;
  const assembled = parts.map((part, rank): AssembledPart & { timers: (() => void)[] } => {
    const attachments: Attachment[] = [];
    const timers: (() => void)[] = [];
    const partPlan = plan.parts[rank]!;
    const host = hostOf(
      { partPlan, inputs: inputs[rank]!, firstTimer: timerCount, attachments, timers, findings },
      common,
      kernel,
    );
    const live = part.kind.make(host, part.parameters as never);
    timerCount += timers.length;
    for (const [port, out, signal] of partPlan.outPorts) {
      const sampler = live.samplers?.[port] ?? (out.kind === 'flowing' ? common.refresh : undefined);
      if (sampler !== undefined) kernel.setSampler(signal, sampler);
      if (sampler === common.refresh) kernel.swept[signal] = 1;
    }
    return { ...part, live, attachments, timers, wiring: wirings[rank]! };
  });
  kernel.start(
    assembled,
    acts.map((act) => commandOf(act, rankOf, assembled)),
  );
  return { kernel, signals, signalIndex, parts: assembled, findings };
}

/** Another script from the present instant on; `acts` sorted by time, what they say up to now counts as done. */
export function rescript({ kernel, parts }: Assembly, acts: readonly Act[]): void {
  const { rankOf } = planOf(parts);
  kernel.rescript(acts.map((act) => commandOf(act, rankOf, parts)));
}

function commandOf(act: Act, rankOf: ReadonlyMap<string, number>, parts: readonly AssembledPart[]): Command {
  const rank = rankOf.get(act.part);
  assert(rank !== undefined, 'the script names a part that is not there', { part: act.part });
  const { live } = parts[rank]!;
  if ('event' in act) return { seconds: act.seconds, act: () => live.fault(act.event, act.amount) };
  return { seconds: act.seconds, act: () => live.command?.(act.form, act.contents) };
}

/** Ports wired to a signal that none of these parts gives: such a bench cannot be assembled. */
export function looseEnds(
  parts: readonly SettledPart[],
): { readonly part: string; readonly port: string; readonly from: string }[] {
  const plan = planOf(parts);
  return wiringsOf(plan, parts).flatMap((wiring, rank) =>
    Object.entries(wiring).flatMap(([port, from]) =>
      from === undefined || plan.signalIndex.has(from) ? [] : [{ part: plan.parts[rank]!.name, port, from }],
    ),
  );
}

/** What every part of a bench sees of the kernel in the same way. */
function commonHost(kernel: Kernel, plan: Plan) {
  const { now, values, due, continuum } = kernel;
  return {
    now,
    values,
    due,
    isTraced: kernel.journal !== undefined,
    wake: (timer: number, seconds: number) => {
      due[timer] = seconds;
      kernel.moved(timer);
    },
    sleep: (timer: number) => {
      if (due[timer] === Number.POSITIVE_INFINITY) return;
      due[timer] = Number.POSITIVE_INFINITY;
      kernel.moved(timer);
    },
    isAwake: (timer: number) => due[timer]! < Number.POSITIVE_INFINITY,
    moved: (timer: number) => kernel.moved(timer),
    leapt: (timer: number) => kernel.leapt(timer),
    published: (signal: number) => kernel.publish(signal),
    noted: (signal: number) => kernel.note(signal),
    emit: (signal: number, value: number) => {
      values[signal] = value;
      kernel.publish(signal);
    },
    update: (signal: number, value: number) => {
      if (values[signal] === value) return;
      values[signal] = value;
      kernel.publish(signal);
    },
    note: (signal: number, value: number) => {
      values[signal] = value;
      kernel.note(signal);
    },
    sample: (signal: number) => kernel.sample(signal),
    samplerOf: (signal: number) => (signal < 0 ? undefined : kernel.samplerOf(signal)),
    blame: (signal: number) => kernel.blame(signal),
    all: (kind: string, port: string) => plan.signalsAt(kind, port),
    disturb: () => kernel.disturb(),
    refresh: () => continuum.refresh(now),
    jump: () => {
      continuum.jump(now);
      kernel.disturb();
    },
  };
}

/** What is a part's own. */
interface Own {
  readonly partPlan: PartPlan;
  readonly inputs: Readonly<Record<string, number>>;
  readonly firstTimer: number;
  readonly attachments: Attachment[];
  readonly timers: (() => void)[];
  readonly findings: Finding[];
}

function hostOf(own: Own, common: ReturnType<typeof commonHost>, kernel: Kernel): Host {
  const { partPlan, inputs, firstTimer, attachments, timers, findings } = own;
  const { name, bits, out } = partPlan;
  // Written out, since an object put together by a spread is copied again and again as it grows.
  return {
    now: common.now,
    values: common.values,
    due: common.due,
    isTraced: common.isTraced,
    wake: common.wake,
    sleep: common.sleep,
    isAwake: common.isAwake,
    moved: common.moved,
    leapt: common.leapt,
    published: common.published,
    noted: common.noted,
    emit: common.emit,
    update: common.update,
    note: common.note,
    sample: common.sample,
    samplerOf: common.samplerOf,
    blame: common.blame,
    all: common.all,
    disturb: common.disturb,
    refresh: common.refresh,
    jump: common.jump,
    name,
    in: inputs,
    out,
    bits,
    timer: (due) => firstTimer + timers.push(due) - 1,
    flow: (flow) => {
      const { x, dx, ledger, leaning, excess, elapsed } = kernel.continuum;
      const { state, book } = kernel.continuum.join(name, flow);
      return { x, dx, books: ledger.sums, bookRates: ledger.rates, leaning, excess, elapsed, state, book };
    },
    stream: (purpose) => kernel.streams.for(name, purpose),
    attach: (attachment) => {
      attachments.push(attachment);
    },
    finding: (code, says) => {
      if (findings.some((finding) => finding.part === name && finding.code === code)) return;
      findings.push({ part: name, code, says, seconds: kernel.now[0]! });
    },
  };
}
