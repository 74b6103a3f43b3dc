/** The functions that a module in WebAssembly may import, by their names there, with their parameters and results. */
import { VALUE } from './read.ts';

const I = VALUE.i32;
export const INTERFACE = {
  read_count: { parameters: [], results: [I] },
  set_compare: { parameters: [I], results: [] },
  read_pin: { parameters: [I], results: [I] },
  set_pin: { parameters: [I, I], results: [] },
  read_pulse: { parameters: [], results: [I] },
  time_us: { parameters: [], results: [I] },
  print: { parameters: [I, I], results: [] },
  read_byte: { parameters: [], results: [I] },
  fail: { parameters: [I, I], results: [] },
} as const;

export type InterfaceName = keyof typeof INTERFACE;
