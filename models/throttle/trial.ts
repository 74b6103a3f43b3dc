/**
 * The shortest script that shows whether a setting is right: power on with the foot off, wait for the controllers to arm,
 * press the pedal home, let go. And the two corners of the tolerances in which it is nearest to failing.
 */
import { formatQuantity, type Quantity } from '../../sim/units/index.ts';
import { type DescribedPart, forwardShare, type ThrottlePath } from './path.ts';

/** Steps and expectations as a scenario file has them. */
export interface Trial {
  readonly durationSeconds: number;
  readonly steps: readonly Readonly<Record<string, unknown>>[];
  readonly expect: readonly Readonly<Record<string, unknown>>[];
}

/** Time that everything gets beyond what the numbers of the bench add up to. */
const SPARE_SECONDS = 1;
const PRESS_SECONDS = 1;

export function trialOf(parts: readonly DescribedPart[], path: ThrottlePath, compareSpan: number): Trial {
  const armSeconds = Math.ceil(armingSeconds(parts, path) + SPARE_SECONDS);
  const pressSeconds = armSeconds + 1;
  const fullSeconds = Math.ceil(PRESS_SECONDS + settlingSeconds(parts, compareSpan) + SPARE_SECONDS);
  const releaseSeconds = pressSeconds + fullSeconds + 1;
  const seconds = (value: number): string => formatQuantity(value, 'time');
  const gear = forwardPosition(parts, path);
  return {
    durationSeconds: releaseSeconds + fullSeconds + 1,
    steps: [
      { at: '0 s', battery: 'connect' },
      ...(gear === undefined ? [] : [{ at: '0 s', selector: { to: gear } }]),
      { at: seconds(pressSeconds), pedal: { press: '100 %', over: seconds(PRESS_SECONDS) } },
      { at: seconds(releaseSeconds), pedal: 'release' },
    ],
    expect: path.controllers.flatMap(({ name }) => [
      { that: `${name}.mode is armed`, within: seconds(armSeconds) },
      { that: `${name}.drive = 0`, always: true, until: seconds(pressSeconds) },
      { that: `${name}.drive >= 99 %`, within: seconds(fullSeconds), from: seconds(pressSeconds) },
      { that: `${name}.drive = 0`, within: seconds(fullSeconds), from: seconds(releaseSeconds) },
    ]),
  };
}

interface Timed {
  readonly 'start-up': Quantity;
  readonly 'boot-loader': Quantity;
}
interface Arming {
  readonly boot: Quantity;
  readonly arming: { readonly hold: Quantity };
}

function armingSeconds(parts: readonly DescribedPart[], path: ThrottlePath): number {
  const board = numbersOf<Timed>(parts, 'board')!;
  const waits = parts
    .filter((part) => part.kind.kind === 'controller')
    .map(({ parameters }) => parameters as Arming)
    .map(({ boot, arming }) => boot.value + arming.hold.value);
  return board['start-up'].value + board['boot-loader'].value + path.firmware.hold + Math.max(...waits);
}

/** Until a pedal pressed home shows as full drive: sensor lag, filter and slew limit. */
function settlingSeconds(parts: readonly DescribedPart[], compareSpan: number): number {
  const { every, filter, slew } = numbersOf<{ every: Quantity; filter: Quantity; slew?: Quantity }>(parts, 'firmware')!;
  const lag = numbersOf<{ lag?: Quantity }>(parts, 'pedal')!.lag?.value ?? 0;
  const slewing = slew === undefined ? 0 : Math.abs(compareSpan) / slew.value;
  // Ten time constants leave e^-10 = 5e-5 of the way.
  return 10 * lag + 10 * every.value * 2 ** filter.value + slewing;
}

function numbersOf<T>(parts: readonly DescribedPart[], kind: string): T | undefined {
  return parts.find((part) => part.kind.kind === kind)?.parameters as T | undefined;
}

/** Of the selector's positions the one with the widest range, where both are on the bench. */
function forwardPosition(parts: readonly DescribedPart[], path: ThrottlePath): string | undefined {
  if (path.firmware.ranges === undefined || numbersOf(parts, 'selector') === undefined) return undefined;
  return Object.keys(path.firmware.ranges).find(
    (position) => position !== 'reverse' && forwardShare(path, position) === 1,
  );
}

export const CORNERS = ['longest pulses', 'shortest pulses'] as const;
export type Corner = (typeof CORNERS)[number];

/**
 * Which end of its tolerance a value has in a corner: +1 the upper, -1 the lower, for the longest pulses against the
 * lowest windows; the other corner is the opposite but for windows, of which the narrow end is always the worse. Each
 * row: end of the path in the bench file, end for the longest pulses, end for the shortest. Pedal rows are for a pedal
 * whose pulse grows with its voltage.
 */
const ENDS: readonly (readonly [path: RegExp, longest: 1 | -1, shortest: 1 | -1])[] = [
  [/^board\.clock$/, -1, 1],
  [/\.pulse\.clock$/, 1, -1],
  [/\.pulse\.(neutral|full|reverse)$/, -1, 1],
  [/\.arming\.window\.(below|above)$/, -1, -1],
  [/\.pulse\.dead$/, -1, -1],
  [/\.pulse\.valid\.0$/, 1, 1],
  [/\.pulse\.valid\.1$/, -1, -1],
];
const PEDAL_ENDS: readonly (readonly [path: RegExp, longest: 1 | -1, shortest: 1 | -1])[] = [
  [/^pedal\.(rest|full)$/, 1, -1],
  [/^pedal\.at$/, -1, 1],
  [/^board\.adc\.offset$/, 1, -1],
  [/^board\.adc\.(reference|internal)$/, -1, 1],
  [/^rail\.voltage$/, -1, 1],
];

/** The number that a quantity has in a corner; the middle where it does not matter. */
export function cornerValue(
  { middle, controllers }: ThrottlePath,
  corner: Corner,
  path: string,
  quantity: Quantity,
): number {
  const side = corner === 'longest pulses' ? 1 : 2;
  const grows =
    Math.sign(middle.fullCount - middle.restCount) *
    Math.sign(controllers[0]!.full.least - controllers[0]!.neutral.least);
  const own = ENDS.find(([pattern]) => pattern.test(path));
  const pedal = PEDAL_ENDS.find(([pattern]) => pattern.test(path));
  const end = own !== undefined ? own[side] : pedal !== undefined ? pedal[side] * grows : 0;
  return quantity.value + end * quantity.tolerance;
}
