/**
 * The JSON Schemas: every property says what it is and shows a value; an independent validator takes what is shipped
 * and refuses what is broken.
 */
import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { findFiles, kindOf } from '../../sim/cli/find-files.ts';
import { call, shipped } from './capture.ts';

type Json = { readonly [key: string]: unknown };

async function schemaOf(of: string): Promise<Json> {
  const { status, out, err } = await call(['schema', of]);
  expect({ status, err }).toEqual({ status: 0, err: '' });
  return JSON.parse(out) as Json;
}

interface Property {
  readonly path: string;
  readonly schema: Json;
}

/** Every property in a schema, at any depth, under the names that lead to it. */
function propertiesOf(schema: unknown, path: readonly string[] = []): Property[] {
  if (typeof schema !== 'object' || schema === null) return [];
  if (Array.isArray(schema)) return schema.flatMap((one) => propertiesOf(one, path));
  return Object.entries(schema as Json).flatMap(([key, value]) =>
    key === 'properties'
      ? Object.entries(value as Record<string, Json>).flatMap(([name, one]) => [
          { path: [...path, name].join('.'), schema: one },
          ...propertiesOf(one, [...path, name]),
        ])
      : propertiesOf(value, path),
  );
}

/** Whether somebody who reads it sees a value: an example, its choices, what it is without it, or those of what is in it. */
function showsValue(schema: unknown): boolean {
  if (typeof schema !== 'object' || schema === null) return false;
  const {
    type,
    examples,
    enum: choices,
    const: only,
    default: usual,
    properties,
    additionalProperties,
  } = schema as Json;
  if ([examples, choices, only, usual, properties].some((one) => one !== undefined) || type === 'boolean') return true;
  if (typeof additionalProperties === 'object') return true;
  const { items, prefixItems, anyOf, oneOf } = schema as Json;
  return [items, ...((prefixItems ?? anyOf ?? oneOf ?? []) as unknown[])].some(showsValue);
}

describe.each(['bench', 'scenario', 'result'])('schema: %s', (of) => {
  test('every property says what it is', async () => {
    const properties = propertiesOf(await schemaOf(of));
    expect(properties.length).toBeGreaterThan(60);
    expect(
      properties.filter(({ schema }) => !/\w{3}/.test(String(schema.description ?? ''))).map(({ path }) => path),
    ).toEqual([]);
  });

  test('every property shows a value', async () => {
    const properties = propertiesOf(await schemaOf(of));
    expect(properties.filter(({ schema }) => !showsValue(schema)).map(({ path }) => path)).toEqual([]);
  });
});

describe('schema: by an independent validator', async () => {
  const ajv = new Ajv2020({ strict: false });
  const validators = {
    bench: ajv.compile(await schemaOf('bench')),
    scenario: ajv.compile(await schemaOf('scenario')),
  };
  const { files } = await findFiles(['scenarios'], ['bench', 'scenario']);

  test.each(files)('%s fits', (file) => {
    const validate = validators[kindOf(file) as 'bench' | 'scenario'];
    const fits = validate(parse(readFileSync(file, 'utf8')));
    expect(fits ? [] : validate.errors).toEqual([]);
  });

  test.each([
    ['bench', 'bench.yaml', 'neutral: 1500 us', 'nuetral: 1500 us'],
    ['bench', 'bench.yaml', 'kind: hall', 'kind: hell'],
    ['bench', 'bench.yaml', 'bits: 10', 'bits: [10]'],
    ['bench', 'bench.yaml', 'bench:', 'bunch:'],
    ['scenario', 'cold-start.yaml', 'duration: 6 s', 'duration: true'],
    ['scenario', 'cold-start.yaml', 'seed: 7', 'sead: 7'],
    ['scenario', 'cold-start.yaml', 'battery: connect', 'battery: explode'],
  ] as const)('a %s is refused: %s with %j as %j', (of, file, good, bad) => {
    const text = readFileSync(`${shipped}/${file}`, 'utf8');
    expect(text).toContain(good);
    expect(validators[of](parse(text.replace(good, bad)))).toBe(false);
  });
});
