/** The step by which a script sends text to the serial port of a program, whatever kind of program it is. */
import { z } from 'zod';
import type { StepForm } from '../../sim/kernel/part.ts';

export const steps = {
  receive: {
    means: 'send text to the serial port of the program',
    schema: z.strictObject({
      receive: z
        .string()
        .min(1)
        .max(200)
        .describe('text, one byte a character')
        .meta({ examples: ['throttle 40'] }),
    }),
  },
} as const satisfies Readonly<Record<string, StepForm>>;

/** Text that waits to be sent, or to be read; what comes beyond is lost. */
export const TEXT_MOST = 512;
