/**
 * A trace as a value change dump, IEEE 1364-2005 clause 18, for waveform viewers.
 *
 * - Time in whole nanoseconds; of changes that round to one nanosecond the last counts.
 * - Scopes by the dots of the names: `motors.left.speed` is `speed` in `left` in `motors`. Names become plain
 *   identifiers; two that would then be equal are numbered.
 * - Levels, and lines that are low, high or floating (`z`), are 1-bit wires, `x` before their first sample. Numbers are `real`, in base units, with as many digits as
 *   bring the number back exactly (the standard's own %.16g can miss by the last bit). Linear signals give their samples.
 * - Modes are `string` variables with `s` values. That is no part of the standard, but an extension that viewers commonly
 *   read; a reader of the bare standard must skip them.
 * - No $date: equal runs give equal bytes.
 */
import { ColumnWalk } from './merge.ts';
import { isLevel, type SignalInfo } from './signal.ts';
import type { Column } from './trace.ts';

const CHUNK_LENGTH = 1 << 16;
const NANOSECONDS = 1e9;

export interface VcdOptions {
  /** What stands under $version: the tool and its version. */
  readonly version: string;
  /** The end of the run, where the last time stamp stands. */
  readonly endSeconds: number;
}

/** The text in chunks of about 64 KiB. */
export function* vcdOf(columns: readonly Column[], options: VcdOptions): Generator<string> {
  const codes = columns.map((_, index) => identifierCode(index));
  let chunk = `$version ${oneLine(options.version)} $end\n$timescale 1 ns $end\n`;
  chunk += declarations(scopeTree(columns, codes));
  chunk += '$enddefinitions $end\n';
  const writers = columns.map((column, index) => writerOf(column, codes[index]!));
  const shown = new Float64Array(columns.length).fill(Number.NaN);

  const walk = new ColumnWalk(columns);
  let hasMore = walk.next();
  let nanoseconds = hasMore ? Math.round(walk.seconds * NANOSECONDS) : 0;
  let isFirst = true;
  while (hasMore) {
    const present = nanoseconds;
    while (hasMore && nanoseconds === present) {
      hasMore = walk.next();
      if (hasMore) nanoseconds = Math.round(walk.seconds * NANOSECONDS);
    }
    // The walk is one instant ahead, or at the end of all.
    const reached = hasMore ? walk.before : walk.at;
    chunk += `#${present}\n${isFirst ? '$dumpvars\n' : ''}`;
    for (let index = 0; index < columns.length; index += 1) {
      const value = reached[index]! < 0 ? Number.NaN : columns[index]!.valueAt(reached[index]!);
      const isSame = value === shown[index] || (Number.isNaN(value) && Number.isNaN(shown[index]!));
      if (isSame && !(isFirst && wireWordsOf(columns[index]!.signal) !== undefined)) continue;
      shown[index] = value;
      chunk += writers[index]!(value);
    }
    if (isFirst) chunk += '$end\n';
    isFirst = false;
    if (chunk.length >= CHUNK_LENGTH) {
      yield chunk;
      chunk = '';
    }
  }
  const end = Math.round(options.endSeconds * NANOSECONDS);
  yield isFirst || end > nanoseconds ? `${chunk}#${end}\n` : chunk;
}

/** `!` to `~`, then two characters, and so on. */
export function identifierCode(index: number): string {
  let code = '';
  for (let rest = index; rest >= 0; rest = Math.floor(rest / 94) - 1) code += String.fromCharCode(33 + (rest % 94));
  return code;
}

/** The values that a wire has in this format, by the words of a line; a wave viewer draws them as edges. */
const wireValues: Readonly<Record<string, string>> = { low: '0', high: '1', floating: 'z' };

/** What a signal's values are on a wire; undefined for one that is no wire. */
function wireWordsOf(signal: SignalInfo): readonly string[] | undefined {
  if (isLevel(signal)) return ['0', '1'];
  const words = signal.modes?.map((word) => wireValues[word]);
  return words?.every((word) => word !== undefined) === true && words.length > 1 ? words : undefined;
}

function writerOf(column: Column, code: string): (value: number) => string {
  const { signal } = column;
  const wireWords = wireWordsOf(signal);
  if (wireWords !== undefined) return (value) => `${wireWords[Math.round(value)] ?? 'x'}${code}\n`;
  if (signal.modes) {
    const words = signal.modes.map((word) => word.replace(/\s/gu, '_'));
    return (value) => `s${words[value] ?? ''} ${code}\n`;
  }
  return (value) => `r${value} ${code}\n`;
}

interface Scope {
  readonly variables: string[];
  readonly scopes: Map<string, Scope>;
  readonly taken: Set<string>;
}

function scopeTree(columns: readonly Column[], codes: readonly string[]): Scope {
  const root = emptyScope();
  columns.forEach(({ signal }, index) => {
    const names = signal.name.split('.').map(identifier);
    const last = names.pop()!;
    let scope = root;
    for (const name of names) {
      if (!scope.scopes.has(name)) scope.scopes.set(name, emptyScope());
      scope = scope.scopes.get(name)!;
    }
    const type = wireWordsOf(signal) ? 'wire 1' : signal.modes ? 'string 1' : 'real 64';
    scope.variables.push(`$var ${type} ${codes[index]!} ${free(last, scope.taken)} $end\n`);
  });
  return root;
}

function emptyScope(): Scope {
  return { variables: [], scopes: new Map(), taken: new Set() };
}

/** The declarations in a scope, then those of the scopes in it. Names have few dots, so that the recursion is shallow. */
function declarations(scope: Scope): string {
  const inner = [...scope.scopes].map(
    ([name, one]) => `$scope module ${name} $end\n${declarations(one)}$upscope $end\n`,
  );
  return scope.variables.join('') + inner.join('');
}

/** A simple identifier of the standard: letters, digits, `_` and `$`, not starting with a digit or `$`. */
function identifier(name: string): string {
  const plain = name.replace(/[^A-Za-z0-9_$]/gu, '_');
  return /^[A-Za-z_]/.test(plain) ? plain : `_${plain}`;
}

function free(name: string, taken: Set<string>): string {
  let candidate = name;
  for (let count = 2; taken.has(candidate); count += 1) candidate = `${name}_${count}`;
  taken.add(candidate);
  return candidate;
}

/** Text in which no keyword of the format can stand. */
function oneLine(text: string): string {
  return text.replace(/[\s$\p{Cc}]+/gu, ' ').trim();
}
