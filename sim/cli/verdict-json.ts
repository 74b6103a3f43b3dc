/** The verdict of a run for programs: one object, times in seconds, other numbers in the unit named beside them. */
import { z } from 'zod';
import type { Against } from '../report/checks.ts';
import type { Difference, FramePoint } from '../trace/against.ts';
import { unitFor } from '../units/index.ts';
import type { CauseLink } from '../verdict/cause.ts';
import type { JudgedExpectation, ScenarioRun } from '../verdict/run-scenario.ts';
import { FORMAT_VERSION, TOOL_VERSION } from './version.ts';

const link = z.strictObject({
  at: z
    .number()
    .meta({ description: 'seconds' })
    .meta({ description: 'when it happened, in seconds', examples: [0.306112] }),
  signal: z.string().meta({ description: 'the signal that it shows in', examples: ['left.pulse'] }),
  value: z
    .number()
    .nullable()
    .meta({ description: 'its value, in the unit beside it; null where it has none', examples: [1536] }),
  unit: z.string().meta({ description: 'unit of the value; empty for a plain number or a mode', examples: ['us'] }),
  says: z.string().meta({ description: 'what happened and why, in a sentence', examples: ['left measured 1536 us'] }),
  cure: z
    .string()
    .optional()
    .meta({
      description: 'a change that would have met the expectation',
      examples: ['compare 46 gives 1504 us; output low 46 instead of 47 would arm'],
    }),
});

const expectation = z.strictObject({
  text: z.string().meta({ description: 'the expectation in words', examples: ['left.mode is armed, within 2 s'] }),
  line: z.int().meta({ description: 'its line in the scenario file, from 1', examples: [13] }),
  holds: z.boolean().describe('whether it came out as stated; with expectedToFail that is: not true'),
  margin: z
    .number()
    .nullable()
    .meta({ description: 'how far the closest approach was from turning the answer; null where there is no margin' })
    .meta({ examples: [-16] }),
  unit: z.string().meta({ description: 'unit of the margin', examples: ['us'] }),
  at: z
    .number()
    .meta({ description: 'instant that decides, in seconds' })
    .meta({ examples: [0.306112] }),
  signal: z.string().meta({ description: 'the signal that decides', examples: ['left.arming'] }),
  expectedToFail: z.boolean().describe('whether the scenario states that it is not true'),
  unjudged: z
    .int()
    .meta({ description: 'how many of its occasions came too near to the end of the run to be judged', examples: [0] }),
  note: z
    .string()
    .optional()
    .meta({ description: 'what else is to be known of the answer', examples: ['the occasion never came'] }),
  cause: z.array(link).describe('from the effect back to the root; empty where it is true'),
});

const framePoint = z.strictObject({
  frame: z
    .int()
    .meta({ description: 'number of the simulated frame, from 1' })
    .meta({ examples: [12] }),
  at: z
    .number()
    .meta({ description: 'when it rises on the bench, in seconds' })
    .meta({ examples: [0.306] }),
  simulated: z
    .number()
    .meta({ description: 'seconds' })
    .meta({ examples: [0.0015] }),
  recorded: z
    .number()
    .meta({ description: 'seconds' })
    .meta({ examples: [0.00152] }),
});
const difference = z.strictObject({
  mean: z
    .number()
    .meta({ description: 'recorded less simulated, in seconds' })
    .meta({ examples: [0.00002] }),
  largest: framePoint.nullable().describe('the frame in which they differ most; null where there is none to compare'),
});

const against = z.strictObject({
  file: z.string().meta({ description: 'the capture', examples: ['receiver.csv'] }),
  column: z.string().meta({ description: 'the column of it', examples: ['CH1'] }),
  signal: z.string().meta({ description: 'the simulated signal', examples: ['receiver.line'] }),
  alignment: z.enum(['best-shift', 'first-edge', 'none']).describe('how the two were laid over each other'),
  shift: z
    .number()
    .meta({ description: 'recorded instants less this are instants on the bench, in seconds' })
    .meta({ examples: [0.125] }),
  tolerance: z
    .number()
    .meta({ description: 'seconds' })
    .meta({ description: 'largest difference that counts as none, in seconds', examples: [0.00002] }),
  frames: z.int().meta({ description: 'frames that both have', examples: [300] }),
  onlySimulated: z.int().meta({ description: 'frames that only the bench has', examples: [0] }),
  onlyRecorded: z.int().meta({ description: 'frames that only the capture has', examples: [0] }),
  width: difference.describe('how far apart the widths are'),
  period: difference.describe('how far apart the times from rise to rise are'),
  offset: z
    .strictObject({
      mean: z.number().meta({ description: 'mean over all frames, in seconds', examples: [0.00001] }),
      first: z.number().meta({ description: 'in the first frame, in seconds', examples: [0] }),
      last: z.number().meta({ description: 'in the last frame, in seconds', examples: [0.00003] }),
    })
    .describe('recorded less simulated rise, in seconds'),
  beyond: z
    .int()
    .meta({ description: 'frames beyond the tolerance, with those that only one train has' })
    .meta({ examples: [0] }),
  parts: z
    .strictObject({
      at: z
        .number()
        .meta({ description: 'seconds' })
        .meta({ description: 'when, in seconds', examples: [1.25] }),
      what: z.enum(['width', 'period', 'only-simulated', 'only-recorded']).describe('what differs there'),
      frame: framePoint.nullable().describe('the frame, where both have it'),
    })
    .nullable()
    .describe('where the two part for the first time; null where they do not'),
  holds: z.boolean().describe('whether no frame is beyond the tolerance'),
});

export const resultSchema = z.strictObject({
  jackstand: z
    .string()
    .meta({ description: 'version of the tool' })
    .meta({ examples: ['0.1.0'] }),
  format: z.literal(FORMAT_VERSION).describe('version of this format'),
  holds: z.boolean().describe('whether all runs hold'),
  runs: z
    .array(
      z.strictObject({
        scenario: z
          .string()
          .meta({ description: 'name of the scenario', examples: ['cold start, foot off the pedal'] }),
        file: z
          .string()
          .meta({ description: 'its file, as it was called', examples: ['scenarios/orchard-cart/cold-start.yaml'] }),
        bench: z.string().meta({ description: 'name of its bench', examples: ['orchard cart'] }),
        seed: z.int().meta({ description: 'seed of all that is drawn', examples: [7] }),
        duration: z.number().meta({ description: 'length of the run, in simulated seconds', examples: [6] }),
        digest: z.string().meta({
          description: 'of all that was published: same files and seed, same digest',
          examples: ['67beb6f580a29628'],
        }),
        holds: z.boolean().describe('whether all its expectations came out as stated'),
        wallSeconds: z.number().meta({ description: 'how long the run took, in seconds', examples: [0.1142] }),
        expectations: z.array(expectation).describe('in the order of the file'),
        final: z.record(z.string(), z.string()).meta({
          description: 'by signal: the mode in which each part ended',
          examples: [{ 'left.mode': 'armed.neutral' }],
        }),
        findings: z
          .array(
            z.strictObject({
              part: z.string().meta({ description: 'who noticed', examples: ['firmware'] }),
              code: z.string().meta({ description: 'what, as a word for programs', examples: ['no-such-pin'] }),
              says: z.string().meta({
                description: 'what, as a sentence',
                examples: ['the program sets pin 40; there are pins 0 to 31'],
              }),
              at: z.number().meta({ description: 'when, in seconds', examples: [3.2] }),
            }),
          )
          .describe('what parts noticed of themselves, such as a program that never ends'),
        against: against.optional().meta({ description: 'the recorded train that it was held against' }),
      }),
    )
    .describe('one for each scenario, in the order in which they ran'),
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
