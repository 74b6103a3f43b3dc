/**
 * What was done by hand, as the steps of a scenario file. Every act goes through the text that is saved later, so that a
 * replay of the file meets the very same instants and numbers.
 */
import { stringify } from 'yaml';
import type { Act } from '../bench/assemble.ts';
import type { DescribedPart } from '../bench/schema.ts';
import { actsOf, type Step, stepSchema } from '../bench/script.ts';

/** A step as it stands in a file. */
export type WrittenStep = Readonly<Record<string, unknown>> & { readonly at: string; readonly for?: string };

/** An instant that a file can state in so many decimals, strictly after another one. */
export function instantAfter(seconds: number, decimals: number): string {
  const perSecond = 10 ** decimals;
  let count = Math.floor(seconds * perSecond) + 1;
  // Where rounding has put the next instant on the present one, or a hair before it, the one after is meant.
  while (count / perSecond - seconds < 1e-9) count += 1;
  return `${withoutZeros((count / perSecond).toFixed(decimals))} s`;
}

/** A length that leads from one written instant to another. */
export function lengthBetween(from: string, to: string, decimals: number): string {
  const seconds = Number.parseFloat(to) - Number.parseFloat(from);
  return `${withoutZeros(Math.max(seconds, 10 ** -decimals).toFixed(decimals))} s`;
}

function withoutZeros(decimal: string): string {
  return decimal.includes('.') ? decimal.replace(/0+$/, '').replace(/\.$/, '') : decimal;
}

/** Instant of the latest act of these steps, the ends of faults included. */
export function actsOfWritten(steps: readonly WrittenStep[], parts: readonly DescribedPart[]): Act[] {
  const schema = stepSchema(parts);
  return actsOf(
    steps.map((step): Step => schema.parse(step)),
    parts,
  );
}

export interface SavedDrive {
  readonly title: string;
  /** The bench file as seen from where this one is saved. */
  readonly bench: string;
  readonly overrides: Readonly<Record<string, unknown>>;
  readonly seed: number;
  readonly duration: string;
  readonly steps: readonly WrittenStep[];
  readonly expect: readonly unknown[];
  readonly digest: string;
}

/** The scenario file: one line a step. */
export function scenarioText(drive: SavedDrive): string {
  const flow = (value: unknown): string =>
    stringify(value, { collectionStyle: 'flow', lineWidth: 0, flowCollectionPadding: true }).trimEnd();
  const list = (items: readonly unknown[]): string => items.map((item) => `  - ${flow(item)}\n`).join('');
  return [
    `# Driven by hand with jackstand drive. Digest of the run: ${drive.digest}\n`,
    `scenario: ${flow(drive.title)}\n`,
    `bench: ${flow(drive.bench)}\n`,
    Object.keys(drive.overrides).length === 0 ? '' : `with: ${flow(drive.overrides)}\n`,
    `seed: ${drive.seed}\n`,
    `duration: ${drive.duration}\n`,
    drive.steps.length === 0 ? '' : `steps:\n${list(drive.steps)}`,
    drive.expect.length === 0 ? '' : `expect:\n${list(drive.expect)}`,
  ].join('');
}
