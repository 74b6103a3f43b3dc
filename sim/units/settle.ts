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

/** Chooses the number for a quantity. */
export type Choose = (path: string, quantity: Quantity) => number;

/** The tree with each quantity replaced by the number that `pick` gives for it. Called in the order of the file. */
export function settle<T>(tree: T, pick: Choose): Settled<T> {
  return settler(tree)(pick);
}

/**
 * `settle` for a tree that is settled again and again: where its quantities stand is looked up once. What has none inside
 * is not copied: the results share it. Paths begin with `path`, if that is not empty.
 */
export function settler<T>(tree: T, path = ''): (pick: Choose) => Settled<T> {
  const layout = layOut(tree, path);
  return (pick) => (layout === undefined ? tree : chosen(layout, pick)) as Settled<T>;
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
  settle(tree, (path, quantity) => {
    if (quantity.tolerance > 0) found.push({ path, quantity });
    return quantity.value;
  });
  return found;
}

/** A node that is a quantity or has some inside. */
type Layout = Placed | Branch;

interface Branch {
  readonly node: object;
  /** What of it is to be replaced, in the order of the file. */
  readonly keys: readonly string[];
  readonly layouts: readonly Layout[];
}

/** Undefined where there is nothing to replace. */
function layOut(node: unknown, path: string): Layout | undefined {
  if (typeof node !== 'object' || node === null) return undefined;
  if (isQuantity(node)) return { path, quantity: node };
  const keys: string[] = [];
  const layouts: Layout[] = [];
  for (const [key, item] of Object.entries(node)) {
    const layout = layOut(item, path === '' ? key : `${path}.${key}`);
    if (layout === undefined) continue;
    keys.push(key);
    layouts.push(layout);
  }
  return keys.length === 0 ? undefined : { node, keys, layouts };
}

function chosen(layout: Layout, pick: Choose): unknown {
  if ('quantity' in layout) return pick(layout.path, layout.quantity);
  const { node, keys, layouts } = layout;
  const copy = (Array.isArray(node) ? [...node] : { ...node }) as Record<string, unknown>;
  for (let index = 0; index < keys.length; index += 1) {
    const key = keys[index]!;
    const value = chosen(layouts[index]!, pick);
    // Set as usual, this one name would become the tree's prototype.
    if (key === '__proto__')
      Object.defineProperty(copy, key, { value, enumerable: true, configurable: true, writable: true });
    else copy[key] = value;
  }
  return copy;
}
