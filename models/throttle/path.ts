/**
 * The way of the throttle's wish, as ranges: from the pedal through converter, mapping law and timer to the pulse that
 * each controller measures, over all tolerances of the bench at once.
 *
 *     counts   = (rest or full volts +- noise) x 2^bits / reference + offset; the rail cancels where both follow it
 *     compares = mapping law over these counts, in its own integers
 *     pulse    = ticks(compare) x prescaler / board clock x (1 + clock error of the controller), cut to its resolution
 *
 * The ranges enclose every steady state within the tolerances, while the rail regulates. Noise is taken as four standard
 * deviations, which one sample in sixteen thousand passes. A filter in the firmware stops short by less than 2^filter
 * counts, so that much is added on both sides.
 */
import type { PartKind } from '../../sim/kernel/part.ts';
import { isQuantity, nominal, type Quantity } from '../../sim/units/index.ts';
import { countOf } from '../adc.ts';
import { measuredSeconds } from '../controller/pulse.ts';
import { exactly, hull, type Interval, within } from './interval.ts';

/** What this needs of a part. */
export interface DescribedPart {
  readonly name: string;
  readonly kind: PartKind;
  readonly path: readonly string[];
  readonly parameters: unknown;
}

/** What one controller asks of its pulse, in seconds. */
export interface ControllerNeeds {
  readonly name: string;
  /** Where its parameters stand in the bench file. */
  readonly path: string;
  readonly neutral: Interval;
  readonly full: Interval;
  readonly reverse: Interval | null;
  /** Where the pulse at rest must lie, whatever the tolerances of neutral and window are: for arming and for standing still. */
  readonly rest: Interval;
  readonly valid: Interval;
  readonly period: Interval;
  readonly clockError: Interval;
  readonly resolution: Interval;
  /** The same at their middles, to count drive steps. */
  readonly middle: {
    readonly neutralSeconds: number;
    readonly fullSeconds: number;
    readonly deadSeconds: number;
    readonly clockError: number;
    readonly resolutionSeconds: number;
  };
}

export interface ThrottlePath {
  readonly clockHertz: Interval;
  /** Counts that the law is given with the foot off, and with the pedal pressed home. */
  readonly restCounts: Interval;
  readonly fullCounts: Interval;
  /** The same counts at the middles of all tolerances, without noise. */
  readonly middle: { readonly clockHertz: number; readonly restCount: number; readonly fullCount: number };
  readonly countMost: number;
  readonly firmware: FirmwareNumbers;
  readonly timer: TimerNumbers;
  readonly controllers: readonly ControllerNeeds[];
  /** Values that bear on the pulse and have no tolerance on the bench, with what is typical where a datasheet says so. */
  readonly exact: readonly { readonly path: string; readonly typical: string | null }[];
}

export interface FirmwareNumbers {
  readonly input: readonly [number, number];
  readonly output: readonly [number, number];
  readonly integer: 16 | 32;
  readonly clamp: boolean;
  readonly 'dead-band': number;
  readonly filter: number;
  readonly hold: number;
  readonly plausible?: readonly [number, number];
  readonly ranges?: Readonly<Record<string, { readonly output: readonly [number, number] } | undefined>>;
  readonly radio?: unknown;
  readonly 'keeps-time'?: { readonly prescaler: number };
}

export interface TimerNumbers {
  readonly bits: 8 | 9 | 10 | 16;
  readonly mode: 'fast' | 'phase-correct' | 'phase-and-frequency-correct';
  readonly prescaler: number;
  readonly top?: number;
  readonly inverted: boolean;
}

/** Standard deviations of noise that are provided for. */
const NOISE_SIGMAS = 4;

/** The path of a bench, or why it has none that constants could be found for. */
export function throttlePath(
  parts: readonly DescribedPart[],
): { readonly path: ThrottlePath } | { readonly says: string } {
  const described = <T>(kind: string): T | undefined =>
    parts.find((part) => part.kind.kind === kind)?.parameters as T | undefined;
  const firmware = parts.find((part) => part.kind.kind === 'firmware');
  if (firmware === undefined || firmware.kind.variant !== 'mapping')
    return {
      says: `the firmware is no mapping law but \`${firmware?.kind.variant ?? 'none'}\`: its constants are in the program itself`,
    };
  const controllers = parts
    .filter((part) => part.kind.kind === 'controller')
    .filter(({ parameters }) => (parameters as DescribedController).input === 'pwm');
  if (controllers.length === 0) return { says: "no controller is driven by the board's timer" };
  const board = described<{ clock: Quantity }>('board')!;
  const numbers = nominal(firmware.parameters) as FirmwareNumbers;
  const converter = described<DescribedConverter>('adc')!;
  const pedal = described<DescribedPedal>('pedal')!;
  const rail = described<DescribedRail>('rail')!;
  const ends = countEnds(pedal, rail, converter, numbers.filter);
  return {
    path: {
      clockHertz: within(board.clock),
      ...ends,
      middle: { clockHertz: board.clock.value, ...ends.middle },
      countMost: 2 ** converter.bits.value - 1,
      firmware: numbers,
      timer: nominal(described<unknown>('pwm-timer')) as TimerNumbers,
      controllers: controllers.map(needsOf),
      exact: exactValues(board.clock, pedal, converter, controllers),
    },
  };
}

/** Typical errors: absolute accuracy of the converter 8161D p. 323, RC oscillator as delivered 8161D p. 317 table 28-1. */
function exactValues(
  clock: Quantity,
  pedal: DescribedPedal,
  converter: DescribedConverter,
  controllers: readonly DescribedPart[],
): ThrottlePath['exact'] {
  const values: [path: string, of: Quantity | undefined, typical: string | null][] = [
    ['board.clock', clock, 'an RC oscillator as delivered is 10 % off'],
    ['board.adc.offset', converter.offset, 'a converter is typically 2 counts off'],
    ['pedal.rest', pedal.rest, null],
    ['pedal.full', pedal.full, null],
    ...controllers.map(({ path, parameters }): [string, Quantity, null] => [
      `${path.join('.')}.pulse.clock`,
      (parameters as DescribedController).pulse.clock,
      null,
    ]),
  ];
  return values.flatMap(([path, of, typical]) => (of?.tolerance === 0 ? [{ path, typical }] : []));
}

interface DescribedPedal {
  readonly kind: 'hall' | 'pot' | 'switch';
  readonly rest?: Quantity;
  readonly full?: Quantity;
  readonly at?: Quantity;
  readonly noise?: Quantity;
  readonly ratiometric?: boolean;
}

interface DescribedConverter {
  readonly bits: Quantity;
  readonly reference: 'rail' | 'internal' | Quantity;
  readonly internal: Quantity;
  readonly offset: Quantity;
}

interface DescribedRail {
  readonly voltage: Quantity;
  readonly 'output-resistance'?: Quantity;
  readonly load?: Quantity;
  readonly second?: { readonly voltage: Quantity };
}

interface CountEnds {
  readonly restCounts: Interval;
  readonly fullCounts: Interval;
  readonly middle: { readonly restCount: number; readonly fullCount: number };
}

function countEnds(
  pedal: DescribedPedal,
  rail: DescribedRail,
  converter: DescribedConverter,
  filter: number,
): CountEnds {
  const stopsShort = filter === 0 ? 0 : 2 ** filter - 1;
  const ends = (['rest', 'full'] as const).map((end) => {
    const counts = countsOf(sharesOf(pedal, rail, converter, end), converter);
    const most = 2 ** converter.bits.value - 1;
    return {
      least: Math.max(0, counts.least - stopsShort),
      most: Math.min(most, counts.most + stopsShort),
      middle: counts.middle,
    };
  });
  const [rest, full] = ends as [(typeof ends)[0], (typeof ends)[0]];
  return {
    restCounts: { least: rest.least, most: rest.most },
    fullCounts: { least: full.least, most: full.most },
    middle: { restCount: rest.middle, fullCount: full.middle },
  };
}

interface Shares {
  /** Voltage at the pin as a share of the reference. */
  readonly range: Interval;
  readonly middle: number;
}

/** Signal over reference at one end of the pedal. */
function sharesOf(
  pedal: DescribedPedal,
  rail: DescribedRail,
  converter: DescribedConverter,
  end: 'rest' | 'full',
): Shares {
  const supply = railRange(rail);
  const reference =
    converter.reference === 'rail'
      ? undefined
      : converter.reference === 'internal'
        ? converter.internal
        : converter.reference;
  const noise = pedal.noise === undefined ? 0 : NOISE_SIGMAS * (pedal.noise.value + pedal.noise.tolerance);
  const signal = pedal.kind === 'switch' ? undefined : pedal[end]!;
  const isProportional = pedal.kind !== 'hall' || pedal.ratiometric === true;
  const combos = cornersOf([
    supply.range,
    signal === undefined ? exactly(end === 'rest' ? 0 : 1) : within(signal),
    signal === undefined ? exactly(1) : within(pedal.at!),
    reference === undefined ? exactly(0) : within(reference),
    { least: -noise, most: noise },
  ]);
  const share = (
    supplyVolts: number,
    volts: number,
    atVolts: number,
    referenceVolts: number,
    noiseVolts: number,
  ): number => {
    const unclipped = isProportional ? (volts * supplyVolts) / atVolts : volts;
    const clipped = Math.min(Math.max(unclipped, 0), supplyVolts);
    return (clipped + noiseVolts) / (reference === undefined ? supplyVolts : referenceVolts);
  };
  const values = combos.map(([a, b, c, d, e]) => share(a!, b!, c!, d!, e!));
  return {
    range: { least: Math.min(...values), most: Math.max(...values) },
    middle: share(
      supply.middle,
      signal === undefined ? (end === 'rest' ? 0 : 1) : signal.value,
      pedal.at?.value ?? 1,
      reference?.value ?? 0,
      0,
    ),
  };
}

/** The rail while it regulates: its set voltage, less what its own resistance drops. */
function railRange({ voltage, load, second, ...rail }: DescribedRail): {
  readonly range: Interval;
  readonly middle: number;
} {
  const drop = (load?.value ?? 0) * (rail['output-resistance']?.value ?? 0);
  const set = second === undefined ? within(voltage) : hull(within(voltage), within(second.voltage));
  return { range: { least: set.least - drop, most: set.most }, middle: voltage.value - drop };
}

/** Every combination of ends. Share and count move one way with each of them, so that the extremes are among these. */
function cornersOf(ranges: readonly Interval[]): number[][] {
  return ranges.reduce<number[][]>(
    (corners, { least, most }) =>
      corners.flatMap((corner) =>
        least === most
          ? [[...corner, least]]
          : [
              [...corner, least],
              [...corner, most],
            ],
      ),
    [[]],
  );
}

/** Rounding in the last place of a float64 must not move a count out of its range. */
const HAIR = 1e-12;

function countsOf(
  { range, middle }: Shares,
  { bits, offset }: DescribedConverter,
): Interval & { readonly middle: number } {
  const offsets = within(offset);
  return {
    least: countOf(range.least - HAIR, 1, bits.value, offsets.least),
    most: countOf(range.most + HAIR, 1, bits.value, offsets.most),
    middle: countOf(middle, 1, bits.value, offset.value),
  };
}

interface DescribedController {
  readonly input: string;
  readonly pulse: {
    readonly neutral: Quantity;
    readonly full: Quantity;
    readonly reverse?: Quantity;
    readonly dead?: Quantity;
    readonly valid: readonly [Quantity, Quantity];
    readonly period: readonly [Quantity, Quantity];
    readonly clock: Quantity;
    readonly resolution: Quantity;
  };
  readonly arming: { readonly window: { readonly below: Quantity; readonly above: Quantity } };
}

function needsOf({ name, path, parameters }: DescribedPart): ControllerNeeds {
  const { pulse, arming } = parameters as DescribedController;
  const neutral = within(pulse.neutral);
  const below = within(arming.window.below).least;
  const above = within(arming.window.above).least;
  const dead = isQuantity(pulse.dead) ? within(pulse.dead).least : Number.POSITIVE_INFINITY;
  return {
    name,
    path: path.join('.'),
    neutral,
    full: within(pulse.full),
    reverse: pulse.reverse === undefined ? null : within(pulse.reverse),
    rest: { least: neutral.most - Math.min(below, dead), most: neutral.least + Math.min(above, dead) },
    valid: { least: within(pulse.valid[0]).most, most: within(pulse.valid[1]).least },
    period: { least: within(pulse.period[0]).most, most: within(pulse.period[1]).least },
    clockError: within(pulse.clock),
    resolution: within(pulse.resolution),
    middle: {
      neutralSeconds: pulse.neutral.value,
      fullSeconds: pulse.full.value,
      deadSeconds: pulse.dead?.value ?? Math.max(arming.window.above.value, arming.window.below.value),
      clockError: pulse.clock.value,
      resolutionSeconds: pulse.resolution.value,
    },
  };
}

/** A pulse of this range as a controller measures it, exactly: what it measures never falls when the pulse grows. */
export function measuredRange(pulse: Interval, { clockError, resolution }: ControllerNeeds): Interval {
  const least = measuredSeconds(pulse.least, clockError.least, resolution.least);
  return {
    // An uncertain resolution may cut off up to a whole step.
    least: resolution.least === resolution.most ? least : pulse.least * (1 + clockError.least) - resolution.most,
    most:
      resolution.least === resolution.most
        ? measuredSeconds(pulse.most, clockError.most, resolution.least)
        : pulse.most * (1 + clockError.most),
  };
}

/** How far a selector position's range goes, as a share of the widest forward one. */
export function forwardShare({ firmware }: ThrottlePath, position: string): number {
  const span = (name: string): number => {
    const [low, high] = firmware.ranges?.[name]?.output ?? [0, 0];
    return Math.abs(high - low);
  };
  const widest = Math.max(...Object.keys(firmware.ranges ?? {}).map((name) => (name === 'reverse' ? 0 : span(name))));
  return widest === 0 ? 0 : span(position) / widest;
}
