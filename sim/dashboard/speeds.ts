/** Simulated seconds a second of real time: from a thousandth to a thousand times, in steps of 1, 2, 5. */
export const SPEEDS: readonly number[] = Array.from({ length: 19 }, (_, index) => {
  const mantissa = [1, 2, 5][index % 3]!;
  const exponent = Math.floor(index / 3) - 3;
  return exponent < 0 ? mantissa / 10 ** -exponent : mantissa * 10 ** exponent;
});

/** Index of real time. */
export const REAL_TIME = SPEEDS.indexOf(1);

/** Decimals of a second that an act is timed to: a key pressed in slow motion is timed more finely. */
export function decimalsAt(speed: number): number {
  return Math.min(6, 3 + Math.max(0, Math.ceil(-Math.log10(speed))));
}

export function speedWords(speed: number): string {
  return speed >= 1 ? `x${speed}` : `x1/${Math.round(1 / speed)}`;
}
