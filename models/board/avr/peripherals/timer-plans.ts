/**
 * Where the three timers have their registers, vectors and pins, and what their mode bits mean.
 *
 * Source: 8161D tables 14-8, 14-9 (Timer0), 15-4, 15-5 (Timer1), 17-8, 17-9 (Timer2) and the pin tables of chapter 13.
 */
import type { PwmMode } from '../../../pwm-timer.ts';
import { R, V } from './registers.ts';

/** How a timer counts. `normal` and `ctc` are no PWM: their compare registers work at once. */
export type Wave = 'normal' | 'ctc' | PwmMode;
export const WAVES = [
  'normal',
  'ctc',
  'fast',
  'phase-correct',
  'phase-and-frequency-correct',
] as const satisfies readonly Wave[];

export interface WaveRow {
  readonly wave: Wave;
  /** The value that the counter turns at: a number, or the register that holds it. */
  readonly top: number | 'ocra' | 'icr';
}

export interface TimerPlan {
  readonly name: string;
  readonly index: 0 | 1 | 2;
  readonly max: 0xff | 0xffff;
  /** Low bytes of the registers; those of the 16-bit timer have their high byte one address above. */
  readonly tccra: number;
  readonly tccrb: number;
  readonly tccrc: number;
  readonly tcnt: number;
  readonly ocra: number;
  readonly ocrb: number;
  readonly icr: number;
  readonly timsk: number;
  readonly tifr: number;
  readonly vectors: {
    readonly overflow: number;
    readonly compareA: number;
    readonly compareB: number;
    readonly capture: number;
  };
  /** By CS bits; 0 is stopped, -1 counts falling and -2 rising edges on pin T0 or T1. */
  readonly prescalers: readonly number[];
  /** [port, bit] with ports numbered B, C, D. */
  readonly pinA: readonly [number, number];
  readonly pinB: readonly [number, number];
  readonly waves: readonly WaveRow[];
  /** Auto-trigger numbers (ADTS) of its flags; -1 for none (8161D table 23-6). */
  readonly triggers: {
    readonly overflow: number;
    readonly compareA: number;
    readonly compareB: number;
    readonly capture: number;
  };
  /** Bit of PRR that switches it off. */
  readonly powerBit: number;
}

const fast = (top: WaveRow['top']): WaveRow => ({ wave: 'fast', top });
const phase = (top: WaveRow['top']): WaveRow => ({ wave: 'phase-correct', top });
const frequency = (top: WaveRow['top']): WaveRow => ({ wave: 'phase-and-frequency-correct', top });
const ctc = (top: WaveRow['top']): WaveRow => ({ wave: 'ctc', top });
const normal = (top: number): WaveRow => ({ wave: 'normal', top });

/** Reserved modes count like the normal one: what a chip does in them is not published. */
const WAVES_8: readonly WaveRow[] = [
  normal(0xff),
  phase(0xff),
  ctc('ocra'),
  fast(0xff),
  normal(0xff),
  phase('ocra'),
  normal(0xff),
  fast('ocra'),
];
const WAVES_16: readonly WaveRow[] = [
  normal(0xffff),
  phase(0xff),
  phase(0x1ff),
  phase(0x3ff),
  ctc('ocra'),
  fast(0xff),
  fast(0x1ff),
  fast(0x3ff),
  frequency('icr'),
  frequency('ocra'),
  phase('icr'),
  phase('ocra'),
  ctc('icr'),
  normal(0xffff),
  fast('icr'),
  fast('ocra'),
];
const WITH_PIN = [0, 1, 8, 64, 256, 1024, -1, -2];

export const TIMER_PLANS: readonly TimerPlan[] = [
  {
    name: 'Timer0',
    index: 0,
    max: 0xff,
    tccra: R.TCCR0A,
    tccrb: R.TCCR0B,
    tccrc: -1,
    tcnt: R.TCNT0,
    ocra: R.OCR0A,
    ocrb: R.OCR0B,
    icr: -1,
    timsk: R.TIMSK0,
    tifr: R.TIFR0,
    vectors: { overflow: V.TIMER0_OVF, compareA: V.TIMER0_COMPA, compareB: V.TIMER0_COMPB, capture: -1 },
    prescalers: WITH_PIN,
    pinA: [2, 6],
    pinB: [2, 5],
    waves: WAVES_8,
    triggers: { overflow: 4, compareA: 3, compareB: -1, capture: -1 },
    powerBit: 5,
  },
  {
    name: 'Timer1',
    index: 1,
    max: 0xffff,
    tccra: R.TCCR1A,
    tccrb: R.TCCR1B,
    tccrc: R.TCCR1C,
    tcnt: R.TCNT1L,
    ocra: R.OCR1AL,
    ocrb: R.OCR1BL,
    icr: R.ICR1L,
    timsk: R.TIMSK1,
    tifr: R.TIFR1,
    vectors: { overflow: V.TIMER1_OVF, compareA: V.TIMER1_COMPA, compareB: V.TIMER1_COMPB, capture: V.TIMER1_CAPT },
    prescalers: WITH_PIN,
    pinA: [0, 1],
    pinB: [0, 2],
    waves: WAVES_16,
    triggers: { overflow: 6, compareA: -1, compareB: 5, capture: 7 },
    powerBit: 3,
  },
  {
    name: 'Timer2',
    index: 2,
    max: 0xff,
    tccra: R.TCCR2A,
    tccrb: R.TCCR2B,
    tccrc: -1,
    tcnt: R.TCNT2,
    ocra: R.OCR2A,
    ocrb: R.OCR2B,
    icr: -1,
    timsk: R.TIMSK2,
    tifr: R.TIFR2,
    vectors: { overflow: V.TIMER2_OVF, compareA: V.TIMER2_COMPA, compareB: V.TIMER2_COMPB, capture: -1 },
    prescalers: [0, 1, 8, 32, 64, 128, 256, 1024],
    pinA: [0, 3],
    pinB: [2, 3],
    waves: WAVES_8,
    triggers: { overflow: -1, compareA: -1, compareB: -1, capture: -1 },
    powerBit: 6,
  },
];
