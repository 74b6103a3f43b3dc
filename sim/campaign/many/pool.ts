/**
 * Runs by their numbers, over worker threads. Workers get files and numbers and give rows back; rows are kept by number,
 * so that nothing depends on which worker was faster. One worker is this thread itself: it has read its modules already and
 * works while the others still start.
 */
import { createRequire } from 'node:module';
import { availableParallelism } from 'node:os';
import { pathToFileURL } from 'node:url';
import type { Tinypool } from 'tinypool';
import { type BegunRow, type CraftRequest, isBegun, type Rows } from './craft.ts';
import { AT, type Job, work } from './work.ts';

export interface ManyOptions {
  /** Threads; by default one for each core. */
  readonly workers?: number;
  /** Ends the campaign early; what was done by then is kept. */
  readonly signal?: AbortSignal;
  /** Told now and then how many runs are done. */
  readonly progress?: (done: number, total: number) => void;
}

/** What the whole campaign comes to, as far as it is known beforehand. */
export interface Extent {
  readonly rows: number;
  /** Runs in each row; 1 unless given. */
  readonly runsPerRow?: number;
}

export interface Pool {
  /** Makes the rows with these numbers. False when it was ended early. */
  rows(request: CraftRequest, indices: readonly number[], into: Rows): Promise<boolean>;
  close(): Promise<void>;
}

/** Rows handed out at once: enough that handing out costs nothing. */
const BUNDLE_MOST = 16;
/** What is left is dealt out in at least so many bundles a thread, smaller and smaller, so that all end at about the same time. */
const BUNDLES_LEAST = 4;
const PROGRESS_MILLISECONDS = 100;

export async function openPool(options: ManyOptions, extent: Extent): Promise<Pool> {
  const workers = options.workers ?? availableParallelism();
  const threads = workers > 1 ? await threadsOf(workers - 1) : undefined;
  const { runsPerRow = 1 } = extent;
  const shared = new Int32Array(new SharedArrayBuffer(8));
  const halt = (): void => void Atomics.store(shared, AT.halt, 1);
  if (options.signal?.aborted === true) halt();
  options.signal?.addEventListener('abort', halt);
  let keptRuns = 0;
  const tell = (): void => options.progress?.(keptRuns + Atomics.load(shared, AT.runs), extent.rows * runsPerRow);
  const ticking = options.progress === undefined ? undefined : setInterval(tell, PROGRESS_MILLISECONDS);
  const workOn = (job: Job, worker: number): Promise<unknown[]> =>
    worker === 0 ? work(job) : (threads!.run(job, { name: 'work' }) as Promise<unknown[]>);
  return {
    rows: async (request, indices, into) => {
      const isWhole = (index: number): boolean => into.has(index) && !isBegun(into.get(index));
      const begunOf = (index: number): BegunRow | undefined => into.get(index) as BegunRow | undefined;
      const missing = indices.filter((index) => !isWhole(index));
      keptRuns += (indices.length - missing.length) * runsPerRow;
      keptRuns += missing.reduce((sum, index) => sum + (begunOf(index)?.runs ?? 0), 0);
      let next = 0;
      // Each lane takes the next bundle as soon as its last one is done.
      const lane = async (worker: number): Promise<void> => {
        while (next < missing.length && options.signal?.aborted !== true) {
          const fair = Math.ceil((missing.length - next) / (workers * BUNDLES_LEAST));
          const bundle = missing.slice(next, next + Math.min(BUNDLE_MOST, fair));
          next += bundle.length;
          const begun = bundle.map(begunOf);
          const rows = await workOn({ request, indices: bundle, begun, shared, isTelling: runsPerRow > 1 }, worker);
          rows.forEach((row, place) => {
            into.set(bundle[place]!, row);
          });
          tell();
        }
      };
      // The last is this thread's own, which keeps it from handing out to the others first.
      await Promise.all(Array.from({ length: workers }, (_, lanes) => lane(workers - 1 - lanes)));
      return indices.every(isWhole);
    },
    close: async () => {
      clearInterval(ticking);
      options.signal?.removeEventListener('abort', halt);
      await threads?.destroy();
    },
  };
}

async function threadsOf(count: number): Promise<Tinypool> {
  const { Tinypool } = await import('tinypool');
  // From source a thread needs the same loader that this one was started with; the bundle has the worker as a file of its own.
  const isSource = import.meta.url.endsWith('.ts');
  return new Tinypool({
    runtime: 'worker_threads',
    filename: new URL(isSource ? './worker.ts' : './worker.js', import.meta.url).href,
    minThreads: count,
    maxThreads: count,
    // A thread that waits by blocking would not hear that it should end.
    useAtomics: false,
    execArgv: isSource ? ['--import', sourceLoader()] : [],
  });
}

/** The loader's `--import` form does nothing outside the main thread, its programming interface does. */
function sourceLoader(): string {
  // `require` finds the CommonJS twin of the module, which lies beside it.
  const loader = createRequire(import.meta.url)
    .resolve('tsx/esm/api')
    .replace(/\.cjs$/, '.mjs');
  const code = `import { register } from ${JSON.stringify(pathToFileURL(loader).href)}; register();`;
  return `data:text/javascript,${encodeURIComponent(code)}`;
}
