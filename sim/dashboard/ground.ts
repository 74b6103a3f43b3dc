/** What a drive stands on: a bench with the values laid over it, a seed, and what must hold meanwhile. */
import { dirname, isAbsolute, join } from 'node:path';
import { stringify } from 'yaml';
import { type Loaded, loadBench } from '../bench/load-bench.ts';
import { hasErrors, type Problem } from '../bench/problem.ts';
import type { DescribedPart } from '../bench/schema.ts';
import { parseSource, readSource } from '../bench/source.ts';
import { plainOf } from '../bench/tree.ts';
import { loadScenario } from '../verdict/load-scenario.ts';
import type { Expectation } from '../verdict/run-scenario.ts';

export interface Ground {
  readonly title: string;
  readonly benchTitle: string;
  readonly benchFile: string;
  readonly overrides: Readonly<Record<string, unknown>>;
  readonly seed: number;
  readonly parts: readonly DescribedPart[];
  readonly expectations: readonly Expectation[];
  /** The expectations as they stand in the file. */
  readonly expect: readonly unknown[];
}

/** Reads a bench, or of a scenario all but its steps. */
export function loadGround(file: string, isScenario: boolean): Loaded<Ground> {
  if (!isScenario) {
    const { value, problems } = loadBench(file);
    if (value === undefined) return { problems };
    const { title, parts } = value;
    return {
      value: {
        title: `a drive of ${title}`,
        benchTitle: title,
        benchFile: file,
        overrides: {},
        seed: 1,
        parts,
        expectations: [],
        expect: [],
      },
      problems,
    };
  }
  const { value, problems } = loadScenario(file);
  if (value === undefined) return { problems };
  const written = plainOf(readSource(file).tree!) as {
    readonly bench: string;
    readonly with?: Readonly<Record<string, unknown>>;
    readonly expect?: readonly unknown[];
  };
  return {
    value: {
      title: `a drive of ${value.title}`,
      benchTitle: value.benchTitle,
      benchFile: isAbsolute(written.bench) ? written.bench : join(dirname(file), written.bench),
      overrides: written.with ?? {},
      seed: value.seed,
      parts: value.parts,
      expectations: value.expectations,
      expect: written.expect ?? [],
    },
    problems,
  };
}

/** The same ground with one more value laid over the bench, by its dotted path; or what is wrong with that value. */
export function withOverride(
  ground: Ground,
  path: string,
  value: unknown,
): { readonly ground: Ground } | { readonly problems: readonly Problem[] } {
  const overrides = { ...ground.overrides, [path]: value };
  const { tree, problems } = parseSource('your change', stringify(overrides));
  if (tree === undefined) return { problems };
  const bench = loadBench(ground.benchFile, tree);
  if (bench.value === undefined || hasErrors(bench.problems)) return { problems: bench.problems };
  return { ground: { ...ground, overrides, parts: bench.value.parts } };
}
