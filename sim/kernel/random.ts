/**
 * Chance, handed in: a random stream is a `seedrandom` generator keyed by (scenario seed, part, purpose), so that
 * adding a part, or another use of chance in one, does not change anybody else's draws.
 *
 * The `alea` generator is used because its state is four numbers (snapshots are cheap) and a draw costs a few
 * nanoseconds; the package's default generator keeps 256 words.
 */
import seedrandom from 'seedrandom';

export interface Stream {
  /** A number in [0, 1), in steps of 2^-32. */
  uniform(): number;
  /** Independent normal draw, mean 0, standard deviation 1 (Box and Muller 1958). */
  normal(): number;
}

export interface StreamState {
  readonly c: number;
  readonly s0: number;
  readonly s1: number;
  readonly s2: number;
}

type Generator = (() => number) & { state(): StreamState };

/** The streams of one run. Each (part, purpose) pair is handed out once; order of asking does not matter. */
export class Streams {
  private readonly seed: number;
  private readonly streams: KeyedStream[] = [];

  constructor(seed: number) {
    this.seed = seed;
  }

  for(part: string, purpose: string): Stream {
    const stream = new KeyedStream(JSON.stringify([this.seed, part, purpose]));
    this.streams.push(stream);
    return stream;
  }

  save(): readonly StreamState[] {
    return this.streams.map((stream) => stream.save());
  }

  restore(states: readonly StreamState[]): void {
    this.streams.forEach((stream, index) => {
      const state = states[index];
      if (state !== undefined) stream.restore(state);
    });
  }
}

class KeyedStream implements Stream {
  private generator: Generator;

  constructor(key: string) {
    this.generator = generatorFor(key, true);
  }

  uniform(): number {
    return this.generator();
  }

  normal(): number {
    // 1 - u lies in (0, 1], so the logarithm is finite.
    const radius = Math.sqrt(-2 * Math.log(1 - this.generator()));
    return radius * Math.cos(2 * Math.PI * this.generator());
  }

  save(): StreamState {
    return this.generator.state();
  }

  restore(state: StreamState): void {
    this.generator = generatorFor('', state);
  }
}

/** The package's types leave out `state()`, which its documentation describes. */
function generatorFor(key: string, state: StreamState | true): Generator {
  return seedrandom.alea(key, { state: state as never }) as unknown as Generator;
}
