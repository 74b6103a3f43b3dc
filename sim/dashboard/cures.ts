/**
 * The nearest cures of what failed: the single changes that would turn it, searched by running the scenario with each
 * while the dashboard goes on. The search lets keys and drawing have their turn every few milliseconds, tells what it
 * finds as it goes, and keeps it when it is stopped.
 */
import { type Change, ranked, type WhyReport, why } from '../campaign/why.ts';
import type { Play } from './session.ts';

export interface Cures {
  /** The end of the run that was asked about, in seconds. */
  readonly endSeconds: number;
  state: 'searching' | 'stopped' | 'done';
  /** Numbers and choices tried, of how many. */
  done: number;
  total: number;
  /** The nearest first. */
  changes: readonly Change[];
  /** There once the search has ended, also where it was stopped. */
  report: WhyReport | undefined;
  /** Something changed that is not yet drawn. */
  isNews: boolean;
  /** A fault of the tool that ended the search. */
  fault: unknown;
  /** Settles when the search has ended. */
  readonly ended: Promise<void>;
  readonly stop: () => void;
}

/** So long may the search keep keys and drawing waiting, in milliseconds. */
const BREATH_MILLISECONDS = 8;

/** Starts to search what would turn the expectations that are not met by `endSeconds`. */
export function startCures(play: Play, endSeconds: number, clock: () => number): Cures {
  const { title, benchTitle, parts, seed, acts, expectations } = play;
  const interrupt = new AbortController();
  const turn = (): Promise<void> => new Promise((resolve) => setImmediate(resolve));
  let breathedAt = clock();
  const breathe = (): Promise<void> | undefined => {
    if (clock() - breathedAt < BREATH_MILLISECONDS) return undefined;
    return turn().then(() => {
      breathedAt = clock();
    });
  };
  const scenario = { title, benchTitle, parts, seed, acts, expectations, file: '', durationSeconds: endSeconds };
  const search = async (): Promise<void> => {
    // The key that asked is drawn first.
    await turn();
    breathedAt = clock();
    const report = await why(scenario, {
      signal: interrupt.signal,
      question: 'mend',
      causes: false,
      breathe,
      progress: (done, total) => {
        cures.done = done;
        cures.total = total;
        cures.isNews = true;
      },
      found: (changes) => {
        cures.changes = ranked([...cures.changes, ...changes], 'mend');
      },
    });
    cures.report = report;
    cures.changes = report.changes;
    cures.state = report.isInterrupted ? 'stopped' : 'done';
  };
  const cures: Cures = {
    endSeconds,
    state: 'searching',
    done: 0,
    total: 0,
    changes: [],
    report: undefined,
    isNews: false,
    fault: undefined,
    ended: search()
      .catch((error: unknown) => {
        cures.fault = error;
        cures.state = 'stopped';
      })
      .finally(() => {
        cures.isNews = true;
      }),
    stop: () => interrupt.abort(),
  };
  return cures;
}
