/** A timer setting and its constants as values of the bench file. */
import type { Quantity } from '../../sim/units/index.ts';
import type { PwmSetup } from '../pwm-timer-registers.ts';
import { type DescribedPart, forwardShare, type ThrottlePath } from './path.ts';
import type { Constants } from './standing.ts';

/** Dotted paths of the bench file and their new values, as `with:` takes them. */
export type Patch = Readonly<Record<string, unknown>>;

/** Only what differs from the bench as it is. */
export function patchOf(path: ThrottlePath, { waveform, prescaler, top }: PwmSetup, constants: Constants): Patch {
  const { firmware, timer } = path;
  const hasTop = waveform.topFrom !== 'fixed' || timer.top !== undefined;
  const wanted: [string, unknown, unknown][] = [
    ['board.pwm.bits', waveform.bits, timer.bits],
    ['board.pwm.mode', waveform.mode, timer.mode],
    ['board.pwm.prescaler', prescaler, timer.prescaler],
    ...(hasTop ? ([['board.pwm.top', top, timer.top]] as [string, unknown, unknown][]) : []),
    ['board.pwm.inverted', false, timer.inverted],
    ['board.firmware.input', [...constants.input], [...firmware.input]],
    ['board.firmware.output', [...constants.output], [...firmware.output]],
    ['board.firmware.clamp', constants.clamp, firmware.clamp],
    ['board.firmware.dead-band', constants.deadBand, firmware['dead-band']],
    // Wider integers than needed do no harm, so that they are left as they are.
    ['board.firmware.integer', Math.max(constants.integer, firmware.integer), firmware.integer],
    ...rangePatches(path, constants),
  ];
  return Object.fromEntries(
    wanted
      .filter(([, value, present]) => JSON.stringify(value) !== JSON.stringify(present))
      .map(([key, value]) => [key, value]),
  );
}

/** Ranges by selector position keep their share of the way to full. */
function rangePatches(path: ThrottlePath, { output, reverse }: Constants): [string, unknown, unknown][] {
  return Object.entries(path.firmware.ranges ?? {}).flatMap(([position, range]): [string, unknown, unknown][] => {
    if (range === undefined) return [];
    const [low, high] = output;
    const end =
      position === 'reverse' ? (reverse ?? low) : Math.round(low + forwardShare(path, position) * (high - low));
    return [[`board.firmware.ranges.${position}.output`, [low, end], [...range.output]]];
  });
}

/** These parts with the patch laid on, as if the bench file had said so. */
export function patchedParts<Part extends DescribedPart>(parts: readonly Part[], patch: Patch): Part[] {
  return parts.map((part) => {
    const stem = `${part.path.join('.')}.`;
    const own = Object.entries(patch).filter(([path]) => path.startsWith(stem));
    // The patch's sections stand inside the board's, which has values of its own only.
    if (own.length === 0 || part.kind.kind === 'board') return part;
    const parameters = own.reduce<unknown>(
      (node, [path, value]) => withLeaf(node, path.slice(stem.length).split('.'), value, path),
      part.parameters,
    );
    return { ...part, parameters };
  });
}

const COUNTS = /\.(top|input|output|dead-band)$/;

function withLeaf(node: unknown, [key, ...rest]: readonly string[], value: unknown, path: string): unknown {
  const map = node as Readonly<Record<string, unknown>>;
  if (rest.length > 0) return { ...map, [key!]: withLeaf(map[key!], rest, value, path) };
  const parsed = !COUNTS.test(path) ? value : Array.isArray(value) ? value.map(countOf) : countOf(value);
  return { ...map, [key!]: parsed };
}

const countOf = (value: unknown): Quantity => ({
  value: Number(value),
  tolerance: 0,
  dimension: 'count',
  text: String(value),
});
