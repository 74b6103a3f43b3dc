/** Ctrl-C during a long search: the first ends it with what was found so far, a second ends the program as usual. */

/** What a shell reports of a program that was interrupted: 128 + SIGINT. */
export const INTERRUPTED = 130;

/** Runs `work` with a signal that the first Ctrl-C raises. */
export async function interruptible<T>(work: (signal: AbortSignal) => Promise<T>): Promise<T> {
  const interrupt = new AbortController();
  const raise = (): void => interrupt.abort();
  process.once('SIGINT', raise);
  try {
    return await work(interrupt.signal);
  } finally {
    process.off('SIGINT', raise);
  }
}
