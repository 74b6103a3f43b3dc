/** The script of a scenario: its steps as a schema made from the parts of a bench, and as acts for the kernel. */
import { z } from 'zod';
import type { Fault, StepForm } from '../kernel/part.ts';
import { nominal, type Quantity, seconds } from '../units/index.ts';
import type { Act } from './assemble.ts';
import type { DescribedPart } from './schema.ts';

/** One step as validated: `at`, what is done to which part, and for faults how long. */
export type Step = Readonly<Record<string, unknown>> & { readonly at: Quantity; readonly for?: Quantity };

export function stepSchema(parts: readonly DescribedPart[]): z.ZodType<Step> {
  const shape: Record<string, z.ZodType> = {
    at: seconds({ min: 0, max: 1e6, means: 'when it is done', example: '2 s' }),
    fault: faultSchema(parts).optional(),
    for: seconds({
      above: 0,
      max: 1e6,
      means: 'how long a fault lasts; without it, to the end',
      example: '200 ms',
    }).optional(),
  };
  for (const part of parts) {
    const forms = formsOf(part);
    if (forms !== undefined) shape[part.name] = formsSchema(forms).describe(`what is done to ${part.name}`).optional();
  }
  return z.strictObject(shape) as unknown as z.ZodType<Step>;
}

/** The words of a part on this bench: where it is set to one of several choices, those that the bench has. */
function formsOf({ kind, parameters }: DescribedPart): Readonly<Record<string, StepForm>> | undefined {
  const { steps, handle } = kind;
  if (steps === undefined || handle?.kind !== 'choice') return steps;
  const { [handle.choices]: choices } = parameters as Readonly<Record<string, [string, ...string[]] | undefined>>;
  // The schema for all benches has no choices of its own.
  if (choices === undefined) return steps;
  const form = steps[handle.form]!;
  const schema = z.strictObject({ [handle.form]: z.enum(choices).describe('one that this bench has') });
  return { ...steps, [handle.form]: { ...form, schema } };
}

function formsSchema(forms: Readonly<Record<string, StepForm>>): z.ZodType {
  const bare = Object.entries(forms).flatMap(([name, form]) => (form.bare === true ? [name] : []));
  const options: z.ZodType[] = [
    ...(bare.length > 0
      ? [
          z
            .enum(bare as [string, ...string[]])
            .describe(bare.map((name) => `${name}: ${forms[name]!.means}`).join('; ')),
        ]
      : []),
    ...Object.values(forms).flatMap((form) => (form.schema === undefined ? [] : [form.schema.describe(form.means)])),
  ];
  return options.length === 1 ? options[0]! : z.union(options as [z.ZodType, z.ZodType]);
}

function faultSchema(parts: readonly DescribedPart[]): z.ZodType {
  const shape = parts.flatMap(({ name, kind }): [string, z.ZodType][] => {
    const names = Object.keys(kind.faults);
    if (names.length === 0) return [];
    const plain = z.enum(names as [string, ...string[]]).describe(
      Object.entries(kind.faults)
        .map(([fault, { means }]) => `${fault}: ${means}`)
        .join('; '),
    );
    const amounts = Object.entries(kind.faults).flatMap(([fault, { amount }]) =>
      amount === undefined ? [] : [z.strictObject({ [fault]: amount.schema })],
    );
    const what = `what fails in ${name}`;
    return [[name, (amounts.length === 0 ? plain : z.union([plain, ...amounts])).optional().describe(what)]];
  });
  return z.strictObject(Object.fromEntries(shape)).describe('a fault: part and what fails');
}

/** What is wrong with a step's keys together: the key to point at, and why. */
export interface StepMistake {
  readonly key: string | undefined;
  readonly says: string;
}

/** Exactly one thing is done in a step, and only a fault lasts. */
export function stepMistakes(step: Step): StepMistake[] {
  const doers = Object.keys(step).filter((key) => key !== 'at' && key !== 'for' && step[key] !== undefined);
  const mistakes: StepMistake[] = [];
  if (doers.length === 0) mistakes.push({ key: undefined, says: 'this step does nothing; name a part, or a fault' });
  if (doers.length > 1) mistakes.push({ key: doers[1], says: 'a step does one thing; write another step for this' });
  if (step.for !== undefined && !doers.includes('fault'))
    mistakes.push({ key: 'for', says: 'only a fault lasts; undo other steps by a step of their own' });
  const faulted = step.fault === undefined ? undefined : Object.keys(step.fault as object).length;
  if (faulted !== undefined && faulted !== 1)
    mistakes.push({ key: 'fault', says: 'a fault step names exactly one part' });
  return mistakes;
}

/** The acts of checked steps, sorted by time; steps at one instant keep the order of the file. */
export function actsOf(steps: readonly Step[], parts: readonly DescribedPart[]): Act[] {
  const acts = steps.flatMap((step): Act[] => {
    const at = step.at.value;
    if (step.fault !== undefined) return faultActs(step, parts);
    const part = Object.keys(step).find((key) => key !== 'at' && key !== 'for' && step[key] !== undefined)!;
    const said = step[part];
    if (typeof said === 'string') return [{ seconds: at, part, form: said, contents: undefined }];
    const { steps: forms } = parts.find(({ name }) => name === part)!.kind;
    const form = Object.keys(forms!).find((name) => name in (said as object))!;
    return [{ seconds: at, part, form, contents: nominal(said) }];
  });
  return acts
    .map((act, index) => ({ act, index }))
    .sort((a, b) => a.act.seconds - b.act.seconds || a.index - b.index)
    .map(({ act }) => act);
}

function faultActs(step: Step, parts: readonly DescribedPart[]): Act[] {
  const [part, said] = Object.entries(step.fault as Readonly<Record<string, unknown>>).find(
    ([, value]) => value !== undefined,
  )!;
  const { faults } = parts.find(({ name }) => name === part)!.kind;
  const name = typeof said === 'string' ? said : Object.keys(said as object)[0]!;
  const fault = faults[name] as Fault;
  const amount =
    typeof said === 'string' ? (fault.amount?.default ?? 0) : (said as Readonly<Record<string, Quantity>>)[name]!.value;
  const enter: Act = { seconds: step.at.value, part, event: fault.enter, amount };
  return step.for === undefined
    ? [enter]
    : [enter, { seconds: step.at.value + step.for.value, part, event: fault.leave, amount: 0 }];
}
