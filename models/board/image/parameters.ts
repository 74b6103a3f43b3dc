/** What a bench file says of a program that is there as a compiled image: the file, the chip, and what its pins are wired to. */
import { z } from 'zod';
import type { FilesTaken } from '../../../sim/kernel/part.ts';
import { count, hertz, perSecond, type Settled, seconds } from '../../../sim/units/index.ts';
import { CHIPS } from '../avr/chips.ts';
import { type Image, readImage } from '../avr/image/image.ts';
import { fileMistake } from './mistakes.ts';
import { ANALOG_PINS, OUTPUT_PINS, PORT_PINS } from './pins.ts';

/** The chips whose peripherals are modelled. */
const CHIP_CHOICES = ['atmega328p', 'atmega168p', 'atmega88p'] as const;
const portPin = z.enum(PORT_PINS);

export const parameters = z.strictObject({
  kind: z.literal('image').describe('a compiled program, run instruction by instruction'),
  file: z
    .string()
    .min(1)
    .max(1000)
    .describe('Intel HEX or ELF file, as seen from the file that names it')
    .meta({ examples: ['firmware/cart.elf'] }),
  eeprom: z
    .string()
    .min(1)
    .max(1000)
    .optional()
    .describe("Intel HEX file with the EEPROM's contents")
    .meta({ examples: ['firmware/cart.eep'] }),
  chip: z.enum(CHIP_CHOICES).prefault('atmega328p').describe('chip that the program was built for'),
  pins: z
    .strictObject({
      pwm: z
        .enum([...OUTPUT_PINS, ...PORT_PINS])
        .prefault('OC1A')
        .describe('pin that the controllers listen to'),
      pedal: z.enum(ANALOG_PINS).prefault('ADC0').describe("analogue input that the pedal's signal is on"),
      receiver: portPin.optional().describe("pin that a radio receiver's pulse line is on"),
      selector: z
        .strictObject({
          reverse: portPin.optional().describe('pin of the contact for reverse'),
          neutral: portPin.optional().describe('pin of the contact for neutral'),
          forward: portPin.optional().describe('pin of the contact for forward'),
          low: portPin.optional().describe('pin of the contact for the low range'),
          middle: portPin.optional().describe('pin of the contact for the middle range'),
          high: portPin.optional().describe('pin of the contact for the high range'),
        })
        .optional()
        .describe("pins that the selector's contacts close to ground; the program must switch their pull-ups on"),
    })
    .prefault({})
    .describe("what the chip's pins are wired to"),
  fuses: z
    .strictObject({
      'clock-by-8': z.boolean().prefault(false).describe('CKDIV8 is programmed: the clock starts divided by 8'),
      'watchdog-on': z.boolean().prefault(false).describe('WDTON is programmed: the watchdog always runs'),
    })
    .prefault({})
    .describe('fuses that the program meets; start-up time and brown-out are those of the board'),
  'control-pass': z
    .strictObject({
      deadline: seconds({
        above: 0,
        max: 10,
        means: 'longest time from one control pass to the next',
        example: '20 ms',
      }),
      mark: z
        .enum(['compare', 'conversion'])
        .prefault('compare')
        .describe('what the program does once in each pass: write the compare register, or start a conversion'),
    })
    .optional()
    .describe('how often the program must come round'),
  'watchdog-clock': hertz({
    min: 60e3,
    max: 300e3,
    means: "the watchdog's own oscillator",
    example: '128 kHz ± 10 %',
  }).prefault('128 kHz ± 10 %'),
  'wake-up': count({
    min: 0,
    max: 65_536,
    means: 'clock cycles that the oscillator takes to start on waking from deep sleep',
    example: 16_384,
  }).prefault(16_384),
  'serial-rate': perSecond({
    above: 0,
    max: 2e6,
    means: 'bits a second of what is sent to the program; without it, the rate that the program listens at',
    example: '9600 1/s',
  }).optional(),
});

/** As validated, with the image that was read when the bench was loaded. A function, as trees of parameters are copied for each run. */
export type Parameters = Settled<z.output<typeof parameters>> & { readonly image: () => Image };

export const FILE_KEYS = ['file', 'eeprom'] as const;
export const KEPT_KEYS = ['eeprom'] as const;

/** Reads the image; whatever is wrong with it is told at the key that names the file. */
export function takeFiles(given: z.output<typeof parameters>, contents: ReadonlyMap<string, Uint8Array>): FilesTaken {
  const { image, mistakes } = readImage(
    contents.get('file') ?? new Uint8Array(0),
    CHIPS[given.chip],
    contents.get('eeprom'),
  );
  return {
    parameters: image === undefined ? given : { ...given, image: () => image },
    mistakes: mistakes.map((mistake) => fileMistake(mistake.isOfEeprom === true ? 'eeprom' : 'file', mistake)),
  };
}
