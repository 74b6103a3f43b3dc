/** A spread's report for people: the rate, each expectation with what decides it, the margins as bars, the draw to look at. */
import { printable } from '../bench/print.ts';
import type { Rate, SpreadExpectation, SpreadReport } from '../campaign/spread.ts';
import { type Dimension, formatQuantity } from '../units/index.ts';
import { type Paint, paintFor, type Streams } from './streams.ts';
import { wrapped } from './wrap.ts';

type Look = Pick<Streams, 'isColoured' | 'columns'>;

const MARGIN = ' '.repeat(7);
const BARS = 12;
const BAR_COLUMNS = 40;
/** Of the values that decide, as many as fit a glance. */
const DECIDERS_SHOWN = 4;

export function spreadText(
  report: SpreadReport,
  overridesOf: (draw: number) => Record<string, unknown>,
  look: Look,
): string {
  const paint = paintFor(look);
  const { rate, plan, made, expectations, tightest, failing } = report;
  const isWhole = rate.passed === rate.of;
  const head = `${printable(report.scenario)}: ${rate.passed} of ${rate.of} draws hold, ${shareWords(rate)}`;
  const lines = [
    ...wrapped(
      head,
      `${(isWhole ? paint.good : paint.bad)(paint.strong(isWhole ? 'holds' : 'FAILS'))}  `,
      look.columns,
    ),
    ...wrapped(intervalWords(rate), MARGIN, look.columns),
    ...wrapped(planWords(plan, made, report.values.length), MARGIN, look.columns).map(paint.faint),
  ];
  for (const expectation of expectations) lines.push(...expectationLines(expectation, look, paint));
  const shown = [...expectations]
    .filter(({ margin }) => margin !== null && margin.most > margin.least)
    .sort((a, b) => a.rate.passed - b.rate.passed || tightness(a) - tightness(b))[0];
  if (shown !== undefined) lines.push('', ...histogramLines(shown, paint));
  if (tightest !== null && report.values.length > 0) {
    const isFailing = failing.includes(tightest);
    lines.push(
      '',
      `${isFailing ? 'the worst draw' : 'the draw nearest to failing'}: ${tightest} (--write FILE writes it)`,
    );
    for (const [path, value] of Object.entries(overridesOf(tightest))) lines.push(`${MARGIN}${path}: ${value}`);
    if (isFailing) lines.push(paint.faint(`${MARGIN}failing draws: ${listWords(failing)}`));
  }
  return `${lines.join('\n')}\n`;
}

function expectationLines(expectation: SpreadExpectation, look: Look, paint: Paint): string[] {
  const { rate, margin, dimension, deciders, text, line } = expectation;
  const head = `${shareWords(rate).padStart(7)}  `;
  const about =
    margin === null || dimension === null
      ? ''
      : `; margin ${amount(margin.least, dimension)} to ${amount(margin.most, dimension)}, middle ${amount(margin.median, dimension)}`;
  const lines = wrapped(`${text} (line ${line})${about}`, head, look.columns);
  if (rate.passed < rate.of) lines[0] = lines[0]!.replace(head, paint.bad(head));
  if (deciders.length > 0) {
    const words = deciders.slice(0, DECIDERS_SHOWN).map(({ path, correlation, split }) => {
      const side = split === 0 ? '' : split > 0 ? ', failures lie high' : ', failures lie low';
      return `${path} (${correlation > 0 ? '+' : ''}${correlation.toFixed(2)}${side})`;
    });
    lines.push(...wrapped(`decided by ${words.join('; ')}`, ' '.repeat(11), look.columns).map(paint.faint));
  }
  return lines;
}

/** How near an expectation is to turning, as a share of how far its margin scatters. */
function tightness({ margin }: SpreadExpectation): number {
  return margin === null ? Number.POSITIVE_INFINITY : margin.least / Math.max(margin.most - margin.least, 1e-300);
}

function histogramLines({ margins, margin, dimension, text }: SpreadExpectation, paint: Paint): string[] {
  const { least, most } = margin!;
  const counts = new Array<number>(BARS).fill(0);
  for (const one of margins) {
    if (Number.isNaN(one)) continue;
    counts[Math.min(BARS - 1, Math.floor((BARS * (one - least)) / (most - least)))]! += 1;
  }
  const greatest = Math.max(...counts);
  const ends = Array.from({ length: BARS + 1 }, (_, index) =>
    amount(least + ((most - least) * index) / BARS, dimension!),
  );
  const width = Math.max(...ends.map((end) => end.length));
  return [
    `margin of ${text}`,
    ...counts.map((count, index) => {
      const bar = '#'.repeat(count === 0 ? 0 : Math.max(1, Math.round((BAR_COLUMNS * count) / greatest)));
      const isFailing = least + ((most - least) * (index + 1)) / BARS <= 0;
      const range = `${ends[index]!.padStart(width)} to ${ends[index + 1]!.padStart(width)}`;
      return `${MARGIN}${range}  ${isFailing ? paint.bad(bar) : bar} ${count}`;
    }),
  ];
}

function planWords({ law, sampling, seed }: SpreadReport['plan'], made: number, values: number): string {
  const laws = {
    uniform: 'anywhere within its tolerance',
    normal: 'normal, its tolerance three standard deviations',
    corners: 'at one end of its tolerance or the other',
  };
  const samplings = { latin: 'Latin hypercube', random: 'independent draws' };
  return `${values} values, each ${laws[law]}; ${made} draws, ${samplings[sampling]}, seed ${seed}`;
}

function intervalWords({ wilson, exact }: Rate): string {
  const words = ([low, high]: readonly [number, number]): string =>
    `${(100 * low).toFixed(2)} % to ${(100 * high).toFixed(2)} %`;
  return `the true rate lies in ${words(wilson)} (Wilson, 95 %), ${words(exact)} (exact)`;
}

function shareWords({ passed, of }: Rate): string {
  return of === 0 ? 'none' : `${((100 * passed) / of).toFixed(1)} %`;
}

function amount(value: number, dimension: Dimension): string {
  return formatQuantity(value, dimension, { digits: 3, signed: true });
}

function listWords(draws: readonly number[]): string {
  return draws.length <= 15 ? draws.join(', ') : `${draws.slice(0, 15).join(', ')} and ${draws.length - 15} more`;
}
