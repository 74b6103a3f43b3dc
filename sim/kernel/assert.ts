/** A state that must not exist was reached: a fault of the tool itself, never of the user's files. */
export class BrokenInvariant extends Error {
  readonly facts: Readonly<Record<string, unknown>>;

  constructor(says: string, facts: Readonly<Record<string, unknown>>) {
    super(`${says} ${JSON.stringify(facts)}`);
    this.name = 'BrokenInvariant';
    this.facts = facts;
  }
}

/** Holds `condition` to be true, or throws `BrokenInvariant` with the numbers that show why it is not. */
export function assert(
  condition: boolean,
  says: string,
  facts: Readonly<Record<string, unknown>> = {},
): asserts condition {
  if (!condition) throw new BrokenInvariant(says, facts);
}
