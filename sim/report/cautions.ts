/** The cautions that go with every report: the tool can say that a design fails; it cannot prove one safe. */
export const CAUTIONS: readonly string[] = [
  'That everything holds here does not prove a design safe: parts differ from their description, and not all that can happen was tried.',
  'First power with the wheels off the ground, nobody aboard, and a low current limit.',
  'A fuse in the main lead and a disconnect within reach of a hand.',
  'Local codes, and the practice of licensed people, before anyone rides.',
];
