/**
 * What a motor controller makes of a pulse: pure functions on plain numbers, times in seconds.
 *
 * There is no formal standard for servo pulses; 1.5 ms +-0.5 ms about 50 times a second is common practice.
 */

/** The constants that a pulse is judged by; learning end points moves them. */
export interface PulseScale {
  readonly neutralSeconds: number;
  readonly fullSeconds: number;
  /** NaN where there is no reverse. */
  readonly reverseSeconds: number;
  /** Dead band about neutral, as a half-width. */
  readonly deadSeconds: number;
}

/**
 * Width as a controller with its own clock and a counter of finite resolution measures it: cut to whole steps.
 *
 * Without a resolution it is rounded to a nanosecond: instants are float64, and what lies below is no measurement.
 */
export function measuredSeconds(widthSeconds: number, clockError: number, resolutionSeconds: number): number {
  const seen = widthSeconds * (1 + clockError);
  if (resolutionSeconds === 0) return Math.round(seen * 1e9) / 1e9;
  // A hair of slack keeps a width that is a whole number of steps on paper from losing one to rounding.
  return Math.floor(seen / resolutionSeconds + 1e-6) * resolutionSeconds;
}

/**
 * Signed distance of a value to the inside of a range: positive inside, zero on its edge, negative outside.
 *
 * To a picosecond, so that a pulse that stands on an edge on paper stands on it here.
 */
export function distanceInside(value: number, least: number, most: number): number {
  const distance = Math.min(value - least, most - value);
  return Math.round(distance * 1e12) / 1e12;
}

/** Commanded drive, -1 to 1, for a pulse: zero in the dead band, linear from its edge to full and to full reverse. */
export function driveOf(pulseSeconds: number, scale: PulseScale): number {
  const towardsFull = Math.sign(scale.fullSeconds - scale.neutralSeconds);
  const away = (pulseSeconds - scale.neutralSeconds) * towardsFull;
  // A picosecond of slack, so that the edge of the dead band belongs to it on paper and here.
  if (Math.abs(away) <= scale.deadSeconds + 1e-12) return 0;
  if (away > 0) {
    const span = Math.abs(scale.fullSeconds - scale.neutralSeconds) - scale.deadSeconds;
    return Math.min(1, (away - scale.deadSeconds) / span);
  }
  if (Number.isNaN(scale.reverseSeconds)) return 0;
  const span = Math.abs(scale.reverseSeconds - scale.neutralSeconds) - scale.deadSeconds;
  return Math.max(-1, (away + scale.deadSeconds) / span);
}
