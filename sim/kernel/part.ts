/**
 * The contract between a part and the machinery: parameters, ports, chart, physics, faults.
 *
 * A part is a discrete-event system (DEVS): it sleeps until one of its timers is due (the internal
 * transition), until a signal that it listens to was published or a script step reached it (`input` and `command`, the
 * external one), and it may be asked for the present value of a signal that changes continuously (`samplers`). It
 * never calls another part: it publishes signals, and the kernel delivers them.
 */
import type { AnyStateMachine } from 'xstate';
import type { z } from 'zod';
import type { Dimension, Quantity } from '../units/index.ts';
import type { Stream } from './random.ts';

/** A number that a part gives out under `part.port`. */
export interface OutPort {
  readonly means: string;
  readonly dimension: Dimension;
  /**
   * `held`: stays until published again (the default). `ramp`: runs straight from one publication to the next.
   * `flowing`: changes in its own way between events. The latter two are computed on demand by the part's samplers.
   */
  readonly kind?: 'held' | 'ramp' | 'flowing';
  /** For a signal whose value is one of a few words: the words, value 0 first. */
  readonly words?: readonly string[];
  /** A running integral, kept only while somebody records it. */
  readonly isBook?: boolean;
  /** Follows wholly from other signals, so that the digest can do without it. */
  readonly derived?: boolean;
  /** Follows from other signals and wakes nobody: told by `note`, kept out of the digest, and free when nobody reads it. */
  readonly quiet?: boolean;
  /** Computed afresh, with its own draw of noise, whenever a part samples it; never asked for by a recorder. */
  readonly drawn?: boolean;
  /** Each publication is one byte sent over a serial port, also where it has the same value as the one before. */
  readonly isBytes?: boolean;
}

export interface InPort {
  readonly means: string;
  /** Name of the signal that arrives here, or undefined when nothing does. `names` lists all parts of the bench. */
  readonly from: (self: Self) => string | undefined;
  /** False for a signal that the part only samples or reads: its changes then wake nobody. */
  readonly wakes?: boolean;
}

/** What a part may know of its place in the bench while it is wired. */
export interface Self {
  readonly name: string;
  /** The part's own numbers. */
  readonly parameters: unknown;
  /** Names of all parts of the bench. */
  readonly partNames: ReadonlySet<string>;
  /** Names of the parts of one kind, in the order of the file. */
  named(kind: string): readonly string[];
  /** Whether some part of the bench gives this signal. */
  gives(signal: string): boolean;
  /** Names of the parts that the parts of a kind say they are fed by (their parameter `from`, also in a section of theirs). */
  fed(kind: string): readonly string[];
}

export interface Ports {
  readonly in: Readonly<Record<string, InPort>>;
  readonly out: Readonly<Record<string, OutPort>>;
}

/** A way in which a part fails. Entering and leaving are chart events, so that a fault is a mode like any other. */
export interface Fault {
  readonly enter: string;
  readonly leave: string;
  readonly means: string;
  /** How bad it is, where that is a number: `fault: { left: { clock-off: 8 % } }`. */
  readonly amount?: { readonly schema: z.ZodType<Quantity>; readonly default: number };
}

/** A word that a scenario step may say to a part: `battery: connect`, or `pedal: { press: 100 %, over: 1 s }`. */
export interface StepForm {
  readonly means: string;
  /** The word may stand alone. */
  readonly bare?: boolean;
  /** Otherwise it is a key of a map with this schema, whose leaves are quantities. */
  readonly schema?: z.ZodType;
}

/** What a part sees of the kernel. Signals and timers are plain numbers; -1 is a port to which nothing is wired. */
export interface Host<In extends string = string, Out extends string = string> {
  readonly name: string;
  /** The present instant in seconds is `now[0]`: an array, so that reading it costs no allocation. */
  readonly now: Float64Array;
  /** The present value of every signal, by signal number. */
  readonly values: Float64Array;
  readonly in: Readonly<Record<In, number>>;
  readonly out: Readonly<Record<Out, number>>;
  /** The bit of each in port in the mask that `input` is called with. */
  readonly bits: Readonly<Record<In, number>>;
  /** A new timer of this part, and what the part does when it is due. Only while the part is made. */
  timer(due: () => void): number;
  /** Sets the timer (moves it if it was set). An instant in the past is a broken invariant. */
  wake(timer: number, seconds: number): void;
  sleep(timer: number): void;
  isAwake(timer: number): boolean;
  /** When each timer is due, by timer. For hot paths, where a float64 passed to a function is boxed: write, then `moved`. */
  readonly due: Float64Array;
  moved(timer: number): void;
  /** `moved` as the last thing done: true where the timer comes next of all. The present is then its instant; act at once. */
  leapt(timer: number): boolean;
  /** Publishes what was written to `values[signal]`: `emit` for hot paths. */
  published(signal: number): void;
  /** The same for a quiet signal. */
  noted(signal: number): void;
  /** Somebody is tracing causes, so that what is only sampled should be told too. */
  readonly isTraced: boolean;
  /** Publishes, whether or not the value is new. */
  emit(signal: number, value: number): void;
  /** Publishes if the value is new. */
  update(signal: number, value: number): void;
  /** Publishes a quiet signal: only a recorder or a journal hears of it. */
  note(signal: number, value: number): void;
  /** Brings a flowing signal up to the present instant; its value is then in `values`. */
  sample(signal: number): void;
  /** `sample` for hot paths: what brings a signal up to the present, undefined where nothing need be done. Only while the part is made. */
  samplerOf(signal: number): (() => void) | undefined;
  /** Says that what is published next follows from the latest value of `signal` rather than from what woke the part. */
  blame(signal: number): void;
  stream(purpose: string): Stream;
  /** Signal numbers of one out port of every part of a kind, in the order of the file. Only while the part is made. */
  all(kind: string, port: string): readonly number[];
  /** Joins the continuous states of the bench; says where the part's own begin. Only while the part is made. */
  flow(flow: Flow): FlowPlace;
  /** Something that the continuous states depend on has changed at the present instant. */
  disturb(): void;
  /** Brings continuous states and flowing signals to the present instant, so that a state may then be set. */
  refresh(): void;
  /** A state was set by hand after `refresh`: the step under way starts anew from it. */
  jump(): void;
  /** Adds something that must be saved and restored with the part, such as the chart's present state. */
  attach(attachment: Attachment): void;
  /** Reports something worth telling though no expectation asked: once for each `code`. */
  finding(code: string, says: string): void;
}

/** A continuous state. `scale` is the size that counts as full scale for errors. */
export interface FlowState {
  readonly name: string;
  readonly start: number;
  readonly scale: number;
  /** This state and the part's next one work on each other in much less time than a step may last, as a motor's current and speed do. */
  readonly isPairedWithNext?: boolean;
}

/** A part's share of the continuous network; see continuum.ts for the order of the sweeps. */
export interface Flow {
  /** Each with its value at the start and the size that counts as full scale for errors. */
  readonly states: readonly FlowState[];
  /** Running integrals that feed nothing back, such as energies. */
  readonly bookCount?: number;
  /** Own or other signals that `draw` reads before they are fed; where it leans on one, it sets `leaning[0]` to 1. */
  readonly loops?: readonly number[];
  /** From the leaves to the root: write the currents that this part takes. */
  readonly draw?: () => void;
  /** From the root to the leaves: write the voltages that this part gives. */
  readonly feed?: () => void;
  /** Write the slopes of the part's states (and of its books). */
  readonly slope?: () => void;
  /** A step of `elapsed[0]` seconds has ended, or was cut short: set states that have reached a limit, act on what was reached. True if a state jumped. */
  readonly settle?: () => boolean;
  /**
   * Raises `excess[0]` to how far beyond a limit the part is, as a share of what is allowed, negative before the limit: a
   * step that comes above 1 ends where the limit is met instead. To be told from states and signals as they stand.
   */
  readonly excess?: () => void;
}

export interface FlowPlace {
  readonly x: Float64Array;
  readonly dx: Float64Array;
  readonly books: Float64Array;
  readonly bookRates: Float64Array;
  readonly leaning: Uint8Array;
  /** What `excess` raises. In an array, so that it is not boxed. */
  readonly excess: Float64Array;
  /** Length of the stretch that `settle` is about, in seconds. */
  readonly elapsed: Float64Array;
  /** Where the part's states and books begin. */
  readonly state: number;
  readonly book: number;
}

/** Something beside the part's own state that a snapshot must hold: flat numbers and typed arrays. */
export interface Attachment {
  readonly state: object;
  /** Counts of transitions taken, for coverage; not part of a snapshot. */
  readonly taken?: Uint32Array;
  /** Called once the whole kernel was restored: what the state says must be brought about again beyond it. */
  readonly restored?: () => void;
}

/** A part at work in one run. All that changes lies in `state`, flat, so that a snapshot is a copy of it. */
export interface Live {
  readonly state: object;
  /** Called once, in rank order, at time 0 before any event. */
  start(): void;
  /** Signals arrived; `changed` has the bits of their in ports. Called without `this`. */
  readonly input: (changed: number) => void;
  /** A script step for this part. `form` is the word that the step used; `numbers` its settled contents, if any. */
  command?(form: string, numbers: unknown): void;
  /** A fault's enter or leave event; `amount` is the fault's number where it has one, else 0. */
  fault(event: string, amount: number): void;
  /** For each flowing out port: bring `values` up to the present instant. */
  readonly samplers?: Readonly<Record<string, () => void>>;
  /** What stands at the present instant in each file of `PartFiles.kept`, by key. */
  readonly kept?: Readonly<Record<string, () => string>>;
}

/** One link of a cause: an out port's value at an instant, told by the part that published it. */
export interface Link {
  /** Name of the part that tells. */
  readonly name: string;
  /** Number of the value told about, in the signal's base unit. */
  readonly value: number;
  readonly seconds: number;
  /** The part's settled parameters. */
  readonly parameters: unknown;
  /** What the link downstream would need of this signal, if it said. */
  readonly wanted: Wanted | undefined;
  /** The value that any signal had when this one was published. */
  read(signal: string): number;
  /** Name of the signal wired to one of the part's in ports. */
  wired(port: string): string | undefined;
  /** For a worded signal: the word of a value. */
  word(signal: string, value: number): string;
}

/** A range that a signal would have to lie in, in its base unit, and for what. */
export interface Wanted {
  readonly least: number;
  readonly most: number;
  readonly to: string;
}

export interface Told {
  readonly says: string;
  /** The signal to go on with; without it, the one whose publication woke the part. `null` ends the chain. */
  readonly next?: string | null;
  /** What `next` would have to be. */
  readonly wanted?: Wanted;
  /** A single change that would help, in the words of the bench file. */
  readonly cure?: string;
}

export type Explain = (link: Link) => Told;

/** What is worth showing of a part at a glance. */
export interface Tells {
  /** Whether the part stands on the way of the power, on that of the foot's wish, or is what moves in the end. */
  readonly along: 'power' | 'signal' | 'motion';
  /** The out ports that say most of it, the first one first. */
  readonly ports: readonly string[];
  /** The mode changes with every pass or conversion, so that its changes are no news. */
  readonly hasBusyMode?: boolean;
}

/**
 * What a port stands for on any vehicle, so that tools can judge one whose parts they do not know: what the driver asks
 * for by foot or hand, what the motors are given, what then moves, and what a person would see or hear of a fault.
 */
export type Role = 'foot' | 'hand' | 'drive' | 'brake' | 'turning' | 'speed' | 'alarm';

/** A named range of values of a port, in its base unit; `least` and `most` are equal for a single point. */
export interface Band {
  readonly name: string;
  readonly least: number;
  readonly most: number;
  /** `aim`: where the value must lie for the part to get going; `limit`: outside of it nothing is taken; `mark`: a point of note. */
  readonly role: 'aim' | 'limit' | 'mark';
}

/** Parameters that name files, and what becomes of the files: read when a bench is loaded, never in a run. */
export interface PartFiles {
  /** The parameters whose values are file names, as seen from the file that they are written in. */
  readonly keys: readonly string[];
  /** Those of them that hold what outlasts the power: `Live.kept` gives what the next run would find in them. */
  readonly kept?: readonly string[];
  /**
   * The parameters with what the files hold, and what is wrong with the files. What is added should be a function that
   * returns it, as trees of parameters are copied for each run.
   */
  readonly take: (parameters: never, contents: ReadonlyMap<string, Uint8Array>) => FilesTaken;
}

export interface FilesTaken {
  readonly parameters: unknown;
  readonly mistakes: readonly FileMistake[];
}

/** Something wrong inside a file that the parameter `key` names; `at` is a line or an offset, in words. */
export interface FileMistake {
  readonly key: string;
  readonly at?: string;
  readonly says: string;
  readonly isWarning?: boolean;
}

/** How a person's hand or foot works a part, so that a keyboard can stand in for it. */
export type Handle =
  /** `form` takes a ratio from `least` to `most`; `beside` is what else the step says. `port` is where it stands. */
  | {
      readonly kind: 'lever';
      readonly form: string;
      readonly least: number;
      readonly most: number;
      readonly beside?: Readonly<Record<string, string>>;
      readonly port: string;
    }
  /** `form` takes one of the words listed by the parameter `choices`; `port` holds the word chosen. */
  | { readonly kind: 'choice'; readonly form: string; readonly choices: string; readonly port: string }
  /** Two bare forms; `on` has been said when the part is in the mode `isOn`. */
  | { readonly kind: 'switch'; readonly on: string; readonly off: string; readonly isOn: string };

/** A kind of part: everything the machinery knows of it. */
export interface PartKind {
  readonly kind: string;
  readonly means: string;
  /** Where its parameters stand in a bench file: `pedal`, `board.adc`; `controllers.*` for a named family. */
  readonly at: string;
  /** Where several kinds may stand at one place, the value of its key `kind` that means this one. */
  readonly variant?: string;
  /** For a family: a bench must have at least one. */
  readonly required?: boolean;
  /** Present even when the bench does not mention it, with all its defaults. */
  readonly always?: boolean;
  /** What an `always` part is when the bench does not mention it. */
  readonly defaults?: unknown;
  /** Part name for an entry of a family; by default the last word of the path. */
  readonly partName?: (key: string) => string;
  readonly parameters: z.ZodType;
  readonly files?: PartFiles;
  readonly ports: Ports;
  readonly chart: AnyStateMachine;
  readonly faults: Readonly<Record<string, Fault>>;
  readonly steps?: Readonly<Record<string, StepForm>>;
  /** For a mode: the out port that holds the signed distance to being in it. */
  readonly gauges?: Readonly<Record<string, string>>;
  readonly explain?: Readonly<Record<string, Explain>>;
  /** Without it, the part tells its mode and its first out port. */
  readonly tells?: Tells;
  /** What its out ports stand for, by port. */
  readonly roles?: Readonly<Record<string, Role>>;
  /**
   * The ranges that matter, by out port; by in port for a level, where they count from its rise. `read` gives the
   * present value of an out port of the part.
   */
  readonly bands?: (parameters: never, read: (port: string) => number) => Readonly<Record<string, readonly Band[]>>;
  readonly handle?: Handle;
  /** Parameters that a builder tries other values of, as paths below the part: `output.0`. */
  readonly constants?: readonly string[];
  readonly make: (host: Host, parameters: never) => Live;
}
