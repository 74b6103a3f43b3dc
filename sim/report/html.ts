/**
 * Verdicts as one HTML page that needs nothing else: all that it says stands in the text, and a script in it draws the
 * plots from the data in it. Its own policy forbids it to load anything.
 */
import { printable } from '../bench/print.ts';
import { formatQuantity } from '../units/index.ts';
import { assetText } from './assets.ts';
import { CAUTIONS } from './cautions.ts';
import { type Check, checksOf, type Outcome, tallyWords } from './checks.ts';
import { plottedOf } from './plotted.ts';

export interface PageContext {
  readonly toolVersion: string;
  /** The signals to plot of each outcome. */
  readonly signals: readonly (readonly string[] | 'all')[];
}

/** In pieces, as the data of many runs is long. */
export function* htmlOf(outcomes: readonly Outcome[], { toolVersion, signals }: PageContext): Generator<string> {
  yield `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>jackstand: ${html(tallyWords(outcomes))}</title>
<style>${assetText('uPlot.min.css')}\n${assetText('page.css')}</style>
</head>
<body>
<header>
<h1>${html(tallyWords(outcomes))}</h1>
<aside><h2>Before anything turns</h2><ul>${CAUTIONS.map((caution) => `<li>${html(caution)}</li>`).join('')}</ul></aside>
</header>
<main>
${contentsHtml(outcomes)}
`;
  for (const [index, outcome] of outcomes.entries()) yield runHtml(outcome, index, signals[index]!);
  yield `</main>
<footer>jackstand ${html(toolVersion)}. Instants are simulated seconds. Long signals are thinned to their extremes; <code>--trace</code> writes all samples.</footer>
<script>${assetText('uPlot.iife.min.js')}</script>
<script>${assetText('page.js')}</script>
</body>
</html>
`;
}

function contentsHtml(outcomes: readonly Outcome[]): string {
  if (outcomes.length < 2) return '';
  const rows = outcomes.map(
    ({ run }, index) =>
      `<tr><td>${verdictHtml(run.holds)}</td><td><a href="#run-${index}">${html(run.scenario.title)}</a></td><td>${html(run.scenario.benchTitle)}</td></tr>`,
  );
  return `<table class="contents"><thead><tr><th>verdict</th><th>scenario</th><th>bench</th></tr></thead><tbody>${rows.join('')}</tbody></table>`;
}

function runHtml({ run, wallSeconds }: Outcome, index: number, signals: readonly string[] | 'all'): string {
  const { scenario, findings, digest } = run;
  const checks = checksOf(run);
  const found = findings.map(
    ({ part, says, seconds }) =>
      `<li>${instantHtml(seconds, formatQuantity(seconds, 'time'))} ${html(`${part}: ${says}`)}</li>`,
  );
  return `<section class="run" id="run-${index}">
<h2>${verdictHtml(run.holds)} ${html(scenario.title)}</h2>
<p class="facts">${html(scenario.file)}, bench ${html(scenario.benchTitle)}, seed ${scenario.seed}, ${formatQuantity(scenario.durationSeconds, 'time')} run in ${(wallSeconds * 1000).toFixed(1)} ms, digest <code>${html(digest)}</code></p>
<div class="table"><table class="checks"><thead><tr><th>outcome</th><th>expectation</th><th>margin</th></tr></thead><tbody>
${checks.map((check) => checkHtml(check, scenario.file)).join('\n')}
</tbody></table></div>
${found.length > 0 ? `<h3>Findings</h3><ul>${found.join('')}</ul>` : ''}
<div class="plots"></div>
<script type="application/json" class="data">${jsonHtml(plottedOf(run, signals))}</script>
</section>
`;
}

function checkHtml(check: Check, file: string): string {
  const { holds, isExpectedToFail, says, margin, cause, cures, line } = check;
  const links = cause.map(({ at, seconds, says }) => `<li>${instantHtml(seconds, at)} ${html(says)}</li>`);
  const chain =
    links.length === 0
      ? ''
      : `<details${holds ? '' : ' open'}><summary>cause</summary><ol>${links.join('')}</ol>${cures.map((cure) => `<p class="cure">Cure: ${html(cure)}</p>`).join('')}</details>`;
  const word = holds && isExpectedToFail ? '<span class="holds">fails, as stated</span>' : verdictHtml(holds);
  return `<tr><td>${word}</td><td>${html(says)} <span class="place">${html(file)}:${line}</span>${chain}</td><td>${html(margin ?? '')}</td></tr>`;
}

/** An instant that shows itself in the plots when it is pressed. */
function instantHtml(seconds: number, words: string): string {
  return `<button type="button" class="instant" data-seconds="${seconds}">${html(words)}</button>`;
}

function verdictHtml(holds: boolean): string {
  return holds ? '<span class="holds">holds</span>' : '<span class="fails">FAILS</span>';
}

function html(text: string): string {
  return printable(text)
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
    .replaceAll("'", '&#39;');
}

/** A script element ends at `</script` wherever it stands, so that no `<` may stand in its data. */
function jsonHtml(value: unknown): string {
  return JSON.stringify(value).replaceAll('<', '\\u003c');
}
