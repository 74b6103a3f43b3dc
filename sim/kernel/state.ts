/** A part's state is a flat object of numbers, booleans and typed arrays; these two copy it out and back in place. */
type Flat = number | boolean | Float64Array | Int32Array | Uint8Array | Uint16Array | Uint32Array;

export type SavedState = Readonly<Record<string, Flat>>;

export function copyState(state: object): SavedState {
  const copy: Record<string, Flat> = {};
  for (const [key, value] of Object.entries(state as Record<string, Flat>)) {
    copy[key] = typeof value === 'object' ? value.slice() : value;
  }
  return copy;
}

/** Writes into the existing object: parts hold on to their state, so it may not be replaced. */
export function writeState(state: object, saved: SavedState): void {
  const target = state as Record<string, Flat>;
  for (const [key, value] of Object.entries(saved)) {
    const present = target[key];
    if (typeof value === 'object') (present as Float64Array).set(value as Float64Array);
    else target[key] = value;
  }
}
