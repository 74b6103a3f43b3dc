/**
 * What can be wrong with a user's files, as data: a code, a place, and the facts. The sentences are made in `words.ts`.
 */
import type { QuantityMistake } from '../units/index.ts';
import { type Place, type Position, positionOf, wholeFile } from './place.ts';

/** The facts that go with each code. `path` is dotted (`controllers.left.pulse`), `written` the value as the file has it. */
export interface FactsByCode {
  'no-such-file': { readonly nearest?: string };
  'not-a-file': { readonly isFolder: boolean };
  /** `reason` is the operating system's error code. */
  unreadable: { readonly reason: string };
  'too-long': { readonly bytes: number; readonly limitBytes: number };
  'not-utf8': { readonly looksLike?: 'UTF-16' };
  'control-character': { readonly codePoint: number };
  'empty-file': Readonly<Record<never, never>>;
  'several-documents': Readonly<Record<never, never>>;
  'not-a-map': { readonly got: string };
  'too-deep': { readonly limit: number };
  'too-much': { readonly limit: number };
  /** Broken YAML: the parser's code, and the character that it missed, where it missed one. */
  yaml: { readonly reason: string; readonly missing?: string };
  'yaml-version': { readonly version: string };
  'duplicate-key': { readonly path: string; readonly firstLine: number };
  'unsafe-key': { readonly path: string };
  tag: { readonly tag: string };
  'unknown-alias': { readonly alias: string; readonly nearest?: string };
  'alias-in-itself': { readonly alias: string };
  'not-a-number': { readonly path: string; readonly written: string };
  'number-too-large': { readonly path: string; readonly written: string; readonly limit: number };

  'like-unknown': {
    readonly path: string;
    readonly written: string;
    readonly allowed: readonly string[];
    readonly nearest?: string;
  };
  'like-cycle': { readonly names: readonly string[] };
  'like-no-map': { readonly path: string; readonly written: string; readonly got: string };

  'override-path': { readonly path: string };
  'override-into-value': { readonly path: string; readonly at: string; readonly written: string };
  'override-item': { readonly path: string; readonly at: string; readonly itemCount: number };

  /** `cure` is the entry as it was surely meant, where a space after the colon was forgotten. */
  'unknown-key': {
    readonly path: string;
    readonly key: string;
    readonly allowed: readonly string[];
    readonly nearest?: string;
    readonly cure?: string;
  };
  'missing-key': { readonly path: string; readonly allowed?: readonly string[]; readonly means?: string };
  'wrong-type': {
    readonly path: string;
    readonly got: string;
    readonly written: string;
    readonly wanted: readonly string[];
    readonly nearest?: string;
  };
  'not-allowed': {
    readonly path: string;
    readonly written: string;
    readonly allowed: readonly string[];
    readonly nearest?: string;
  };
  'out-of-range': {
    readonly path: string;
    readonly written: string;
    readonly side: 'below' | 'above';
    readonly limit: string;
    readonly isInclusive: boolean;
    /** What was counted, if the limit is not on the value itself. */
    readonly counted?: 'items' | 'characters' | 'entries';
    readonly count?: number;
  };
  'not-a-multiple': { readonly path: string; readonly written: string; readonly divisor: string };
  'bad-form': { readonly path: string; readonly written: string; readonly form: string };
  'bad-name': { readonly path: string; readonly name: string; readonly says: string };
  quantity: { readonly path: string; readonly written: string; readonly mistake: QuantityMistake };
  /** A part or a rule above the files' form says no, in its own words. */
  refused: {
    readonly path: string;
    readonly written?: string;
    readonly says: string;
    readonly allowed?: string;
    readonly nearest?: string;
  };
}

export type ProblemCode = keyof FactsByCode;
export type Severity = 'error' | 'warning';

/** Something wrong in a user's file. */
export type Problem<Code extends ProblemCode = ProblemCode> = {
  [Each in Code]: Position & { readonly code: Each; readonly severity: Severity; readonly facts: FactsByCode[Each] };
}[Code];

/** A problem at a place in a file, or (a string) with the file of that name as a whole. */
export function problemAt<Code extends ProblemCode>(
  place: Place | string,
  code: Code,
  facts: FactsByCode[Code],
  severity: Severity = 'error',
): Problem {
  const position = typeof place === 'string' ? wholeFile(place) : positionOf(place);
  return { ...position, code, severity, facts } as Problem;
}

/** Sorted by file, line and column; those at one place keep their order; one mistake that was met on two ways is told once. */
export function sortProblems(problems: readonly Problem[]): Problem[] {
  const seen = new Set<string>();
  return [...problems]
    .sort((a, b) => compareText(a.file, b.file) || a.line - b.line || a.column - b.column)
    .filter((problem) => {
      const key = [problem.file, problem.line, problem.column, problem.code, distinctionOf(problem)].join('\0');
      return !seen.has(key) && seen.add(key);
    });
}

/** True if at least one of them is more than a warning. */
export function hasErrors(problems: readonly Problem[]): boolean {
  return problems.some((problem) => problem.severity === 'error');
}

// Several keys can be missing at one place, and a part can refuse one value on several grounds; all else is one mistake a place.
function distinctionOf(problem: Problem): string {
  if (problem.code === 'missing-key') return problem.facts.path.slice(problem.facts.path.lastIndexOf('.') + 1);
  return problem.code === 'refused' ? problem.facts.says : '';
}

function compareText(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}
