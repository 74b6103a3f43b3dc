/**
 * Blade fuse: how long it carries an overload.
 *
 * Source: makers' sheets that cite ISO 8820-3 give a band of times for each multiple of the rating (ATO and MINI types:
 * 135 % 0.75 to 600 s, 200 % 0.15 to 5 s, 350 % 0.08 to 0.5 s, 600 % 0.03 to 0.1 s; MAXI: 135 % 60 to 1800 s, 200 % 2 to
 * 50 s, 350 % 0.2 to 7 s, 600 % 0.04 to 1 s; seen at second hand). The middle of each band (geometric mean) is taken,
 * joined by straight lines in logarithms; 110 % is carried for ever. Partial melting adds up and heals in half a minute
 * below 110 %: an assumption of ours.
 */
export const FUSE_TYPES = ['blade', 'maxi'] as const;
export type FuseType = (typeof FUSE_TYPES)[number];

const middle = (least: number, most: number): number => Math.sqrt(least * most);

const CURVES: Readonly<Record<FuseType, readonly (readonly [multiple: number, seconds: number])[]>> = {
  blade: [
    [1.1, 360_000],
    [1.35, middle(0.75, 600)],
    [2, middle(0.15, 5)],
    [3.5, middle(0.08, 0.5)],
    [6, middle(0.03, 0.1)],
  ],
  maxi: [
    [1.1, 360_000],
    [1.35, middle(60, 1800)],
    [2, middle(2, 50)],
    [3.5, middle(0.2, 7)],
    [6, middle(0.04, 1)],
  ],
};

/** Seconds until the fuse opens at a steady current; Infinity up to 110 % of its rating. */
export function meltSeconds(amps: number, ratedAmps: number, type: FuseType): number {
  const multiple = amps / ratedAmps;
  const curve = CURVES[type];
  if (multiple <= curve[0]![0]) return Number.POSITIVE_INFINITY;
  for (let index = 1; index < curve.length; index += 1) {
    const [high, highSeconds] = curve[index]!;
    if (multiple > high) continue;
    const [low, lowSeconds] = curve[index - 1]!;
    const share = Math.log(multiple / low) / Math.log(high / low);
    return lowSeconds * (highSeconds / lowSeconds) ** share;
  }
  // Beyond the table the melting energy decides: constant I2t.
  const [last, lastSeconds] = curve.at(-1)!;
  return lastSeconds * (last / multiple) ** 2;
}

const HEAL_SECONDS = 30;

/** How fast the share of the way to melting changes, a second; at a share of 1 the fuse is open. */
export function meltingPerSecond(share: number, amps: number, ratedAmps: number, type: FuseType): number {
  const seconds = meltSeconds(Math.abs(amps), ratedAmps, type);
  return seconds === Number.POSITIVE_INFINITY ? -share / HEAL_SECONDS : 1 / seconds;
}
