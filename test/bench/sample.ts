/** A small bench form and helpers for the tests of file reading: expected places are marked in the text with « and ». */
import { z } from 'zod';
import { resolveLikes } from '../../sim/bench/like.ts';
import { overlay } from '../../sim/bench/overlay.ts';
import type { Problem } from '../../sim/bench/problem.ts';
import { parseSource } from '../../sim/bench/source.ts';
import type { TreeMap } from '../../sim/bench/tree.ts';
import { validate } from '../../sim/bench/validate.ts';
import { hertz, range, seconds, volts, window } from '../../sim/units/index.ts';

const time = seconds({ means: 'a time', example: '1 ms' });
const dividers = [1, 8, 64, 256, 1024];

const prescaler = z.number().check(({ value, issues }) => {
  if (dividers.includes(value)) return;
  const refusal = {
    says: 'this timer has no such divider',
    allowed: dividers,
    nearest: '256 (one frame then lasts 8.192 ms at 8 MHz)',
  };
  issues.push({ code: 'custom', input: value, params: refusal });
});

export const sampleSchema = z.strictObject({
  bench: z.string(),
  pedal: z.discriminatedUnion('kind', [
    z.strictObject({
      kind: z.literal('hall'),
      rest: volts({ min: 0, max: '5 V', means: 'signal at rest', example: '0.9 V' }),
      ratiometric: z.boolean(),
    }),
    z.strictObject({ kind: z.literal('switch'), bounces: z.int().min(0).max(8) }),
  ]),
  board: z.strictObject({
    clock: hertz({ means: 'clock', example: '8 MHz' }),
    pwm: z.strictObject({ bits: z.literal([8, 16]), mode: z.enum(['fast', 'phase-correct']), prescaler }),
    output: z.tuple([z.int(), z.int()]),
  }),
  controllers: z.record(
    z.string().regex(/^[a-z]+$/),
    z.strictObject({
      pulse: z.strictObject({ neutral: time, full: time, valid: range(time) }),
      window: window('time'),
      reverse: z.enum(['brake-first', 'direct', 'none']),
    }),
  ),
  note: z.union([z.string().max(20), z.array(z.string()).min(1)]).optional(),
});

export const sampleText = `# An orchard cart on stands.
bench: orchard cart
pedal: { kind: hall, rest: 0.91 V ± 40 mV, ratiometric: true }
board:
  clock: 8 MHz ± 1 %
  pwm: { bits: 8, mode: fast, prescaler: 256 }
  output: [46, 61]
controllers:
  left:
    pulse: { neutral: 1500 us, full: 2000 us, valid: [700 us, 2400 us] }
    window: ± 20 us
    reverse: brake-first
  right: { like: left }
`;

/** The sample with each of `changes` made, a pair of what to find and what to put there. */
export function changed(...changes: readonly (readonly [find: string, put: string])[]): string {
  return changes.reduce((text, [find, put]) => {
    if (!text.includes(find)) throw new Error(`the sample does not hold ${find}`);
    return text.replace(find, put);
  }, sampleText);
}

/** A text without its marks, and what each pair of marks enclosed as `line:column-endColumn`, in order. */
export function unmarked(text: string): { readonly text: string; readonly places: readonly string[] } {
  const places: string[] = [];
  const lines = text.split('\n').map((line, index) => {
    let rest = line;
    for (let open = rest.indexOf('«'); open !== -1; open = rest.indexOf('«')) {
      const close = rest.indexOf('»') - 1;
      rest = rest.replace('«', '').replace('»', '');
      places.push(`${index + 1}:${open + 1}-${close + 1}`);
    }
    return rest;
  });
  return { text: lines.join('\n'), places };
}

export function placesOf(problems: readonly Problem[]): string[] {
  return problems.map(({ line, column, endColumn }) => `${line}:${column}-${endColumn}`);
}

/** All that is wrong with a bench, and with the overrides of a scenario laid over it. */
export function mistakesIn(benchText: string, scenarioText?: string): readonly Problem[] {
  const bench = parseSource('bench.yaml', benchText);
  if (bench.tree === undefined) return bench.problems;
  const scenario = scenarioText === undefined ? undefined : parseSource('scenario.yaml', scenarioText);
  const overrides = scenario?.tree?.entries.get('with');
  const over = overrides?.shape === 'map' ? overlay(bench.tree, overrides) : { tree: bench.tree, problems: [] };
  const like = resolveLikes(over.tree);
  const outcome = validate(sampleSchema, like.tree);
  return [
    ...bench.problems,
    ...(scenario?.problems ?? []),
    ...over.problems,
    ...like.problems,
    ...('problems' in outcome ? outcome.problems : []),
  ];
}

export function treeOfText(text: string): TreeMap {
  const { tree, problems } = parseSource('bench.yaml', text);
  if (tree === undefined) throw new Error(JSON.stringify(problems));
  return tree;
}
