/**
 * Names of the chip's pins, as a bench file gives them: port and bit, or what the pin is for.
 *
 * Source: 8161D chapter 1 (pin configurations) and chapter 13 (alternate functions).
 */
export const OUTPUT_PINS = ['OC0A', 'OC0B', 'OC1A', 'OC1B', 'OC2A', 'OC2B'] as const;
export const ANALOG_PINS = ['ADC0', 'ADC1', 'ADC2', 'ADC3', 'ADC4', 'ADC5', 'ADC6', 'ADC7'] as const;
// biome-ignore format: a list in rows
export const PORT_PINS = [
  'PB0', 'PB1', 'PB2', 'PB3', 'PB4', 'PB5', 'PC0', 'PC1', 'PC2', 'PC3', 'PC4', 'PC5',
  'PD0', 'PD1', 'PD2', 'PD3', 'PD4', 'PD5', 'PD6', 'PD7',
] as const;

export interface Pin {
  /** B, C, D numbered from 0. */
  readonly port: number;
  readonly bit: number;
}

/** Where each compare output comes out, and of which timer it is. */
const OUTPUTS: Readonly<
  Record<(typeof OUTPUT_PINS)[number], Pin & { readonly timer: number; readonly channel: 'A' | 'B' }>
> = {
  OC0A: { port: 2, bit: 6, timer: 0, channel: 'A' },
  OC0B: { port: 2, bit: 5, timer: 0, channel: 'B' },
  OC1A: { port: 0, bit: 1, timer: 1, channel: 'A' },
  OC1B: { port: 0, bit: 2, timer: 1, channel: 'B' },
  OC2A: { port: 0, bit: 3, timer: 2, channel: 'A' },
  OC2B: { port: 2, bit: 3, timer: 2, channel: 'B' },
};

export function pinOf(name: string): Pin {
  const output = OUTPUTS[name as keyof typeof OUTPUTS];
  return output ?? { port: 'BCD'.indexOf(name[1]!), bit: Number(name[2]) };
}

/** The timer channel whose output a pin can be; undefined where the program can only switch it by itself. */
export function channelOf(
  name: string,
): { readonly timer: number; readonly channel: 'A' | 'B'; readonly register: string } | undefined {
  const { port, bit } = pinOf(name);
  const found = Object.entries(OUTPUTS).find(([, one]) => one.port === port && one.bit === bit);
  if (found === undefined) return undefined;
  const [outputName, { timer, channel }] = found;
  return { timer, channel, register: outputName.replace('OC', 'OCR') };
}

export function portName({ port, bit }: Pin): string {
  return `P${'BCD'[port]}${bit}`;
}
