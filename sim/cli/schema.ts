/** `jackstand schema`: prints the JSON Schemas of bench files, scenario files and results. */
import { z } from 'zod';
import { partKinds } from '../../models/index.ts';
import { benchFileSchema } from '../bench/load-bench.ts';
import type { DescribedPart } from '../bench/schema.ts';
import { stepSchema } from '../bench/script.ts';
import type { PartKind } from '../kernel/part.ts';
import { scenarioFileSchema } from '../verdict/load-scenario.ts';
import { Exit } from './exit.ts';
import type { Streams } from './streams.ts';
import { resultSchema } from './verdict-json.ts';

export function schema(of: string, streams: Streams): number {
  const chosen =
    of === 'bench' ? benchFileSchema : of === 'scenario' ? scenarioFileSchema(anyStepSchema()) : resultSchema;
  const json = z.toJSONSchema(chosen, { io: 'input' }) as JsonSchema;
  streams.out(`${JSON.stringify(of === 'bench' ? withLikes(json) : json, null, 2)}\n`);
  return Exit.holds;
}

type JsonSchema = { readonly [key: string]: unknown };

/** Copies are made before a bench meets its schema: in the file itself a member of a family may be `like` another. */
function withLikes(bench: JsonSchema): JsonSchema {
  const sections = Object.entries(bench.properties as Readonly<Record<string, JsonSchema>>).map(([name, section]) => {
    const member = section.additionalProperties;
    if (typeof member !== 'object' || member === null) return [name, section];
    const copy = withoutRequired(member) as { readonly properties?: JsonSchema };
    const like = {
      type: 'string',
      description: 'name of the one beside it that it copies; its own keys win',
      examples: ['left'],
    };
    const choice = {
      if: { required: ['like'] },
      then: { ...copy, properties: { like, ...copy.properties } },
      else: member,
    };
    return [name, { ...section, additionalProperties: choice }];
  });
  return { ...bench, properties: Object.fromEntries(sections) };
}

/** A schema that allows any part of what it describes. */
function withoutRequired(schema: unknown): unknown {
  if (Array.isArray(schema)) return schema.map(withoutRequired);
  if (typeof schema !== 'object' || schema === null) return schema;
  return Object.fromEntries(
    Object.entries(schema)
      .filter(([key, value]) => !(key === 'required' && Array.isArray(value)))
      .map(([key, value]) => [key, withoutRequired(value)]),
  );
}

/**
 * A scenario's steps depend on its bench; this one allows what any bench does. Members of families stand under one
 * usual name; under all other names anything is allowed, as a bench may give them.
 */
function anyStepSchema(): z.ZodType {
  const { shape } = stepSchema(usualParts()) as unknown as z.ZodObject<{ fault: z.ZodOptional<z.ZodObject> }>;
  const faults = shape.fault.unwrap();
  const fault = z.looseObject(faults.shape).describe(faults.description ?? '');
  return z.looseObject({ ...shape, fault: fault.optional() });
}

/** One part for each name that a bench may have; kinds that stand for each other under one name are laid together. */
function usualParts(): DescribedPart[] {
  const kinds = new Map<string, PartKind>();
  for (const kind of partKinds) {
    const last = kind.at.split('.').at(-1)!;
    const key = last === '*' ? 'left' : last;
    const name = kind.partName === undefined ? key : kind.partName(key);
    const other = kinds.get(name);
    const steps = { ...other?.steps, ...kind.steps };
    kinds.set(name, {
      ...kind,
      faults: { ...other?.faults, ...kind.faults },
      ...(Object.keys(steps).length === 0 ? {} : { steps }),
    });
  }
  return [...kinds].map(([name, kind]) => ({ name, kind, path: [], parameters: {} }));
}
