/**
 * The timers of the chip whose datasheet the models follow, and the registers that set them up as a PWM output.
 *
 * Source: ATmega48A/PA/88A/PA/168A/PA/328/P datasheet DS40002061A (the same tables in 8161D): waveform modes in tables
 * 14-8, 15-4 and 17-8, clock selects in 14-9, 15-5 and 17-9, compare output modes in 14-3, 15-2 and 17-3 (COMnx1:0 = 2
 * clears the output at the match: non-inverting); places of the bits in the register summary; pins in the pin
 * configurations. Modes with the top in a compare register give their pulse on channel B, as A holds the top.
 */
import type { PwmMode } from './pwm-timer.ts';

/** Where a mode takes its top from: a fixed number, or a register. */
export type TopSource = 'fixed' | 'input-capture' | 'compare-a';

export interface WaveformMode {
  /** WGMn bits as a number, as the datasheet's table counts them. */
  readonly number: number;
  readonly mode: PwmMode;
  readonly topFrom: TopSource;
  /** Bits of the counter that the mode uses: 8, 9, 10 with a fixed top; those of the counter where a register sets it. */
  readonly bits: 8 | 9 | 10 | 16;
}

export interface ChipTimer {
  /** The n in TCCRnA. */
  readonly number: 0 | 1 | 2;
  readonly name: string;
  readonly counterBits: 8 | 16;
  /** Divider by clock select, CSn2:0; the other selects stop the timer or count an external clock. */
  readonly prescalers: readonly { readonly divider: number; readonly select: number }[];
  readonly modes: readonly WaveformMode[];
  readonly pins: { readonly a: string; readonly b: string };
  /** What is lost or changed when this timer makes the pulse. */
  readonly sideEffect?: { readonly code: 'time-base'; readonly says: string };
}

const DIVIDERS = [1, 8, 64, 256, 1024].map((divider, index) => ({ divider, select: index + 1 }));
/** Timer 2 has two more, and so other selects for the same dividers. */
const DIVIDERS_OF_TIMER_2 = [1, 8, 32, 64, 128, 256, 1024].map((divider, index) => ({ divider, select: index + 1 }));

const MODES_OF_8_BITS: readonly WaveformMode[] = [
  { number: 1, mode: 'phase-correct', topFrom: 'fixed', bits: 8 },
  { number: 3, mode: 'fast', topFrom: 'fixed', bits: 8 },
  { number: 5, mode: 'phase-correct', topFrom: 'compare-a', bits: 8 },
  { number: 7, mode: 'fast', topFrom: 'compare-a', bits: 8 },
];

const MODES_OF_16_BITS: readonly WaveformMode[] = [
  { number: 1, mode: 'phase-correct', topFrom: 'fixed', bits: 8 },
  { number: 2, mode: 'phase-correct', topFrom: 'fixed', bits: 9 },
  { number: 3, mode: 'phase-correct', topFrom: 'fixed', bits: 10 },
  { number: 5, mode: 'fast', topFrom: 'fixed', bits: 8 },
  { number: 6, mode: 'fast', topFrom: 'fixed', bits: 9 },
  { number: 7, mode: 'fast', topFrom: 'fixed', bits: 10 },
  { number: 8, mode: 'phase-and-frequency-correct', topFrom: 'input-capture', bits: 16 },
  { number: 9, mode: 'phase-and-frequency-correct', topFrom: 'compare-a', bits: 16 },
  { number: 10, mode: 'phase-correct', topFrom: 'input-capture', bits: 16 },
  { number: 11, mode: 'phase-correct', topFrom: 'compare-a', bits: 16 },
  { number: 14, mode: 'fast', topFrom: 'input-capture', bits: 16 },
  { number: 15, mode: 'fast', topFrom: 'compare-a', bits: 16 },
];

export const CHIP_TIMERS: readonly ChipTimer[] = [
  {
    number: 0,
    name: 'Timer0',
    counterBits: 8,
    prescalers: DIVIDERS,
    modes: MODES_OF_8_BITS,
    pins: { a: 'PD6', b: 'PD5' },
    // Common practice, no source: the datasheet gives the timer no such job, start-up libraries do.
    sideEffect: {
      code: 'time-base',
      says: 'start-up code commonly keeps its milliseconds on Timer0: its delays and timeouts then run wrong',
    },
  },
  {
    number: 1,
    name: 'Timer1',
    counterBits: 16,
    prescalers: DIVIDERS,
    modes: MODES_OF_16_BITS,
    pins: { a: 'PB1', b: 'PB2' },
  },
  {
    number: 2,
    name: 'Timer2',
    counterBits: 8,
    prescalers: DIVIDERS_OF_TIMER_2,
    modes: MODES_OF_8_BITS,
    pins: { a: 'PB3', b: 'PD3' },
  },
];

/** One register and what to write to it; `bits` names those that are set, for control registers. */
export interface RegisterValue {
  readonly register: string;
  readonly value: number;
  readonly bits: readonly string[];
  readonly says?: string;
}

export interface PwmSetup {
  readonly timer: ChipTimer;
  readonly waveform: WaveformMode;
  readonly prescaler: number;
  /** The value that the counter counts to. */
  readonly top: number;
}

export const channelOf = ({ topFrom }: WaveformMode): 'A' | 'B' => (topFrom === 'compare-a' ? 'B' : 'A');

/** Name of the register that the firmware writes its compare values to. */
export const compareRegister = ({ timer, waveform }: PwmSetup): string => `OCR${timer.number}${channelOf(waveform)}`;

export const outputPin = ({ timer, waveform }: PwmSetup): string =>
  channelOf(waveform) === 'A' ? timer.pins.a : timer.pins.b;

/** What to write, in this order, for a non-inverted output with this compare value to begin with. */
export function registersOf(setup: PwmSetup, compare: number): RegisterValue[] {
  const { timer, waveform, prescaler, top } = setup;
  const n = timer.number;
  const { number: wave } = waveform;
  const select = timer.prescalers.find(({ divider }) => divider === prescaler)!.select;
  const channel = channelOf(waveform);
  // Bits of the waveform number: the two low ones in TCCRnA, the others from bit 3 of TCCRnB on.
  const low = [0, 1].filter((bit) => wave & (1 << bit));
  const high = [2, 3].filter((bit) => wave & (1 << bit));
  const control = {
    register: `TCCR${n}A`,
    value: (channel === 'A' ? 0x80 : 0x20) | (wave & 3),
    bits: [`COM${n}${channel}1`, ...low.reverse().map((bit) => `WGM${n}${bit}`)],
    says: 'output cleared at the match: non-inverting',
  };
  const clock = {
    register: `TCCR${n}B`,
    value: ((wave >> 2) << 3) | select,
    bits: high
      .reverse()
      .map((bit) => `WGM${n}${bit}`)
      .concat(selectBits(n, select)),
    says: `clock divided by ${prescaler}; written last, as it starts the counter`,
  };
  const topRegister = waveform.topFrom === 'input-capture' ? `ICR${n}` : `OCR${n}A`;
  const [port, bit] = [outputPin(setup)[1]!, outputPin(setup)[2]!];
  return [
    ...(waveform.topFrom === 'fixed' ? [] : [{ register: topRegister, value: top, bits: [], says: 'top' }]),
    { register: compareRegister(setup), value: compare, bits: [], says: 'compare; neutral to begin with' },
    control,
    {
      register: `DDR${port}`,
      value: 1 << Number(bit),
      bits: [`DD${port}${bit}`],
      says: `pin ${outputPin(setup)} is an output; the other bits stay`,
    },
    clock,
  ];
}

function selectBits(timer: number, select: number): string[] {
  return [2, 1, 0].filter((bit) => select & (1 << bit)).map((bit) => `CS${timer}${bit}`);
}
