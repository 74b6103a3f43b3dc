/** A change in words: the value, and how far it is from where it stands. */
import { type Dimension, formatQuantity } from '../../units/index.ts';
import type { Change } from '../why.ts';

/** A value of a change as a bench file would have it. */
export function valueWords(value: Change['from'], { dimension, isSymmetric }: Change, digits = 7): string {
  if (typeof value !== 'number') return value === true ? 'true' : value === false ? 'false' : value;
  return `${isSymmetric ? '+/- ' : ''}${formatQuantity(value, dimension ?? 'count', { digits })}`;
}

/** How far off it is: as a share of the value itself where that says something. */
export function distanceWords({ from, to, dimension, relative }: Change): string {
  if (typeof from !== 'number' || typeof to !== 'number') return 'another choice';
  if (relative === null) return formatQuantity(to - from, dimension ?? ('count' as Dimension), { signed: true });
  return formatQuantity(Math.sign(to - from) * relative, 'ratio', { signed: true, digits: 3 });
}
