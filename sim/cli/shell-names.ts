/** The shells that `completion` knows; apart, so that the command line can be described without loading its commands. */
export const SHELLS = ['bash', 'zsh', 'fish'] as const;
