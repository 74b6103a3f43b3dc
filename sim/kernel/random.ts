/**
 * Chance, handed in: a random stream is a `seedrandom` generator keyed by (scenario seed, part, purpose), so that
 * adding a part, or another use of chance in one, does not change anybody else's draws.
 *
 * The `alea` generator is used because its state is four numbers (snapshots are cheap) and a draw costs a few
 * nanoseconds; the package's default generator keeps 256 words.
 */
import seedrandom from 'seedrandom';
import { Room } from './room.ts';

export interface Stream {
  /** A number in [0, 1), in steps of 2^-32. */
  uniform(): number;
  /** Independent normal draw, mean 0, standard deviation 1 (Box and Muller 1958). */
  normal(): number;
  /** `normal` for hot paths, where a returned float64 is boxed: the draw is in `drawn[0]`. */
  drawNormal(): void;
  readonly drawn: Float64Array;
}

export interface StreamState {
  readonly generator: GeneratorState;
  readonly buffer: Float64Array;
  readonly position: number;
}

interface GeneratorState {
  readonly c: number;
  readonly s0: number;
  readonly s1: number;
  readonly s2: number;
}

type Generator = (() => number) & { state(): GeneratorState };

/** The streams of one run. Each (part, purpose) pair is handed out once; order of asking does not matter. */
export class Streams {
  private readonly seed: number;
  private readonly streams: KeyedStream[] = [];

  private readonly room: Room;

  constructor(seed: number, room: Room = new Room()) {
    this.seed = seed;
    this.room = room;
  }

  for(part: string, purpose: string): Stream {
    const stream = new KeyedStream(JSON.stringify([this.seed, part, purpose]), this.room);
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

/** Uniform draws are made this many at a time, in a loop of their own that allocates nothing. */
const BATCH = 64;

class KeyedStream implements Stream {
  readonly drawn = new Float64Array(1);
  private generator: Generator;
  private readonly buffer: Float64Array;
  private position = BATCH;

  constructor(key: string, room: Room) {
    this.buffer = room.doubles(BATCH);
    this.generator = generatorFor(key, true);
  }

  uniform(): number {
    if (this.position === BATCH) this.fill();
    return this.buffer[this.position++]!;
  }

  normal(): number {
    this.drawNormal();
    return this.drawn[0]!;
  }

  drawNormal(): void {
    const { buffer } = this;
    // Read from the buffer here rather than through `uniform`, whose result would be boxed.
    if (this.position === BATCH) this.fill();
    // 1 - u lies in (0, 1], so the logarithm is finite.
    const radius = Math.sqrt(-2 * Math.log(1 - buffer[this.position++]!));
    if (this.position === BATCH) this.fill();
    this.drawn[0] = radius * Math.cos(2 * Math.PI * buffer[this.position++]!);
  }

  save(): StreamState {
    return { generator: this.generator.state(), buffer: this.buffer.slice(), position: this.position };
  }

  restore(state: StreamState): void {
    this.generator = generatorFor('', state.generator);
    this.buffer.set(state.buffer);
    this.position = state.position;
  }

  private fill(): void {
    const { buffer, generator } = this;
    for (let index = 0; index < BATCH; index += 1) buffer[index] = generator();
    this.position = 0;
  }
}

/** The package's types leave out `state()`, which its documentation describes. */
function generatorFor(key: string, state: GeneratorState | true): Generator {
  return seedrandom.alea(key, { state: state as never }) as unknown as Generator;
}
