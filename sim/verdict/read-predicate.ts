/**
 * Reads the text of a statement about signals:
 *
 *     either    = both { "or" both }
 *     both      = single { "and" single }
 *     single    = "not" single | "(" either ")" | statement
 *     statement = SIGNAL ( "<" | "<=" | ">" | ">=" | "=" | "!=" ) ( QUANTITY | SIGNAL )
 *               | SIGNAL "between" QUANTITY "and" QUANTITY
 *               | SIGNAL "is" [ "not" ] MODE
 *               | SIGNAL ( "rises" | "falls" )
 *
 * `=` with a tolerance, `left.pulse = 1500 us ± 20 us`, means within that tolerance. A mistake in the grammar ends the
 * reading; all others are collected.
 */
import { distance } from 'fastest-levenshtein';
import type { SignalInfo } from '../trace/signal.ts';
import { parseQuantity, type Quantity } from '../units/index.ts';
import type { ExpectationFault, ExpectationKey, ExpectationMistake } from './mistake.ts';
import { negation, type Predicate, type Relation } from './predicate.ts';
import { onPaper } from './track.ts';

const LENGTH_MOST = 1000;
const DEPTH_MOST = 40;
const RELATIONS: Readonly<Record<string, Relation>> = {
  '<': '<',
  '<=': '<=',
  '≤': '<=',
  '>': '>',
  '>=': '>=',
  '≥': '>=',
  '=': '=',
  '!=': '!=',
  '≠': '!=',
};
const AFTER_SIGNAL = ['<', '<=', '>', '>=', '=', '!=', 'is', 'between', 'rises', 'falls'];
const WORDS = new Set(['and', 'or', 'not', 'is', 'between', 'rises', 'falls']);
const NAME = /[\p{L}_][\p{L}\p{N}_-]*(?:\.[\p{L}\p{N}_-]+)*/uy;
const OPERATOR = /[<>=!≤≥≠]+/uy;
/** A number and what follows it, up to a joining word, a parenthesis or another comparison. */
const QUANTITY = /[-+\u2212.\d](?:(?!\s+(?:and|or|not)(?![\p{L}\p{N}_.-]))[^()<>=!≤≥≠])*/uy;

/** How signals are found: by exact name, and all names for suggestions. */
export interface Signals {
  readonly lookup: (name: string) => SignalInfo | undefined;
  readonly names: readonly string[];
}

export type Read = { readonly predicate: Predicate } | { readonly mistakes: readonly ExpectationMistake[] };

export function readPredicate(text: string, key: ExpectationKey, signals: Signals): Read {
  if (text.length > LENGTH_MOST) {
    return { mistakes: [{ code: 'too-long', most: LENGTH_MOST, key, offset: 0, length: text.length }] };
  }
  const reader = new Reader(text, key, signals);
  try {
    const predicate = reader.readAll();
    return reader.mistakes.length === 0 ? { predicate } : { mistakes: reader.mistakes };
  } catch (thrown) {
    if (thrown === STOP) return { mistakes: reader.mistakes };
    throw thrown;
  }
}

/** Thrown to leave the recursion at a mistake in the grammar; never leaves this file. */
const STOP = Symbol('mistake in the grammar');

class Reader {
  readonly mistakes: ExpectationMistake[] = [];
  private readonly text: string;
  private readonly key: ExpectationKey;
  private readonly signals: Signals;
  private offset = 0;
  private depth = 0;

  constructor(text: string, key: ExpectationKey, signals: Signals) {
    this.text = text;
    this.key = key;
    this.signals = signals;
  }

  readAll(): Predicate {
    const predicate = this.either();
    if (this.peek() !== '') this.stop(['and', 'or', 'the end']);
    return predicate;
  }

  private either(): Predicate {
    return this.joined('or', () => this.joined('and', () => this.single()));
  }

  private joined(word: 'and' | 'or', part: () => Predicate): Predicate {
    const parts = [part()];
    while (this.take(word)) parts.push(part());
    return parts.length === 1 ? parts[0]! : { kind: word, of: parts };
  }

  private single(): Predicate {
    this.depth += 1;
    if (this.depth > DEPTH_MOST) {
      this.note({ code: 'too-deep', most: DEPTH_MOST }, this.offset, 1);
      throw STOP;
    }
    const predicate = this.take('not') ? negation(this.single()) : this.take('(') ? this.enclosed() : this.statement();
    this.depth -= 1;
    return predicate;
  }

  private enclosed(): Predicate {
    const predicate = this.either();
    if (!this.take(')')) this.stop([')', 'and', 'or']);
    return predicate;
  }

  private statement(): Predicate {
    const at = this.start();
    const name = this.match(NAME);
    if (name === undefined || WORDS.has(name)) {
      this.offset = at;
      this.stop(['a signal', 'not', '(']);
    }
    const signal = this.signal(name, at);
    if (this.take('is')) return this.mode(name, signal);
    const isBetween = this.take('between');
    const direction = !isBetween && (['rises', 'falls'] as const).find((word) => this.take(word));
    if (isBetween) return this.range(name, signal, at);
    if (direction) {
      this.refuseModes(signal, at, name.length);
      return { kind: 'monotonic', signal: name, dimension: signal?.dimension ?? 'count', direction };
    }
    return this.comparison(name, signal, at);
  }

  private mode(name: string, signal: SignalInfo | undefined): Predicate {
    const isDenied = this.take('not');
    const at = this.start();
    const mode = this.match(NAME);
    if (mode === undefined) this.stop(isDenied ? ['a mode'] : ['a mode', 'not']);
    if (signal && !signal.modes)
      this.note({ code: 'no-modes', signal: name, dimension: signal.dimension }, at, mode.length);
    const allowed = modesOf(signal);
    if (signal?.modes && !allowed.includes(mode)) {
      this.note(
        { code: 'unknown-mode', signal: name, mode, allowed, nearest: nearest(mode, allowed) },
        at,
        mode.length,
      );
    }
    const gaugeName = signal?.gauges && Object.hasOwn(signal.gauges, mode) ? signal.gauges[mode] : undefined;
    const gaugeInfo = gaugeName === undefined ? undefined : this.signals.lookup(gaugeName);
    const gauge = gaugeInfo ? { signal: gaugeInfo.name, dimension: gaugeInfo.dimension } : null;
    const predicate: Predicate = { kind: 'mode', signal: name, mode, gauge };
    return isDenied ? negation(predicate) : predicate;
  }

  private range(name: string, signal: SignalInfo | undefined, nameAt: number): Predicate {
    this.refuseModes(signal, nameAt, name.length);
    const at = this.start();
    const low = this.quantity(name, signal, false);
    if (!this.take('and')) this.stop(['and']);
    const high = this.quantity(name, signal, false);
    if (low && high && low.value > high.value) {
      this.note({ code: 'range-reversed', signal: name, low: low.text, high: high.text }, at, this.offset - at);
    }
    return {
      kind: 'between',
      signal: name,
      dimension: signal?.dimension ?? 'count',
      low: low?.value ?? 0,
      high: high?.value ?? 0,
    };
  }

  private comparison(name: string, signal: SignalInfo | undefined, nameAt: number): Predicate {
    const at = this.start();
    const operator = this.match(OPERATOR);
    const relation = operator !== undefined && Object.hasOwn(RELATIONS, operator) ? RELATIONS[operator] : undefined;
    if (relation === undefined) {
      this.offset = at;
      this.stop(AFTER_SIGNAL);
    }
    this.refuseModes(signal, nameAt, name.length);
    const dimension = signal?.dimension ?? 'count';
    const otherAt = this.start();
    const other = WORDS.has(this.peek()) ? undefined : this.match(NAME);
    if (other !== undefined) return this.signalComparison(name, signal, relation, other, otherAt);
    if (!this.isNext(QUANTITY)) this.stop(['a number with its unit', 'a signal']);
    const quantity = this.quantity(name, signal, relation === '=' || relation === '!=');
    const value = quantity?.value ?? 0;
    if (!quantity || quantity.tolerance === 0) return { kind: 'compare', signal: name, dimension, relation, value };
    const near: Predicate = {
      kind: 'between',
      signal: name,
      dimension,
      low: onPaper(value - quantity.tolerance),
      high: onPaper(value + quantity.tolerance),
    };
    return relation === '=' ? near : negation(near);
  }

  private signalComparison(
    name: string,
    signal: SignalInfo | undefined,
    relation: Relation,
    other: string,
    at: number,
  ): Predicate {
    // A word where a number is due on a mode signal is a mode, and refused as such already.
    if (!signal?.modes) {
      const info = this.signal(other, at);
      this.refuseModes(info, at, other.length);
      if (signal && info && !info.modes && info.dimension !== signal.dimension) {
        const facts = { signal: name, dimension: signal.dimension, other, otherDimension: info.dimension };
        this.note({ code: 'dimensions-differ', ...facts }, at, other.length);
      }
    }
    return { kind: 'compare-signals', signal: name, dimension: signal?.dimension ?? 'count', relation, other };
  }

  private quantity(name: string, signal: SignalInfo | undefined, mayHaveTolerance: boolean): Quantity | undefined {
    const at = this.start();
    const text = this.match(QUANTITY)?.trimEnd();
    if (text === undefined) this.stop(['a number with its unit']);
    // Neither an unknown signal nor a mode signal has a dimension to read the number in; both are refused already.
    if (!signal || signal.modes) return undefined;
    const parsed = parseQuantity(text, signal.dimension);
    if ('mistake' in parsed) {
      this.note({ code: 'quantity', signal: name, mistake: parsed.mistake }, at, text.length);
      return undefined;
    }
    if (parsed.quantity.tolerance !== 0 && !mayHaveTolerance) {
      this.note({ code: 'tolerance-unwanted', signal: name, text }, at, text.length);
    }
    return parsed.quantity;
  }

  private signal(name: string, at: number): SignalInfo | undefined {
    const info = this.signals.lookup(name);
    if (!info) this.note({ code: 'unknown-signal', name, nearest: nearest(name, this.signals.names) }, at, name.length);
    return info;
  }

  private refuseModes(signal: SignalInfo | undefined, at: number, length: number): void {
    if (signal?.modes) this.note({ code: 'has-modes', signal: signal.name, allowed: modesOf(signal) }, at, length);
  }

  private note(fault: ExpectationFault, offset: number, length: number): void {
    this.mistakes.push({ ...fault, key: this.key, offset, length });
  }

  private stop(expected: readonly string[]): never {
    const at = this.start();
    const found = this.peek();
    this.note({ code: 'syntax', found, expected }, at, found.length);
    throw STOP;
  }

  /** Offset of the next thing after blanks. */
  private start(): number {
    while (this.offset < this.text.length && /\s/u.test(this.text[this.offset]!)) this.offset += 1;
    return this.offset;
  }

  private match(pattern: RegExp): string | undefined {
    pattern.lastIndex = this.start();
    const found = pattern.exec(this.text)?.[0];
    if (found !== undefined) this.offset += found.length;
    return found;
  }

  private isNext(pattern: RegExp): boolean {
    pattern.lastIndex = this.start();
    return pattern.test(this.text);
  }

  /** The next word, operator or character, without taking it; empty at the end. */
  private peek(): string {
    const at = this.start();
    const found =
      this.match(NAME) ?? this.match(OPERATOR) ?? this.match(QUANTITY)?.trimEnd() ?? this.text.slice(at, at + 1);
    this.offset = at;
    return found;
  }

  private take(word: string): boolean {
    if (this.peek() !== word) return false;
    this.offset = this.start() + word.length;
    return true;
  }
}

/** Every mode that may be asked for: the words themselves and what they are nested in. */
function modesOf(signal: SignalInfo | undefined): readonly string[] {
  const all = new Set<string>();
  for (const word of signal?.modes ?? []) {
    const levels = word.split('.');
    for (let count = 1; count <= levels.length; count += 1) all.add(levels.slice(0, count).join('.'));
  }
  return [...all];
}

/** The nearest three of the allowed words, best first, as far as they are near at all. */
function nearest(word: string, allowed: readonly string[]): readonly string[] {
  const reach = Math.max(2, Math.floor(word.length / 3));
  return allowed
    .map((candidate) => ({ candidate, steps: distance(word.toLowerCase(), candidate.toLowerCase()) }))
    .filter(({ steps }) => steps <= reach)
    .sort((a, b) => a.steps - b.steps || (a.candidate < b.candidate ? -1 : 1))
    .slice(0, 3)
    .map(({ candidate }) => candidate);
}
