/** A small stream of whole numbers below a bound, the same for the same seed (a linear congruence modulo 2^32). */
export function fork(seed: number): (below: number) => number {
  let state = (Math.imul(seed, 0x9e3779b1) ^ 0x7f4a7c15) >>> 0;
  return (below) => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return Math.floor((state / 2 ** 32) * below);
  };
}
