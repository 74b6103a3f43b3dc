/**
 * Which of the allowed words did the user mean?
 */
import { distance } from 'fastest-levenshtein';

// Longer "words" are not slips of the finger, and comparing them would cost more than it tells.
const maxLength = 64;

/**
 * The allowed word nearest to `word`: few slips away (a wrong, missing, extra letter, or two letters swapped), or the one
 * that it begins. Case, spaces and `_` for `-` do not count. Undefined if none is near enough to be worth a guess.
 */
export function suggest(word: string, allowed: readonly string[]): string | undefined {
  if (word.length > maxLength) return undefined;
  const plain = plainly(word);
  if (plain === '') return undefined;
  let nearest: string | undefined;
  let nearestSlips = Number.POSITIVE_INFINITY;
  for (const candidate of allowed) {
    if (candidate.length > maxLength) continue;
    const plainCandidate = plainly(candidate);
    const limit = slipLimit(Math.max(plain.length, plainCandidate.length));
    // Half a slip in favour of a shared first letter, which is seldom mistyped.
    const slips = slipCount(plain, plainCandidate, limit) + (plain[0] === plainCandidate[0] ? 0 : 0.5);
    if (slips < nearestSlips && slips < limit + 1) {
      nearest = candidate;
      nearestSlips = slips;
    }
  }
  return nearest ?? completionOf(plain, allowed);
}

/** The allowed number with the least difference from `value`; the smaller one of two. */
export function suggestNumber(value: number, allowed: readonly number[]): number | undefined {
  if (!Number.isFinite(value)) return undefined;
  return allowed.reduce<number | undefined>((nearest, candidate) => {
    if (nearest === undefined) return candidate;
    return Math.abs(candidate - value) < Math.abs(nearest - value) ? candidate : nearest;
  }, undefined);
}

function plainly(word: string): string {
  return word.toLowerCase().replaceAll(/[\s_]+/g, '-');
}

// About one slip in three letters: more, and any short word would be "near" any other.
function slipLimit(length: number): number {
  return Math.min(3, Math.floor((length + 1) / 3));
}

/** Edit distance in which a swap of neighbours counts as one slip; not exact once it is above `limit`. */
function slipCount(word: string, candidate: string, limit: number): number {
  if (Math.abs(word.length - candidate.length) > limit) return Number.POSITIVE_INFINITY;
  let steps = distance(word, candidate);
  if (steps > 2 * limit) return steps;
  let swaps = 0;
  // A swap is two steps; each pair whose swapping saves them is swapped back, at the price of one.
  for (let index = 0; index + 1 < word.length && steps >= 2; index += 1) {
    const swapped = word.slice(0, index) + word[index + 1] + word[index] + word.slice(index + 2);
    if (distance(swapped, candidate) !== steps - 2) continue;
    word = swapped;
    steps -= 2;
    swaps += 1;
  }
  return steps + swaps;
}

function completionOf(plain: string, allowed: readonly string[]): string | undefined {
  if (plain.length < 3) return undefined;
  const completions = allowed.filter((candidate) => plainly(candidate).startsWith(plain));
  return completions.length === 1 ? completions[0] : undefined;
}
