/**
 * Tells the engine how large a function it may build in one piece.
 *
 * A float64 that a function returns is boxed unless the function is inlined where it is called, and the engine's usual
 * budget (920 bytes of bytecode) ends in the middle of a conversion's sampling chain. With room for the whole chain the
 * steady state allocates nothing and runs some tenths faster (test/models/laws.test.ts, test/speed/kernel.bench.ts).
 * For programs of our own, called first thing: a library does not set flags for the process that it is used in.
 */
import { setFlagsFromString } from 'node:v8';

export function allowWideInlining(): void {
  setFlagsFromString('--max-inlined-bytecode-size-cumulative=3000');
}

/**
 * For a search of many short runs that each change a number: what was built for one run is thrown away in the next as
 * often as not, so that it had better be small. Half of the time of `why` would else go into building
 * (test/speed/searches.bench.ts).
 */
export function keepInliningNarrow(): void {
  setFlagsFromString('--max-inlined-bytecode-size-cumulative=300');
}
