/**
 * Runs by their numbers, over worker threads. Workers get files and numbers and give rows back; rows are kept by number,
 * so that nothing depends on which worker was faster. One worker is this thread itself.
 */
import { createRequire } from 'node:module';
import { availableParallelism } from 'node:os';
import { pathToFileURL } from 'node:url';
import type { Tinypool } from 'tinypool';
import type { CraftRequest } from './craft.ts';
import { type Job, work } from './work.ts';

export interface ManyOptions {
  /** Threads; by default one for each core. */
  readonly workers?: number;
  /** Ends the campaign early; what was done by then is kept. */
  readonly signal?: AbortSignal;
  /** Told of every bundle of runs that is done. */
  readonly progress?: (done: number, total: number) => void;
}

export interface Pool {
  /** Makes the runs with these numbers and adds their rows. False when it was ended early. */
  rows(request: CraftRequest, indices: readonly number[], into: Map<number, unknown>): Promise<boolean>;
  close(): Promise<void>;
}

/** Runs handed out at once: enough that handing out costs nothing, few enough that an interrupt is heard soon. */
const BUNDLE_MOST = 16;

export async function openPool(options: ManyOptions = {}): Promise<Pool> {
  const workers = options.workers ?? availableParallelism();
  const threads = workers > 1 ? await threadsOf(workers) : undefined;
  const run = (job: Job): Promise<unknown[]> =>
    threads === undefined ? breathing(work(job)) : (threads.run(job, { name: 'work' }) as Promise<unknown[]>);
  let done = 0;
  let total = 0;
  return {
    rows: async (request, indices, into) => {
      const missing = indices.filter((index) => !into.has(index));
      total += indices.length;
      done += indices.length - missing.length;
      const size = Math.max(1, Math.min(BUNDLE_MOST, Math.ceil(missing.length / (workers * 8))));
      let next = 0;
      // Each lane takes the next bundle as soon as its last one is done.
      const lane = async (): Promise<void> => {
        while (next < missing.length && options.signal?.aborted !== true) {
          const bundle = missing.slice(next, next + size);
          next += bundle.length;
          const rows = await run({ request, indices: bundle });
          bundle.forEach((index, place) => {
            into.set(index, rows[place]);
          });
          done += bundle.length;
          options.progress?.(done, total);
        }
      };
      await Promise.all(Array.from({ length: workers }, lane));
      return indices.every((index) => into.has(index));
    },
    close: async () => {
      await threads?.destroy();
    },
  };
}

/** Lets the world outside in after each bundle, so that an interrupt is heard. */
async function breathing<T>(made: Promise<T>): Promise<T> {
  const result = await made;
  await new Promise((resolve) => setImmediate(resolve));
  return result;
}

async function threadsOf(workers: number): Promise<Tinypool> {
  const { Tinypool } = await import('tinypool');
  // From source a thread needs the same loader that this one was started with; the bundle has the worker as a file of its own.
  const isSource = import.meta.url.endsWith('.ts');
  return new Tinypool({
    runtime: 'worker_threads',
    filename: new URL(isSource ? './worker.ts' : './worker.js', import.meta.url).href,
    minThreads: workers,
    maxThreads: workers,
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
