/** How do the quantities of a tree of parameters become the plain numbers of one run? */
import type { Quantity } from './parse.ts';

/** `T` with each `Quantity` in it, however deep, replaced by a number in its base unit. */
export type Settled<T> = T extends Quantity ? number : T extends object ? { [Key in keyof T]: Settled<T[Key]> } : T;

/** A quantity and where it stands: keys and list places joined by dots, `pulse.valid.0`. */
export interface Placed {
  readonly path: string;
  readonly quantity: Quantity;
}

export function isQuantity(node: unknown): node is Quantity {
  return (
    typeof node === 'object' &&
    node !== null &&
    'value' in node &&
    'tolerance' in node &&
    'dimension' in node &&
    'text' in node
  );
}

/** The tree with each quantity replaced by the number that `pick` gives for it. Called in the order of the file. */
export function settle<T>(tree: T, pick: (path: string, quantity: Quantity) => number): Settled<T> {
  return replaced(tree, '', pick) as Settled<T>;
}

/** The tree with every quantity at its middle. */
export function nominal<T>(tree: T): Settled<T> {
  return middles(tree) as Settled<T>;
}

/** Without the paths that a choice of numbers would need: campaigns settle a bench thousands of times. */
function middles(node: unknown): unknown {
  if (typeof node !== 'object' || node === null) return node;
  if (isQuantity(node)) return node.value;
  if (Array.isArray(node)) return node.map(middles);
  const settled: Record<string, unknown> = {};
  for (const [key, item] of Object.entries(node)) {
    // Set as usual, this one name would become the tree's prototype.
    if (key === '__proto__') return Object.fromEntries(Object.entries(node).map(([name, one]) => [name, middles(one)]));
    settled[key] = middles(item);
  }
  return settled;
}

/** The quantities that may differ from their middle. */
export function listTolerances(tree: unknown): readonly Placed[] {
  const found: Placed[] = [];
  replaced(tree, '', (path, quantity) => {
    if (quantity.tolerance > 0) found.push({ path, quantity });
    return quantity.value;
  });
  return found;
}

function replaced(node: unknown, path: string, pick: (path: string, quantity: Quantity) => number): unknown {
  if (typeof node !== 'object' || node === null) return node;
  if (isQuantity(node)) return pick(path, node);
  const under = (key: string | number): string => (path === '' ? `${key}` : `${path}.${key}`);
  if (Array.isArray(node)) return node.map((item: unknown, index) => replaced(item, under(index), pick));
  return Object.fromEntries(Object.entries(node).map(([key, item]) => [key, replaced(item, under(key), pick)]));
}
