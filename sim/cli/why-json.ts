/** What `why` found, for programs: values in the unit named beside them, expectations by their line in the file. */
import type { Change, WhyReport } from '../campaign/why.ts';
import { unitFor } from '../units/index.ts';
import { TOOL_VERSION } from './version.ts';

export function whyJson(report: WhyReport): string {
  const { run, question, asked, changes, inert, steady, runCount, triedCount, parameterCount, isInterrupted } = report;
  const lineOf = (index: number): number => run.expectations[index]!.line;
  return `${JSON.stringify(
    {
      jackstand: TOOL_VERSION,
      format: 1,
      scenario: run.scenario.title,
      file: run.scenario.file,
      holds: run.holds,
      question,
      asked: asked.map(lineOf),
      expectations: run.expectations.map(({ text, line, truth, holds, margin, unit, atSeconds, signal, cause }) => ({
        text,
        line,
        truth,
        holds,
        margin: unit === null || !Number.isFinite(margin) ? null : margin * unitFor(unit).scale,
        unit: unit === null ? null : unitFor(unit).unit,
        at: atSeconds,
        signal,
        cause: cause.map(({ seconds, signal: name, says, cure }) => ({
          at: seconds,
          signal: name,
          says,
          ...(cure && { cure }),
        })),
      })),
      changes: changes.map((change) => changeJson(change, lineOf)),
      inert,
      steady,
      runs: runCount,
      tried: triedCount,
      parameters: parameterCount,
      interrupted: isInterrupted,
    },
    null,
    2,
  )}\n`;
}

function changeJson(change: Change, lineOf: (index: number) => number): Record<string, unknown> {
  const { path, members, isSymmetric, from, to, dimension, direction, relative, edge, back, turns, alsoTurns } = change;
  const { unit, scale } = dimension === null ? { unit: null, scale: 1 } : unitFor(dimension);
  const scaled = (value: Change['from']): Change['from'] => (typeof value === 'number' ? value * scale : value);
  return {
    path,
    ...(members.length > 0 ? { members } : {}),
    ...(isSymmetric ? { symmetric: true } : {}),
    from: scaled(from),
    to: scaled(to),
    unit,
    direction,
    relative,
    edge: edge === null ? null : edge.map(scaled),
    back: back === null ? null : scaled(back),
    turns: turns.map(lineOf),
    alsoTurns: alsoTurns.map(lineOf),
  };
}
