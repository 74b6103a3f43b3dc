/** The verdict of a run for programs: one object, times in seconds, other numbers in the unit named beside them. */
import { z } from 'zod';
import type { Against } from '../report/checks.ts';
import type { Difference, FramePoint } from '../trace/against.ts';
import { unitFor } from '../units/index.ts';
import type { CauseLink } from '../verdict/cause.ts';
import type { JudgedExpectation, ScenarioRun } from '../verdict/run-scenario.ts';
import { FORMAT_VERSION, TOOL_VERSION } from './version.ts';

const link = z.strictObject({
  at: z.number().meta({ description: 'seconds' }),
  signal: z.string(),
  value: z.number().nullable(),
  unit: z.string(),
  says: z.string(),
  cure: z.string().optional(),
});

const expectation = z.strictObject({
  text: z.string(),
  line: z.int(),
  holds: z.boolean(),
  margin: z
    .number()
    .nullable()
    .meta({ description: 'how far the closest approach was from turning the answer; null where there is no margin' }),
  unit: z.string(),
  at: z.number().meta({ description: 'instant that decides, in seconds' }),
  signal: z.string(),
  expectedToFail: z.boolean(),
  unjudged: z.int(),
  note: z.string().optional(),
  cause: z.array(link),
});

const framePoint = z.strictObject({
  frame: z.int().meta({ description: 'number of the simulated frame, from 1' }),
  at: z.number().meta({ description: 'when it rises on the bench, in seconds' }),
  simulated: z.number().meta({ description: 'seconds' }),
  recorded: z.number().meta({ description: 'seconds' }),
});
const difference = z.strictObject({
  mean: z.number().meta({ description: 'recorded less simulated, in seconds' }),
  largest: framePoint.nullable(),
});

const against = z.strictObject({
  file: z.string(),
  column: z.string(),
  signal: z.string(),
  alignment: z.enum(['best-shift', 'first-edge', 'none']),
  shift: z.number().meta({ description: 'recorded instants less this are instants on the bench, in seconds' }),
  tolerance: z.number().meta({ description: 'seconds' }),
  frames: z.int(),
  onlySimulated: z.int(),
  onlyRecorded: z.int(),
  width: difference,
  period: difference,
  offset: z.strictObject({ mean: z.number(), first: z.number(), last: z.number() }),
  beyond: z.int().meta({ description: 'frames beyond the tolerance, with those that only one train has' }),
  parts: z
    .strictObject({
      at: z.number().meta({ description: 'seconds' }),
      what: z.enum(['width', 'period', 'only-simulated', 'only-recorded']),
      frame: framePoint.nullable(),
    })
    .nullable(),
  holds: z.boolean(),
});

export const resultSchema = z.strictObject({
  jackstand: z.string().meta({ description: 'version of the tool' }),
  format: z.literal(FORMAT_VERSION),
  holds: z.boolean(),
  runs: z.array(
    z.strictObject({
      scenario: z.string(),
      file: z.string(),
      bench: z.string(),
      seed: z.int(),
      duration: z.number(),
      digest: z.string(),
      holds: z.boolean(),
      wallSeconds: z.number(),
      expectations: z.array(expectation),
      final: z.record(z.string(), z.string()),
      findings: z.array(z.strictObject({ part: z.string(), code: z.string(), says: z.string(), at: z.number() })),
      against: against.optional().meta({ description: 'the recorded train that it was held against' }),
    }),
  ),
});
export type Result = z.output<typeof resultSchema>;

export function resultOf(
  runs: readonly { readonly run: ScenarioRun; readonly wallSeconds: number; readonly against?: Against }[],
): Result {
  return {
    jackstand: TOOL_VERSION,
    format: FORMAT_VERSION,
    holds: runs.every(({ run, against: held }) => run.holds && held?.comparison.holds !== false),
    runs: runs.map(({ run, wallSeconds, against: held }) => ({
      scenario: run.scenario.title,
      file: run.scenario.file,
      bench: run.scenario.benchTitle,
      seed: run.scenario.seed,
      duration: run.scenario.durationSeconds,
      digest: run.digest,
      holds: run.holds,
      wallSeconds,
      expectations: run.expectations.map(expectationOf),
      final: run.final,
      findings: run.findings.map(({ part, code, says, seconds }) => ({ part, code, says, at: seconds })),
      ...(held === undefined ? {} : { against: againstOf(held) }),
    })),
  };
}

function expectationOf(judged: JudgedExpectation): Result['runs'][number]['expectations'][number] {
  const unit = judged.unit === null ? { unit: '', scale: 1 } : unitFor(judged.unit);
  return {
    text: judged.text,
    line: judged.line,
    holds: judged.holds,
    margin: Number.isFinite(judged.margin) ? tidy(judged.margin * unit.scale) : null,
    unit: unit.unit,
    at: judged.atSeconds,
    signal: judged.signal,
    expectedToFail: judged.formula.isExpectedToFail,
    unjudged: judged.unjudgedCount,
    ...(judged.note === undefined ? {} : { note: judged.note }),
    cause: judged.cause.map(linkOf),
  };
}

function linkOf(cause: CauseLink): z.output<typeof link> {
  const { unit, scale } = unitFor(cause.dimension);
  return {
    at: cause.seconds,
    signal: cause.signal,
    value: Number.isFinite(cause.value) ? tidy(cause.value * scale) : null,
    unit,
    says: cause.says,
    ...(cause.cure === undefined ? {} : { cure: cause.cure }),
  };
}

function againstOf({ file, column, signal, comparison }: Against): z.output<typeof against> {
  const { first, width, period, offset } = comparison;
  const pointOf = (point: FramePoint): z.output<typeof framePoint> => ({
    frame: point.frame,
    at: point.seconds,
    simulated: tidy(point.simulatedSeconds),
    recorded: tidy(point.recordedSeconds),
  });
  const differenceOf = ({ meanSeconds, largest }: Difference): z.output<typeof difference> => ({
    mean: tidy(meanSeconds),
    largest: largest === undefined ? null : pointOf(largest),
  });
  return {
    file,
    column,
    signal,
    alignment: comparison.alignment,
    shift: tidy(comparison.shiftSeconds),
    tolerance: comparison.toleranceSeconds,
    frames: comparison.frameCount,
    onlySimulated: comparison.onlySimulatedCount,
    onlyRecorded: comparison.onlyRecordedCount,
    width: differenceOf(width),
    period: differenceOf(period),
    offset: { mean: tidy(offset.meanSeconds), first: tidy(offset.firstSeconds), last: tidy(offset.lastSeconds) },
    beyond: comparison.beyondCount,
    parts:
      first === undefined
        ? null
        : { at: first.seconds, what: first.what, frame: first.point === undefined ? null : pointOf(first.point) },
    holds: comparison.holds,
  };
}

/** Twelve digits: what scaling adds behind them is rounding, not measurement. */
function tidy(value: number): number {
  return Number(value.toPrecision(12));
}
