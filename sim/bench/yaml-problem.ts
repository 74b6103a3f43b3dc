/**
 * From the YAML library's errors to problems: its codes, its places, and the one character that it missed.
 */
import type { Document, YAMLError } from 'yaml';
import type { SourceText } from './place.ts';
import { type Problem, problemAt } from './problem.ts';

// What follows the first slip is mostly the parser trying to find its feet again.
const maxTold = 20;

/** The YAML errors and warnings of a document, at most one a line. `openQuote`: where a quote begins that was not closed. */
export function yamlProblems(document: Document.Parsed, source: SourceText, openQuote: number | undefined): Problem[] {
  const problems: Problem[] = [];
  const lines = new Set<number>();
  for (const error of [...document.errors, ...document.warnings]) {
    if (problems.length === maxTold) break;
    // Tags are reported where the tree is made, the known ones too.
    if (error.code === 'TAG_RESOLVE_FAILED') continue;
    const problem = problemOf(error, source, openQuote);
    if (lines.has(problem.line)) continue;
    lines.add(problem.line);
    problems.push(problem);
    // From an open quote to the end of the file all is text: what else is missing there follows from it.
    if (isQuote(missingOf(error.message))) break;
  }
  const { yaml } = document.directives;
  if (yaml.explicit === true && yaml.version !== '1.2') {
    problems.push(problemAt({ source, start: 0, end: 5 }, 'yaml-version', { version: yaml.version }));
  }
  return problems;
}

function problemOf(error: YAMLError, source: SourceText, openQuote: number | undefined): Problem {
  const [start, end] = error.pos;
  const missing = missingOf(error.message);
  const facts = { reason: error.code, ...(missing === undefined ? {} : { missing }) };
  // A quote is missed at the end of the file, but it is at its beginning that the user must look.
  const place =
    isQuote(missing) && openQuote !== undefined
      ? { source, start: openQuote, end: openQuote + 1 }
      : { source, start, end };
  return problemAt(place, 'yaml', facts, error.name === 'YAMLWarning' ? 'warning' : 'error');
}

function isQuote(missing: string | undefined): boolean {
  return missing === '"' || missing === "'";
}

// The code alone does not say which character is missing; the message names or quotes it.
const missingByMessage: readonly (readonly [pattern: RegExp, missing: string])[] = [
  [/closing "quote/, '"'],
  [/closing 'quote/, "'"],
  [/space after :/, 'a space after the colon'],
  [/Comments must be separated/, 'a space before the #'],
  [/Tags and anchors must be separated/, 'a space'],
  [/end with a }/, '}'],
  [/end with a \]/, ']'],
  [/Missing , /, ','],
  [/need to be followed by map values/, ':'],
  [/without - indicator/, '- '],
  [/indicator line/, '---'],
];

function missingOf(message: string): string | undefined {
  return missingByMessage.find(([pattern]) => pattern.test(message))?.[1];
}
