/**
 * A scenario file like another one, with some things changed: how a campaign hands over what it found, so that `run`
 * shows it again. All that the campaign does not change is taken from the original as it stands there.
 */
import { dirname, isAbsolute, join, relative } from 'node:path';
import { stringify } from 'yaml';
import { readSource } from '../bench/source.ts';
import { plainOf } from '../bench/tree.ts';
import { parseQuantity } from '../units/index.ts';

export interface Variant {
  /** Why it exists, as comment lines at its head. */
  readonly comment: string;
  readonly title: string;
  /** Values laid over the bench beside those of the original. */
  readonly overrides?: Readonly<Record<string, unknown>>;
  /** In place of the original's, or beside them. */
  readonly steps?: readonly unknown[];
  readonly moreSteps?: readonly unknown[];
  readonly expect?: readonly unknown[];
  readonly duration?: string;
  readonly seed?: number;
}

/** The text of the variant, for a file that will lie at `target`. `original` is a scenario, or a bench. */
export function variantText(original: string, target: string, variant: Variant): string {
  const { tree } = readSource(original);
  const contents = (tree === undefined ? {} : plainOf(tree)) as Readonly<Record<string, unknown>>;
  const isScenario = 'scenario' in contents;
  const named = isScenario ? String(contents.bench) : original;
  const bench = isScenario && !isAbsolute(named) ? join(dirname(original), named) : named;
  const overrides = { ...((isScenario ? contents.with : undefined) as object | undefined), ...variant.overrides };
  const list = (items: readonly unknown[]): string => items.map((item) => `  - ${flow(item)}\n`).join('');
  const own = variant.steps ?? ((isScenario ? contents.steps : undefined) as readonly unknown[] | undefined) ?? [];
  const steps = inOrder([...own, ...(variant.moreSteps ?? [])]);
  const expect = variant.expect ?? ((isScenario ? contents.expect : undefined) as readonly unknown[] | undefined) ?? [];
  return [
    ...variant.comment.split('\n').map((line) => `# ${line}\n`),
    `scenario: ${flow(variant.title)}\n`,
    `bench: ${flow(isAbsolute(bench) ? bench : relative(dirname(target), bench))}\n`,
    Object.keys(overrides).length === 0
      ? ''
      : `with:\n${Object.entries(overrides)
          .map(([path, value]) => `  ${flow(path)}: ${flow(value)}\n`)
          .join('')}`,
    `seed: ${flow(variant.seed ?? contents.seed ?? 1)}\n`,
    `duration: ${flow(variant.duration ?? contents.duration)}\n`,
    steps.length === 0 ? '' : `steps:\n${list(steps)}`,
    expect.length === 0 ? '' : `expect:\n${list(expect)}`,
  ].join('');
}

/** By their instants, as one reads them; those of one instant stay as they were. */
function inOrder(steps: readonly unknown[]): unknown[] {
  const instant = (step: unknown): number => {
    const { at } = step as { readonly at?: unknown };
    const parsed = parseQuantity(String(at), 'time');
    return 'quantity' in parsed ? parsed.quantity.value : 0;
  };
  return [...steps].sort((a, b) => instant(a) - instant(b));
}

/** As one line of a file: `{ at: 2 s, pedal: { press: 100 % } }`. */
export function flow(value: unknown): string {
  return stringify(value, { collectionStyle: 'flow', lineWidth: 0, flowCollectionPadding: true }).trimEnd();
}
