/** What a bench file says of firmware logic that is there as a module: the file, its control pass, and what its pins are wired to. */
import { z } from 'zod';
import type { FilesTaken } from '../../../sim/kernel/part.ts';
import { count, perSecond, type Settled, seconds } from '../../../sim/units/index.ts';
import { PINS, type Program } from './program.ts';
import { readModule } from './read.ts';

const pin = z
  .int()
  .min(0)
  .max(PINS - 1)
  .meta({ examples: [2] });

export const parameters = z.strictObject({
  kind: z
    .literal('module')
    .describe('firmware logic as WebAssembly, TypeScript or JavaScript, called every control pass'),
  file: z
    .string()
    .min(1)
    .max(1000)
    .describe(
      'WebAssembly (.wasm), TypeScript (.ts) or JavaScript (.js, .mjs) file, as seen from the file that names it',
    )
    .meta({ examples: ['firmware/cart-pass.wasm'] }),
  every: seconds({ above: 0, max: 1, means: 'time from one control pass to the next', example: '10 ms' }).prefault(
    '10 ms',
  ),
  pins: z
    .strictObject({
      selector: z
        .strictObject({
          reverse: pin.optional().describe('number of the pin of the contact for reverse'),
          neutral: pin.optional().describe('number of the pin of the contact for neutral'),
          forward: pin.optional().describe('number of the pin of the contact for forward'),
          low: pin.optional().describe('number of the pin of the contact for the low range'),
          middle: pin.optional().describe('number of the pin of the contact for the middle range'),
          high: pin.optional().describe('number of the pin of the contact for the high range'),
        })
        .optional()
        .describe("numbers of the pins that the selector's contacts close to ground; an open one is pulled up"),
    })
    .prefault({})
    .describe('what the numbers by which the module reads its pins stand for'),
  'steps-most': count({
    min: 1000,
    max: 100_000_000,
    means: 'calls and turns of loops after which a pass counts as one that never ends',
    example: 1_000_000,
  }).prefault(1_000_000),
  'serial-rate': perSecond({
    above: 0,
    max: 2e6,
    means: 'bits a second at which what the module prints goes out, and what is sent to it comes in',
    example: '9600 1/s',
  }).prefault('9600 1/s'),
});

/** As validated, with the module that was read when the bench was loaded. A function, as trees of parameters are copied for each run. */
export type Parameters = Settled<z.output<typeof parameters>> & { readonly module: () => Program };

export const FILE_KEYS = ['file'] as const;

/** Reads the module; each mistake in it is told with its own place, at the key that names the file. */
export function takeFiles(given: z.output<typeof parameters>, contents: ReadonlyMap<string, Uint8Array>): FilesTaken {
  const { program, mistakes } = readModule(given.file, contents.get('file') ?? new Uint8Array(0));
  const name = given.file.split(/[\\/]/).at(-1)!;
  return {
    parameters: program === undefined ? given : { ...given, module: () => program },
    mistakes: mistakes.map(({ at, says }) => ({
      key: 'file',
      // `12:5` is a line and a column, as compilers write them.
      ...(at === undefined ? {} : { at: /^\d/.test(at) ? `${name}:${at}` : `${name}, ${at}` }),
      says,
    })),
  };
}
