/**
 * What may happen to a bench, one thing at a time: a hand or foot on what the parts offer as a handle, or a fault. Instants
 * and levels are whole numbers of milliseconds and per cent, so that a step as written in a file is the step that was run.
 */
import type { DescribedPart } from '../../bench/schema.ts';
import type { Handle } from '../../kernel/part.ts';
import type { Stream } from '../../kernel/random.ts';

export type Gene =
  | { readonly at: number; readonly part: string; readonly lever: number }
  | { readonly at: number; readonly part: string; readonly choice: string }
  | { readonly at: number; readonly part: string; readonly isOn: boolean }
  /** `lasts` in milliseconds; null for good. */
  | { readonly at: number; readonly part: string; readonly fault: string; readonly lasts: number | null };

/** A step as a scenario file has it. */
export type WrittenStep = Readonly<Record<string, unknown>> & { readonly at: string };

/** All that may happen to these parts. */
export interface Vocabulary {
  readonly levers: readonly (Extract<Handle, { kind: 'lever' }> & { readonly part: string })[];
  readonly choices: readonly { readonly part: string; readonly form: string; readonly among: readonly string[] }[];
  readonly switches: readonly (Extract<Handle, { kind: 'switch' }> & { readonly part: string })[];
  readonly faults: readonly { readonly part: string; readonly fault: string }[];
}

export function vocabularyOf(parts: readonly DescribedPart[], hasFaults: boolean): Vocabulary {
  const handles = parts.flatMap(({ name, kind, parameters }) =>
    kind.handle === undefined ? [] : [{ part: name, handle: kind.handle, parameters }],
  );
  return {
    levers: handles.flatMap(({ part, handle }) => (handle.kind === 'lever' ? [{ ...handle, part }] : [])),
    choices: handles.flatMap(({ part, handle, parameters }) => {
      if (handle.kind !== 'choice') return [];
      const among = (parameters as Readonly<Record<string, unknown>>)[handle.choices];
      return Array.isArray(among) ? [{ part, form: handle.form, among: among.map(String) }] : [];
    }),
    switches: handles.flatMap(({ part, handle }) => (handle.kind === 'switch' ? [{ ...handle, part }] : [])),
    faults: hasFaults
      ? parts.flatMap(({ name, kind }) => Object.keys(kind.faults).map((fault) => ({ part: name, fault })))
      : [],
  };
}

/** How often each kind of thing is tried, where the bench has it. */
const WEIGHTS = { levers: 5, choices: 1, switches: 1, faults: 4 } as const;
const LASTS_LONGEST = 3000;

/** Something at random, before `untilMilliseconds`. */
export function randomGene(vocabulary: Vocabulary, stream: Stream, untilMilliseconds: number): Gene {
  const kinds = (Object.keys(WEIGHTS) as (keyof Vocabulary)[]).filter((kind) => vocabulary[kind].length > 0);
  const total = kinds.reduce((sum, kind) => sum + WEIGHTS[kind], 0);
  let mark = stream.uniform() * total;
  const kind = kinds.find((one) => {
    mark -= WEIGHTS[one];
    return mark < 0;
  });
  const at = Math.floor(stream.uniform() * untilMilliseconds);
  switch (kind ?? kinds.at(-1)!) {
    case 'levers': {
      const { part, least, most } = oneOf(vocabulary.levers, stream);
      return { at, part, lever: randomLevel(least, most, stream) };
    }
    case 'choices': {
      const { part, among } = oneOf(vocabulary.choices, stream);
      return { at, part, choice: oneOf(among, stream) };
    }
    case 'switches':
      return { at, part: oneOf(vocabulary.switches, stream).part, isOn: stream.uniform() < 0.5 };
    default: {
      const { part, fault } = oneOf(vocabulary.faults, stream);
      return { at, part, fault, lasts: randomLasting(stream) };
    }
  }
}

/** In per cent: an end of the lever's way half of the time, since that is where limits are. */
export function randomLevel(least: number, most: number, stream: Stream): number {
  const share = stream.uniform();
  if (share < 0.25) return Math.round(100 * least);
  if (share < 0.5) return Math.round(100 * most);
  return Math.round(100 * (least + (most - least) * stream.uniform()));
}

/** For good, or from 10 ms on, each decade alike. */
export function randomLasting(stream: Stream): number | null {
  return stream.uniform() < 0.4 ? null : Math.round(10 * (LASTS_LONGEST / 10) ** stream.uniform());
}

export function oneOf<T>(among: readonly T[], stream: Stream): T {
  return among[Math.floor(stream.uniform() * among.length)]!;
}

export function stepOf(gene: Gene, vocabulary: Vocabulary): WrittenStep {
  const at = secondsText(gene.at);
  if ('fault' in gene) {
    const step = { at, fault: { [gene.part]: gene.fault } };
    return gene.lasts === null ? step : { ...step, for: secondsText(gene.lasts) };
  }
  if ('lever' in gene) {
    const { form, beside } = vocabulary.levers.find(({ part }) => part === gene.part)!;
    return { at, [gene.part]: { [form]: `${gene.lever} %`, ...beside } };
  }
  if ('choice' in gene) {
    const { form } = vocabulary.choices.find(({ part }) => part === gene.part)!;
    return { at, [gene.part]: { [form]: gene.choice } };
  }
  const { on, off } = vocabulary.switches.find(({ part }) => part === gene.part)!;
  return { at, [gene.part]: gene.isOn ? on : off };
}

/** Milliseconds as a file has them: `1.25 s`. */
export function secondsText(milliseconds: number): string {
  return `${milliseconds / 1000} s`;
}
