/** The verdict of a run for programs: one object, times in seconds, other numbers in the unit named beside them. */
import { z } from 'zod';
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
    }),
  ),
});
export type Result = z.output<typeof resultSchema>;

export function resultOf(runs: readonly { readonly run: ScenarioRun; readonly wallSeconds: number }[]): Result {
  return {
    jackstand: TOOL_VERSION,
    format: FORMAT_VERSION,
    holds: runs.every(({ run }) => run.holds),
    runs: runs.map(({ run, wallSeconds }) => ({
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

/** Twelve digits: what scaling adds behind them is rounding, not measurement. */
function tidy(value: number): number {
  return Number(value.toPrecision(12));
}
