/** A name that was surely meant, for messages. */
import { closest, distance } from 'fastest-levenshtein';

export function suggestion(name: string, known: readonly string[]): string {
  if (known.length === 0 || name.length > 40) return '';
  const found = closest(name, known);
  return distance(name, found) <= Math.max(1, name.length >> 2) ? `; did you mean \`${found}\`?` : '';
}
