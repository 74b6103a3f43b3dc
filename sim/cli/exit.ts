/** Exit statuses of the command line, as the README states them. */
export const Exit = {
  holds: 0,
  failed: 1,
  /** Bad input or usage. */
  badInput: 2,
  /** A fault of the tool itself. */
  broken: 3,
  /** Ended by an interrupt: 128 + SIGINT, as shells have it. */
  interrupted: 130,
} as const;
