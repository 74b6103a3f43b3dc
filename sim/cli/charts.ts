/** `jackstand charts`: the statechart of each part, with how often each transition was taken by scenarios. */
import { join } from 'node:path';
import type { AnyStateMachine } from 'xstate';
import { assemble } from '../bench/assemble.ts';
import { loadBench } from '../bench/load-bench.ts';
import { hasErrors, type Problem, problemAt } from '../bench/problem.ts';
import { type DescribedPart, settleParts } from '../bench/schema.ts';
import { suggest } from '../bench/suggest.ts';
import { mermaidOf } from '../chart/mermaid.ts';
import { scxmlOf } from '../chart/scxml.ts';
import { tableOf } from '../chart/table.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import type { Scenario } from '../verdict/run-scenario.ts';
import { Exit } from './exit.ts';
import { findFiles, kindOf } from './find-files.ts';
import { tellProblems } from './problems.ts';
import type { Streams } from './streams.ts';
import { writeWhole, writtenFileProblems } from './written-files.ts';

/** Parts that share a machine (left and right controller) share its drawing. */
interface Chart {
  readonly parts: Set<string>;
  /** Undefined as long as nothing was run. */
  taken: Uint32Array | undefined;
}

export interface ChartsOptions {
  readonly format?: string;
  readonly part?: string;
  /** A folder that takes a file for each chart. */
  readonly into?: string;
}

/** The ending of the files that `--into` writes. */
const endings: Readonly<Record<string, string>> = { mermaid: '.mmd', scxml: '.scxml', svg: '.svg' };

export async function charts(paths: readonly string[], options: ChartsOptions, streams: Streams): Promise<number> {
  const found = await findFiles(paths, ['scenario']);
  const problems: Problem[] = [...found.problems];
  const drawn = new Map<AnyStateMachine, Chart>();
  let scenarioCount = 0;
  for (const file of found.files) {
    const isBench = kindOf(file) === 'bench';
    const loaded = isBench ? loadBench(file) : loadScenario(file);
    problems.push(...loaded.problems);
    if (loaded.value === undefined) continue;
    addParts(drawn, loaded.value.parts);
    if (isBench || hasErrors(problems)) continue;
    scenarioCount += 1;
    streams.status?.(`running ${file}`);
    countTaken(drawn, loaded.value as Scenario);
  }
  streams.status?.('');
  const names = [...drawn.values()].flatMap(({ parts }) => [...parts]);
  const { part, format = 'mermaid', into } = options;
  if (part !== undefined && names.length > 0 && !names.includes(part)) {
    const near = suggest(part, names);
    problems.push(refusal('--part', `there is no part ${part}`, names.join(', '), near));
  }
  if (part === undefined && into === undefined && format !== 'mermaid' && drawn.size > 1) {
    const says = `one ${format.toUpperCase()} document holds one chart; say which with --part, or where to put all of them with --into`;
    problems.push(refusal('--format', says, names.join(', ')));
  }
  if (into !== undefined) problems.push(...writtenFileProblems('--into', join(into, `chart${endings[format]}`)));
  tellProblems(
    problems.filter(({ severity }) => severity === 'error'),
    streams,
  );
  if (hasErrors(problems)) return Exit.badInput;
  const unwritten: Problem[] = [];
  for (const [machine, { parts, taken }] of drawn) {
    if (part !== undefined && !parts.has(part)) continue;
    const heading = [...parts].join(', ');
    const coverage = coverageWords(machine, taken, scenarioCount);
    if (into === undefined) {
      streams.out(
        format === 'mermaid'
          ? `## ${heading}\n\n${coverage === '' ? '' : `${coverage}.\n\n`}\`\`\`mermaid\n${mermaidOf(machine, taken)}\`\`\`\n\n`
          : await textOf(machine, format, heading, coverage, taken),
      );
      continue;
    }
    const file = join(into, `${[...parts].join('-')}${endings[format]}`);
    unwritten.push(...writeWhole('--into', file, [await textOf(machine, format, heading, coverage, taken)]));
    if (unwritten.length === 0) streams.out(`${file}\n`);
  }
  tellProblems(unwritten, streams);
  return unwritten.length === 0 ? Exit.holds : Exit.badInput;
}

async function textOf(
  machine: AnyStateMachine,
  format: string,
  heading: string,
  coverage: string,
  taken: Uint32Array | undefined,
): Promise<string> {
  if (format === 'mermaid') return mermaidOf(machine, taken);
  if (format === 'scxml') return scxmlOf(machine, taken);
  // The layout is a large library, which only pictures need.
  const { svgOf } = await import('../chart/svg.ts');
  return svgOf(machine, heading, coverage, taken);
}

function addParts(drawn: Map<AnyStateMachine, Chart>, parts: readonly DescribedPart[]): void {
  for (const { name, kind } of parts) {
    const chart = drawn.get(kind.chart) ?? { parts: new Set(), taken: undefined };
    chart.parts.add(name);
    drawn.set(kind.chart, chart);
  }
}

function countTaken(drawn: Map<AnyStateMachine, Chart>, scenario: Scenario): void {
  const assembly = assemble(settleParts(scenario.parts), scenario.seed, scenario.acts);
  assembly.kernel.run(scenario.durationSeconds);
  for (const { kind, attachments } of assembly.parts) {
    const chart = drawn.get(kind.chart)!;
    chart.taken ??= new Uint32Array(tableOf(kind.chart).transitions.length);
    for (const { taken } of attachments)
      taken?.forEach((count, index) => {
        chart.taken![index]! += count;
      });
  }
}

function coverageWords(machine: AnyStateMachine, taken: Uint32Array | undefined, scenarioCount: number): string {
  if (taken === undefined) return '';
  const covered = taken.filter((count) => count > 0).length;
  const runs = scenarioCount === 1 ? '1 scenario' : `${scenarioCount} scenarios`;
  return `${covered} of ${tableOf(machine).transitions.length} transitions taken in ${runs}`;
}

function refusal(option: string, says: string, allowed: string, nearest?: string): Problem {
  return problemAt(option, 'refused', { path: '', says, allowed, ...(nearest === undefined ? {} : { nearest }) });
}
