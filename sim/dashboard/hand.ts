/** Keyboard in place of hands and feet: what a key does to a part, as a step of the script. */

import type { DescribedPart } from '../bench/schema.ts';
import type { Handle } from '../kernel/part.ts';
import type { WrittenStep } from './live-script.ts';

/** A part that can be worked, with where its handle stands. */
export interface Handled<Kind extends Handle['kind'] = Handle['kind']> {
  readonly part: DescribedPart;
  readonly handle: Extract<Handle, { readonly kind: Kind }>;
}

export function handledParts<Kind extends Handle['kind']>(
  parts: readonly DescribedPart[],
  kind: Kind,
): Handled<Kind>[] {
  return parts.flatMap((part) => {
    const { handle } = part.kind;
    return handle?.kind === kind ? [{ part, handle: handle as Handled<Kind>['handle'] }] : [];
  });
}

/** The lever to a position, cut to its range. */
export function leverStep({ part, handle }: Handled<'lever'>, at: string, position: number): WrittenStep {
  const percent = Math.round(Math.min(Math.max(position, handle.least), handle.most) * 100);
  return { at, [part.name]: { [handle.form]: `${percent} %`, ...handle.beside } };
}

export function choiceStep({ part, handle }: Handled<'choice'>, at: string, word: string): WrittenStep {
  return { at, [part.name]: { [handle.form]: word } };
}

export function choicesOf({ part, handle }: Handled<'choice'>): readonly string[] {
  return (part.parameters as Readonly<Record<string, readonly string[]>>)[handle.choices] ?? [];
}

export function switchStep({ part, handle }: Handled<'switch'>, at: string, isOn: boolean): WrittenStep {
  return { at, [part.name]: isOn ? handle.on : handle.off };
}

export function faultStep(part: string, fault: string, at: string): WrittenStep {
  return { at, fault: { [part]: fault } };
}

export interface FaultChoice {
  readonly part: string;
  readonly fault: string;
  readonly means: string;
  /** The step that entered it and has no end yet. */
  readonly openStep: number | undefined;
}

/** Every fault of every part, and whether the script has it standing. */
export function faultChoices(parts: readonly DescribedPart[], steps: readonly WrittenStep[]): FaultChoice[] {
  return parts.flatMap(({ name, kind }) =>
    Object.entries(kind.faults).map(([fault, { means }]): FaultChoice => {
      const index = steps.findLastIndex(
        (step) => (step.fault as Readonly<Record<string, unknown>> | undefined)?.[name] === fault,
      );
      return { part: name, fault, means, openStep: index >= 0 && steps[index]!.for === undefined ? index : undefined };
    }),
  );
}

export interface ConstantChoice {
  /** As an override names it: `board.firmware.output.0`. */
  readonly path: string;
  /** As the file would have it. */
  readonly value: string;
}

/** The constants that parts offer for trying, with their present values. */
export function constantChoices(parts: readonly DescribedPart[]): ConstantChoice[] {
  return parts.flatMap(({ path, kind, parameters }) =>
    (kind.constants ?? []).flatMap((constant): ConstantChoice[] => {
      const value = constant
        .split('.')
        .reduce<unknown>((node, key) => (node as Readonly<Record<string, unknown>> | undefined)?.[key], parameters);
      if (value === undefined) return [];
      const text = typeof value === 'object' && value !== null && 'text' in value ? String(value.text) : String(value);
      return [{ path: [...path, constant].join('.'), value: text }];
    }),
  );
}
