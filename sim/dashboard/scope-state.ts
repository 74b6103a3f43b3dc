/** What the scope looks at: which signals, how long a stretch of time, where its cursors stand. */
import type { AssembledPart } from '../bench/assemble.ts';
import { tellsOf } from './telling.ts';

export interface ScopeState {
  readonly lanes: readonly string[];
  readonly spanIndex: number;
  /** The lane that is measured. */
  readonly chosenLane: number;
}

export interface Cursors {
  readonly seconds: readonly [number, number];
  readonly moving: 0 | 1;
  /** The stretch stands still while it is measured. */
  readonly fromSeconds: number;
  readonly untilSeconds: number;
}

/** Lengths of the stretch: 1, 2, 5 from a millisecond to 1000 s. */
export const SPANS: readonly number[] = Array.from({ length: 19 }, (_, index) => {
  const mantissa = [1, 2, 5][index % 3]!;
  const exponent = Math.floor(index / 3) - 3;
  return exponent < 0 ? mantissa / 10 ** -exponent : mantissa * 10 ** exponent;
});
const FIRST_SPAN = SPANS.indexOf(2);

/** The value to be hit, the mode, the line that carries it, what the foot does: of the first part that has something to hit. */
export function startScope(parts: readonly AssembledPart[]): ScopeState {
  const aimed = parts.find(({ kind }) => kind.bands !== undefined);
  const lever = parts.find(({ kind }) => kind.handle?.kind === 'lever');
  const lanes: string[] = [];
  if (aimed !== undefined) {
    const ports = Object.keys(aimed.kind.bands!(aimed.parameters as never, () => 0));
    const line = ports.flatMap((port) => aimed.wiring[port] ?? [])[0];
    lanes.push(
      ...ports.filter((port) => aimed.kind.ports.out[port] !== undefined).map((port) => `${aimed.name}.${port}`),
    );
    lanes.push(`${aimed.name}.mode`);
    if (line !== undefined) lanes.push(line);
  }
  if (lever?.kind.handle?.kind === 'lever') lanes.push(`${lever.name}.${lever.kind.handle.port}`);
  const second = aimed === undefined ? undefined : tellsOf(aimed).ports[1];
  if (aimed !== undefined && second !== undefined) lanes.push(`${aimed.name}.${second}`);
  return { lanes, spanIndex: FIRST_SPAN, chosenLane: 0 };
}

/** The stretch that ends a little after the present, so that the present is seen to be the end. */
export function stretchAt(nowSeconds: number, spanSeconds: number): { readonly from: number; readonly until: number } {
  const until = Math.max(nowSeconds + spanSeconds * 0.02, spanSeconds);
  return { from: until - spanSeconds, until };
}
