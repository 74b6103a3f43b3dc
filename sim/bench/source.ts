/**
 * From a YAML 1.2 file to a tree with places. Whatever the file holds, the outcome is a tree or problems, and soon.
 */
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { basename, dirname } from 'node:path';
import { Composer, type CST, type Document, Lexer, type ParsedNode, Parser } from 'yaml';
import { type Place, type SourceText, sourceText } from './place.ts';
import { hasErrors, type Problem, problemAt, sortProblems } from './problem.ts';
import { suggest } from './suggest.ts';
import { excessOf, headPlace, kindWords, type TreeMap, treeLimits } from './tree.ts';
import { yamlProblems } from './yaml-problem.ts';
import { treeOf } from './yaml-tree.ts';

/** A file's tree, unless it could not be read at all; a tree may come with problems, errors too. */
export interface SourceRead {
  readonly tree: TreeMap | undefined;
  readonly problems: readonly Problem[];
}

const maxBytes = 1024 * 1024;

// The parser takes some microseconds a lexeme, and more for one that is wrong; a bench of 60 lines has about 800.
const maxLexemes = 100_000;

/** Reads the file at `path`; `name` is how messages call it. */
export function readSource(path: string, name: string = path): SourceRead {
  try {
    const found = statSync(path);
    // Asked first, since reading a pipe or a device may never end.
    if (!found.isFile()) return failed(problemAt(name, 'not-a-file', { isFolder: found.isDirectory() }));
    if (found.size > maxBytes) return failed(problemAt(name, 'too-long', { bytes: found.size, limitBytes: maxBytes }));
    return parseSource(name, readFileSync(path));
  } catch (error) {
    return failed(unreadable(path, name, error));
  }
}

/** As `readSource`, for contents already at hand. */
export function parseSource(name: string, contents: Uint8Array | string): SourceRead {
  const bytes = typeof contents === 'string' ? Buffer.from(contents) : contents;
  if (bytes.length > maxBytes)
    return failed(problemAt(name, 'too-long', { bytes: bytes.length, limitBytes: maxBytes }));
  const source = decoded(name, bytes);
  return 'code' in source ? failed(source) : parsed(source);
}

function parsed(source: SourceText): SourceRead {
  const control = controlCharacter.exec(source.text);
  if (control !== null) {
    const place = { source, start: control.index, end: control.index + 1 };
    return failed(problemAt(place, 'control-character', { codePoint: control[0].charCodeAt(0) }));
  }
  const lexed = tokensOf(source);
  if ('code' in lexed) return failed(lexed);

  const composer = new Composer<ParsedNode>(yamlOptions);
  const documents = composer.compose(lexed.tokens, true, source.text.length);
  const first = documents.next().value as Document.Parsed;
  const second = documents.next().value as Document.Parsed | undefined;
  const problems = yamlProblems(first, source, lexed.openQuote);
  if (second !== undefined) {
    const start = second.contents?.range[0] ?? second.range[0];
    problems.push(problemAt({ source, start, end: start + 3 }, 'several-documents', {}));
  }
  if (hasErrors(problems)) return { tree: undefined, problems: sortProblems(problems) };
  if (first.contents === null || isNothing(first.contents))
    return failed(problemAt(source.name, 'empty-file', {}), ...problems);

  const top = treeOf(first.contents, source, problems);
  const excess = excessOf(top);
  if (excess !== undefined) problems.push(excess);
  else if (top.shape !== 'map') problems.push(problemAt(headPlace(top), 'not-a-map', { got: kindWords(top) }));
  const tree = top.shape === 'map' && excess === undefined ? top : undefined;
  return { tree, problems: sortProblems(problems) };
}

const yamlOptions = {
  schema: 'core',
  version: '1.2',
  strict: true,
  stringKeys: true,
  // The library's own check compares each key with each other one; ours uses the map that is built anyway.
  uniqueKeys: false,
  prettyErrors: false,
  resolveKnownTags: false,
  logLevel: 'silent',
} as const;

interface Lexed {
  readonly tokens: readonly CST.Token[];
  /** Where the quote begins that was not closed, if there is one. */
  readonly openQuote: number | undefined;
}

/**
 * The parser's tokens, or why there are too many or too deep ones. Lexer and parser are driven by hand since the composer after
 * them recurses: it must never be given a depth that it cannot take.
 */
function tokensOf(source: SourceText): Lexed | Problem {
  const parser = new Parser();
  const tokens: CST.Token[] = [];
  let lexemeCount = 0;
  let openQuote: number | undefined;
  for (const lexeme of new Lexer().lex(source.text)) {
    if (/^["']/.test(lexeme) && (lexeme.length === 1 || lexeme.at(-1) !== lexeme[0])) openQuote = parser.offset;
    for (const token of parser.next(lexeme)) tokens.push(token);
    lexemeCount += 1;
    const here: Place = { source, start: parser.offset, end: parser.offset + 1 };
    if (parser.stack.length > treeLimits.height) return problemAt(here, 'too-deep', { limit: treeLimits.height });
    if (lexemeCount > maxLexemes) return problemAt(here, 'too-much', { limit: treeLimits.size });
  }
  for (const token of parser.end()) tokens.push(token);
  return { tokens, openQuote };
}

// What YAML 1.2 does not allow as a character (section 5.1), without the surrogates, which UTF-8 cannot hold.
// biome-ignore lint/suspicious/noControlCharactersInRegex: these are what is looked for.
const controlCharacter = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f\u0080-\u0084\u0086-\u009f\ufffe\uffff]/;

/** The text of a file's bytes without a byte order mark, or what is wrong with them. */
function decoded(name: string, bytes: Uint8Array): SourceText | Problem {
  try {
    return sourceText(name, new TextDecoder('utf-8', { fatal: true }).decode(bytes));
  } catch {
    const [first, second] = bytes;
    const isUtf16 = (first === 0xff && second === 0xfe) || (first === 0xfe && second === 0xff);
    if (isUtf16) return problemAt(name, 'not-utf8', { looksLike: 'UTF-16' });
    return problemAt(firstUndecodable(name, bytes), 'not-utf8', {});
  }
}

function firstUndecodable(name: string, bytes: Uint8Array): Place | string {
  // A line break is one byte that stands in no longer character, so lines can be tried one by one.
  for (let start = 0; start < bytes.length; ) {
    const lineBreak = bytes.indexOf(0x0a, start);
    const end = lineBreak === -1 ? bytes.length : lineBreak + 1;
    const line = new TextDecoder().decode(bytes.subarray(start, end));
    const bad = line.indexOf('\ufffd');
    if (bad !== -1) {
      const source = sourceText(name, new TextDecoder().decode(bytes.subarray(0, end)));
      const offset = source.text.length - line.length + bad;
      return { source, start: offset, end: offset + 1 };
    }
    start = end;
  }
  return name;
}

function unreadable(path: string, name: string, error: unknown): Problem {
  const reason = error instanceof Error && 'code' in error ? String(error.code) : 'unknown';
  if (reason !== 'ENOENT') return problemAt(name, 'unreadable', { reason });
  const nearest = suggest(basename(path), namesBeside(path));
  return problemAt(name, 'no-such-file', nearest === undefined ? {} : { nearest });
}

function namesBeside(path: string): string[] {
  try {
    return readdirSync(dirname(path)).slice(0, 1000);
  } catch {
    return [];
  }
}

function isNothing(node: ParsedNode): boolean {
  return 'value' in node && node.value === null && node.range[1] === node.range[0];
}

function failed(...problems: Problem[]): SourceRead {
  return { tree: undefined, problems: sortProblems(problems) };
}
