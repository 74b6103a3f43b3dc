/**
 * The tree of a module in TypeScript or JavaScript, from the parser that is loaded when the first one is read.
 */
import { createRequire } from 'node:module';
import type { ModuleMistake } from '../program.ts';

/** A node as the parser gives it; which further keys it has depends on its type. */
export interface Tree {
  readonly type: string;
  readonly start: number;
  readonly end: number;
  readonly loc: { readonly start: { readonly line: number; readonly column: number } };
  readonly [key: string]: unknown;
}

interface Parser {
  parse(text: string, options: object): Tree & { readonly errors: readonly ParserError[] };
}
interface ParserError {
  readonly message: string;
  readonly loc?: { readonly line: number; readonly column: number };
}

export interface Parsed {
  /** The statements of the file. */
  readonly body: readonly Tree[];
  readonly mistakes: readonly ModuleMistake[];
}

/** Far above any firmware. */
const CHARACTERS_MOST = 256 * 1024;

export function parseScript(bytes: Uint8Array, isTyped: boolean): Parsed {
  if (bytes.length > CHARACTERS_MOST)
    return failed(`the file has ${bytes.length} bytes; at most ${CHARACTERS_MOST} are read`);
  const text = decoded(bytes);
  if (text === undefined) return failed('this is no text in UTF-8');
  const { parse } = loadParser();
  try {
    const file = parse(text, {
      sourceType: 'module',
      errorRecovery: true,
      attachComment: false,
      plugins: isTyped ? ['typescript'] : [],
    });
    const program = file.program as Tree;
    return { body: program.body as readonly Tree[], mistakes: file.errors.map(mistakeOf) };
  } catch (error) {
    // Only its own complaints have a place; nesting can also use up the stack.
    if (error instanceof RangeError) return failed('it nests too deep');
    if (!(error instanceof Error) || !('loc' in error)) throw error;
    return { body: [], mistakes: [mistakeOf(error as ParserError)] };
  }
}

/** Asked for when it is needed, as it takes longer to load than a bench; esbuild.config.ts puts it beside the bundle. */
function loadParser(): Parser {
  return createRequire(import.meta.url)('@babel/parser') as Parser;
}

function mistakeOf({ message, loc }: ParserError): ModuleMistake {
  const says = message
    .replace(/ \(\d+:\d+\)$/, '')
    .replace(/\.$/, '')
    .slice(0, 300);
  return { ...(loc === undefined ? {} : { at: `${loc.line}:${loc.column + 1}` }), says };
}

function failed(says: string): Parsed {
  return { body: [], mistakes: [{ says }] };
}

function decoded(bytes: Uint8Array): string | undefined {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch {
    return undefined;
  }
}
