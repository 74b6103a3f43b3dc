/** `jackstand schema`: prints the JSON Schemas of bench files, scenario files and results. */
import { z } from 'zod';
import { partKinds } from '../../models/index.ts';
import { benchFileSchema } from '../bench/load-bench.ts';
import { stepSchema } from '../bench/script.ts';
import { scenarioFileSchema } from '../verdict/load-scenario.ts';
import { Exit } from './exit.ts';
import type { Streams } from './streams.ts';
import { resultSchema } from './verdict-json.ts';

export function schema(of: string, streams: Streams): number {
  const chosen =
    of === 'bench' ? benchFileSchema : of === 'scenario' ? scenarioFileSchema(anyStepSchema()) : resultSchema;
  streams.out(`${JSON.stringify(z.toJSONSchema(chosen, { io: 'input' }), null, 2)}\n`);
  return Exit.holds;
}

/** A scenario's steps depend on its bench; this one allows what any bench does, under the usual part names. */
function anyStepSchema(): z.ZodType {
  const parts = partKinds.map((kind) => ({
    name: kind.at.split('.').at(-1) === '*' ? 'left' : kind.at.split('.').at(-1)!,
    kind,
    path: [],
    parameters: {},
  }));
  return z.looseObject((stepSchema(parts) as unknown as z.ZodObject).shape);
}
