/** A spread's report for programs: JSON with times in microseconds and all else in the unit named beside it, and JUnit cases. */
import type { Rate, SpreadExpectation, SpreadReport } from '../campaign/spread.ts';
import type { JunitCase } from '../report/junit.ts';
import { formatQuantity, unitFor } from '../units/index.ts';
import { FORMAT_VERSION, TOOL_VERSION } from './version.ts';

export function spreadJson(report: SpreadReport, overridesOf: (draw: number) => Record<string, unknown>): unknown {
  const { expectations, rate, tightest, ...rest } = report;
  return {
    jackstand: TOOL_VERSION,
    format: FORMAT_VERSION,
    campaign: 'spread',
    ...rest,
    rate: rateJson(rate),
    expectations: expectations.map(expectationJson),
    tightest: tightest === null ? null : { draw: tightest, with: overridesOf(tightest) },
  };
}

function rateJson({ passed, of, wilson, exact }: Rate): unknown {
  return { passed, of, rate: of === 0 ? null : tidy(passed / of), wilson: wilson.map(tidy), exact: exact.map(tidy) };
}

function expectationJson(expectation: SpreadExpectation): unknown {
  const { text, line, dimension, rate, margin, nominal, deciders, nearest, worst, margins } = expectation;
  const { unit, scale } = dimension === null ? { unit: '', scale: 1 } : unitFor(dimension);
  const scaled = (value: number | null): number | null => (value === null ? null : tidy(value * scale));
  const drawn = (one: SpreadExpectation['nearest']): unknown =>
    one === null ? null : { draw: one.draw, margin: scaled(one.margin) };
  return {
    text,
    line,
    unit,
    rate: rateJson(rate),
    margin:
      margin === null
        ? null
        : { least: scaled(margin.least), median: scaled(margin.median), most: scaled(margin.most) },
    nominal: scaled(nominal),
    deciders: deciders.map(({ path, correlation, split }) => ({
      path,
      correlation: tidy(correlation),
      split: tidy(split),
    })),
    nearest: drawn(nearest),
    worst: drawn(worst),
    margins: Array.from(margins, (margin) => (Number.isNaN(margin) ? null : scaled(margin))),
  };
}

export function spreadCases({ expectations, file }: SpreadReport): JunitCase[] {
  return expectations.map(({ text, line, rate, worst, dimension }) => {
    const failed = rate.of - rate.passed;
    const base = { name: `${text} (line ${line})`, file };
    if (failed === 0) return base;
    const by =
      worst === null || dimension === null
        ? ''
        : `; worst: draw ${worst.draw}, ${formatQuantity(-worst.margin, dimension)} off`;
    const message = `fails in ${failed} of ${rate.of} draws${by}`;
    return { ...base, failure: { message, type: 'spread', text: message } };
  });
}

/** Twelve digits: what scaling adds behind them is rounding, not measurement. */
function tidy(value: number): number {
  return Number(value.toPrecision(12));
}
